#include "window/marks_panel.h"

#include <QCheckBox>
#include <QComboBox>
#include <QDoubleSpinBox>
#include <QFormLayout>
#include <QLineEdit>
#include <QListWidget>
#include <QPushButton>
#include <algorithm>

#include "imaging/error.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr MarkKind kKinds[] = {MarkKind::cavity, MarkKind::keep_out, MarkKind::opening,
                               MarkKind::zone};

}  // namespace

MarksPanel::MarksPanel(Desk& desk) : Panel(desk, word("panel.marks")) {
  add_new_mark();
  add_list();
  add_brush();
}

void MarksPanel::add_new_mark() {
  auto* form = add_form();
  kind_ = new Choice;
  for (const MarkKind kind : kKinds) kind_->addItem(q(std::string(leastharm::name_of(kind))));
  name_ = new QLineEdit;
  weight_ = make_number(0, 1000, 0, QStringLiteral("mm"));
  weight_->setValue(50);
  weight_label_ = new QLabel(word("marks.weight"));
  radius_ = make_number(0.5, 300, 1, QStringLiteral("mm"));
  radius_->setValue(desk_.ball_mm);
  material_ = new Choice;
  for (const std::string_view name : kMaterialNames)
    material_->addItem(q(spoken(*material_named(name))), q(std::string(name)));
  material_->setCurrentIndex(static_cast<int>(Material::packing));
  form->addRow(word("marks.as"), kind_);
  form->addRow(word("marks.name"), name_);
  form->addRow(weight_label_, weight_);
  form->addRow(word("marks.radius"), radius_);
  form->addRow(word("marks.material"), material_);
  ball_ = make_button(word("marks.ball"));
  connected_ = make_button(word("marks.connected"));
  outline_ = make_button(word("marks.outline"));
  fill_ = make_button(word("marks.fill"));
  whole_ = make_button(word("marks.whole"));
  add_row({ball_, connected_});
  add_row({whole_});
  drop_ = make_button(word("marks.drop"));
  connect(drop_, &QPushButton::clicked, this, [this] { desk_.bench.drop_outlines(); });
  add_row({outline_, fill_, drop_});
  for (QPushButton* button : {ball_, connected_, outline_}) button->setCheckable(true);
  drawn_ = add_note(word("marks.hint"));
  connect(kind_, qOverload<int>(&QComboBox::currentIndexChanged), this, [this] { refresh(0); });
  connect(radius_, qOverload<double>(&QDoubleSpinBox::valueChanged), this,
          [this](double mm) { desk_.ball_mm = mm; });
  connect(ball_, &QPushButton::clicked, this, [this](bool on) { use(Tool::ball, on); });
  connect(connected_, &QPushButton::clicked, this, [this](bool on) { use(Tool::connected, on); });
  connect(outline_, &QPushButton::clicked, this, [this](bool on) { use(Tool::outline, on); });
  connect(whole_, &QPushButton::clicked, this, [this] {
    MarkRecipe r = recipe();
    r.way = MarkRecipe::Way::material;
    desk_.bench.make_mark(r);
  });
  connect(fill_, &QPushButton::clicked, this, [this] {
    MarkRecipe r = recipe();
    r.way = MarkRecipe::Way::outlines;
    r.outlines = desk_.bench.draft().outlines;
    desk_.bench.make_mark(r);
    use(Tool::outline, false);
  });
}

void MarksPanel::add_list() {
  add_heading(word("marks.list"));
  list_ = new QListWidget;
  list_->setFrameShape(QFrame::NoFrame);
  list_->setFixedHeight(desk_.look.px(10));
  column_->addWidget(list_);
  remove_ = make_button(word("marks.remove"));
  waive_ = make_button(word("marks.waive"));
  auto* form = add_form();
  by_ = new QLineEdit;
  why_ = new QLineEdit;
  zone_weight_ = make_number(0, 1000, 1, QStringLiteral("mm"));
  zone_weight_label_ = new QLabel(word("marks.weight"));
  zone_weight_label_->setBuddy(zone_weight_);
  form->addRow(zone_weight_label_, zone_weight_);
  form->addRow(word("marks.by"), by_);
  form->addRow(word("marks.why"), why_);
  add_row({remove_, waive_});
  connect(list_, &QListWidget::currentRowChanged, this, [this] { refresh(0); });
  connect(zone_weight_, qOverload<double>(&QDoubleSpinBox::valueChanged), this, [this](double weight_mm) {
    if (const MarkRecord* mark = chosen_mark()) desk_.bench.set_zone_weight(std::string(mark->name), weight_mm);
  });
  connect(remove_, &QPushButton::clicked, this, [this] {
    if (const MarkRecord* mark = chosen_mark()) desk_.bench.remove_mark(std::string(mark->name));
  });
  connect(waive_, &QPushButton::clicked, this, [this] {
    const MarkRecord* mark = chosen_mark();
    if (mark == nullptr) return;
    const std::string name = mark->name;
    if (is_waived(desk_.bench.file(), *mark))
      desk_.bench.take_waiver_back(name);
    else
      desk_.bench.waive(name, by_->text().trimmed().toStdString(),
                        why_->text().trimmed().toStdString());
  });
}

void MarksPanel::add_brush() {
  add_heading(word("marks.correct"));
  auto* form = add_form();
  brush_to_ = new Choice;
  for (const std::string_view name : kMaterialNames)
    brush_to_->addItem(q(spoken(*material_named(name))));
  brush_to_->setCurrentIndex(static_cast<int>(Material::packing));
  brush_ = make_number(0.5, 60, 1, QStringLiteral("mm"));
  brush_->setValue(desk_.brush_mm);
  border_ = new QCheckBox(word("marks.border"));
  border_->setChecked(true);
  form->addRow(word("marks.to"), brush_to_);
  form->addRow(word("marks.radius"), brush_);
  column_->addWidget(border_);
  brush_button_ = make_button(word("marks.brush"));
  brush_button_->setCheckable(true);
  add_row({brush_button_});
  add_note(word("marks.brushhint"));
  connect(brush_, qOverload<double>(&QDoubleSpinBox::valueChanged), this,
          [this](double mm) { desk_.brush_mm = mm; });
  connect(brush_button_, &QPushButton::clicked, this, [this](bool on) { use(Tool::brush, on); });
}

void MarksPanel::use(Tool tool, bool on) {
  desk_.tool = on ? tool : Tool::needle;
  refresh(0);
  if (desk_.on_look) desk_.on_look();
}

void MarksPanel::closed() { use(Tool::needle, false); }

MarkRecipe MarksPanel::recipe() const {
  const MarkKind kind = kKinds[kind_->currentIndex()];
  return {.name = name_->text().trimmed().toStdString(),
          .kind = kind,
          .weight_mm = kind == MarkKind::zone ? weight_->value() : 0,
          .radius_mm = radius_->value(),
          .material = static_cast<Material>(material_->currentIndex())};
}

bool MarksPanel::take_tool(Tool tool, const std::vector<Vec3>& points) {
  if (points.empty()) return false;
  if (tool == Tool::brush) {
    desk_.bench.paint({points, brush_->value(), static_cast<Material>(brush_to_->currentIndex()),
                       border_->isChecked()});
    return true;
  }
  MarkRecipe r = recipe();
  r.at_lps_mm = points.front();
  if (tool == Tool::ball)
    r.way = MarkRecipe::Way::ball;
  else if (tool == Tool::connected)
    r.way = MarkRecipe::Way::connected;
  else if (tool == Tool::outline) {
    if (points.size() >= 3) desk_.bench.add_outline(points);
    return true;
  } else
    return false;
  desk_.bench.make_mark(r);
  use(tool, false);
  return true;
}

void MarksPanel::say_outlines() {
  const std::vector<Outline>& outlines = desk_.bench.draft().outlines;
  std::string text = say("marks.drawn", counted(static_cast<int>(outlines.size()), "outline"));
  try {
    if (!outlines.empty())
      for (const Finding& f : outline_findings(outlines)) text += "\n" + f.what;
  } catch (const BadInput& fault) {  // not parallel, or not flat: said before they are filled in
    text += std::string("\n") + fault.what();
  }
  drawn_->setText(q(text));
}

const MarkRecord* MarksPanel::chosen_mark() const {
  if (list_->currentItem() == nullptr) return nullptr;
  const std::string name = list_->currentItem()->data(Qt::UserRole).toString().toStdString();
  const auto& marks = desk_.bench.file().marks;
  const auto mark = std::ranges::find(marks, name, &MarkRecord::name);
  return mark == marks.end() ? nullptr : &*mark;
}

void MarksPanel::fill_list() {
  // While it is filled no other mark is chosen than was: the weight's field would take its value for a person's.
  const QSignalBlocker quiet(list_);
  const QString chosen =
      list_->currentItem() ? list_->currentItem()->data(Qt::UserRole).toString() : QString();
  list_->clear();
  for (const MarkRecord& mark : desk_.bench.file().marks) {
    const bool waived = is_waived(desk_.bench.file(), mark);
    auto* item =
        new QListWidgetItem(q(mark.name + "  ·  " + std::string(leastharm::name_of(mark.kind)) +
                              "  ·  " + number(mark.volume_mm3 / 1000, 1) + " cm³" +
                              (mark.kind == MarkKind::zone ? "  ·  " + mm(mark.weight_mm) : "") +
                              (waived ? "  ·  " + say("marks.waived") : "")));
    item->setData(Qt::UserRole, q(mark.name));
    list_->addItem(item);
    if (q(mark.name) == chosen) list_->setCurrentItem(item);
  }
}

void MarksPanel::refresh(unsigned changed) {
  if (!desk_.ready()) return;
  if (changed & (kDraftChanged | kStageChanged)) fill_list();
  const bool zone = kKinds[kind_->currentIndex()] == MarkKind::zone;
  weight_->setVisible(zone);
  weight_label_->setVisible(zone);
  ball_->setChecked(desk_.tool == Tool::ball);
  connected_->setChecked(desk_.tool == Tool::connected);
  outline_->setChecked(desk_.tool == Tool::outline);
  brush_button_->setChecked(desk_.tool == Tool::brush);
  const bool outlined = !desk_.bench.draft().outlines.empty();
  if (desk_.tool == Tool::outline || outlined)
    say_outlines();
  else
    drawn_->setText(word("marks.hint"));
  fill_->setEnabled(outlined);
  drop_->setEnabled(outlined);
  const MarkRecord* mark = chosen_mark();
  const bool any = mark != nullptr;
  const bool automatic = any && mark->made_by.contains("automatic");
  const bool weighs = any && mark->kind == MarkKind::zone;
  zone_weight_->setVisible(weighs);
  zone_weight_label_->setVisible(weighs);
  if (weighs) {
    const QSignalBlocker quiet(zone_weight_);
    zone_weight_->setValue(mark->weight_mm);
  }
  remove_->setEnabled(any && !automatic);
  waive_->setEnabled(automatic);
  waive_->setText(any && is_waived(desk_.bench.file(), *mark) ? word("marks.unwaive")
                                                              : word("marks.waive"));
}

}  // namespace leastharm

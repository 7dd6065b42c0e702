#include "window/search_panel.h"

#include <QComboBox>
#include <QDoubleSpinBox>
#include <QFormLayout>
#include <QPushButton>
#include <algorithm>
#include <cmath>

#include "words.h"

namespace leastharm {
namespace {

constexpr Sides kSides[] = {Sides::any, Sides::left, Sides::right, Sides::both};

}  // namespace

SearchPanel::SearchPanel(Desk& desk) : Panel(desk, word("panel.search")) {
  add_request();
  add_search();
  add_weights();
}

void SearchPanel::add_request() {
  auto* form = add_form();
  which_ = new QComboBox;
  cavity_ = new QComboBox;
  material_ = new QComboBox;
  sides_ = new QComboBox;
  assays_ = new AssayRows([this] { take_request(); });
  retain_ = make_number(0, 10000, 1, QStringLiteral("mg"));
  replicates_ = make_number(1, 40, 0, {});
  spacing_ = make_number(0, 500, 0, QStringLiteral("mm"));
  particle_ = make_number(0, 20, 1, QStringLiteral("mm"));
  for (const auto& name :
       {word("search.any"), word("search.left"), word("search.right"), word("search.both")})
    sides_->addItem(name);
  material_->addItem(word("search.packingresin"));
  for (const std::string_view name : kMaterialNames)
    material_->addItem(q(spoken(*material_named(name))));
  form->addRow(word("search.request"), which_);
  form->addRow(word("search.cavity"), cavity_);
  form->addRow(word("search.material"), material_);
  form->addRow(word("search.need"), assays_);
  form->addRow(word("search.retain"), retain_);
  form->addRow(word("search.replicates"), replicates_);
  form->addRow(word("search.sides"), sides_);
  form->addRow(word("search.spacing"), spacing_);
  form->addRow(word("search.particle"), particle_);
  for (QComboBox* box : {cavity_, material_, sides_})
    connect(box, qOverload<int>(&QComboBox::activated), this, [this] { take_request(); });
  for (QDoubleSpinBox* field : {retain_, replicates_, spacing_, particle_})
    connect(field, qOverload<double>(&QDoubleSpinBox::valueChanged), this,
            [this] { take_request(); });
  connect(which_, qOverload<int>(&QComboBox::activated), this, [this] { fill_request(); });
}

void SearchPanel::add_search() {
  auto* form = add_form();
  gap_ = make_number(0, 100, 0, QStringLiteral("%"));
  time_ = make_number(1, 36000, 0, QStringLiteral("s"));
  form->addRow(word("search.gap"), gap_);
  form->addRow(word("search.time"), time_);
  for (QDoubleSpinBox* field : {gap_, time_})
    connect(field, qOverload<double>(&QDoubleSpinBox::valueChanged), this,
            [this] { take_request(); });
  start_ = make_button(word("search.start"));
  add_row({start_});
  connect(start_, &QPushButton::clicked, this, [this] {
    if (desk_.bench.search().running) return desk_.bench.stop_search();
    take_request();  // where nothing was asked yet, the fields say what is
    desk_.bench.start_search();
  });
  curve_ = new GapCurve(desk_);
  column_->addWidget(curve_);
  state_ = add_note({});
  alternatives_ = new Alternatives(desk_);
  column_->addWidget(alternatives_);
  adopt_ = make_button(word("search.adopt"));
  add_row({adopt_});
  connect(adopt_, &QPushButton::clicked, this,
          [this] { desk_.bench.adopt(static_cast<std::size_t>(alternatives_->chosen())); });
}

void SearchPanel::fill_request() {
  setting_ = true;
  RequestFile file = desk_.bench.file().request.value_or(RequestFile{});
  if (file.requests.empty()) file.requests.push_back({.id = "P"});
  const int shown =
      std::clamp(which_->currentIndex(), 0, static_cast<int>(file.requests.size()) - 1);
  which_->clear();
  for (const Request& r : file.requests) which_->addItem(q(r.id));
  which_->setCurrentIndex(shown);
  const Request& r = file.requests[static_cast<std::size_t>(shown)];
  cavity_->clear();
  cavity_->addItem(word("search.anywhere"), QString());
  for (const MarkRecord& mark : desk_.bench.file().marks)
    if (mark.kind == MarkKind::cavity) cavity_->addItem(q(mark.name), q(mark.name));
  cavity_->setCurrentIndex(std::max(0, cavity_->findData(q(r.cavity))));
  material_->setCurrentIndex(r.material ? static_cast<int>(*r.material) + 1 : 0);
  assays_->show_assays(r.assays);
  retain_->setValue(r.retain_mg);
  replicates_->setValue(r.replicates);
  spacing_->setValue(r.spacing_mm);
  particle_->setValue(r.largest_particle_mm);
  sides_->setCurrentIndex(
      static_cast<int>(std::ranges::find(kSides, r.sides) - std::begin(kSides)));
  gap_->setValue(100 * file.gap);
  time_->setValue(file.time_s);
  fill_weights(file.weights);
  setting_ = false;
}

/// Weights are seldom changed: they stand below, folded away.
void SearchPanel::add_weights() {
  auto* unfold = make_button(word("search.weights"));
  unfold->setCheckable(true);
  add_row({unfold});
  weights_ = new QWidget;
  column_->addWidget(weights_);
  auto* form = new QFormLayout(weights_);
  form->setContentsMargins(0, 0, 0, 0);
  form->setLabelAlignment(Qt::AlignLeft);
  const auto add = [&](const QString& name, const QString& unit) {
    QDoubleSpinBox* field = make_number(0, 1e6, 2, unit);
    form->addRow(name, field);
    connect(field, qOverload<double>(&QDoubleSpinBox::valueChanged), this, [this] { take_request(); });
    return field;
  };
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    if (const auto material = static_cast<Material>(m); material != Material::air && material != Material::support)
      (weight_[m] = add(q(spoken(material)), {}))->setObjectName(q("weight " + std::string(name_of(material))));
  hole_ = add(word("search.hole"), QStringLiteral("mm"));
  protected_ = add(word("search.protected"), {});
  weights_->hide();
  connect(unfold, &QPushButton::toggled, weights_, &QWidget::setVisible);
}

void SearchPanel::fill_weights(const Weights& weights) {
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    if (weight_[m] != nullptr) weight_[m]->setValue(weights.material[m]);
  hole_->setValue(weights.hole_mm);
  protected_->setValue(weights.protected_per_mm3);
}

Weights SearchPanel::weights() const {
  Weights weights;
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    if (weight_[m] != nullptr) weights.material[m] = weight_[m]->value();
  weights.hole_mm = hole_->value();
  weights.protected_per_mm3 = protected_->value();
  return weights;
}

void SearchPanel::take_request() {
  if (setting_ || !desk_.ready()) return;
  RequestFile file = desk_.bench.file().request.value_or(RequestFile{});
  if (file.requests.empty()) file.requests.push_back({.id = "P"});
  if (file.needles.empty()) file.needles.push_back(needle_catalogue().front());
  Request& r = file.requests[static_cast<std::size_t>(std::max(0, which_->currentIndex()))];
  r.cavity = cavity_->currentData().toString().toStdString();
  r.material = material_->currentIndex() == 0
                   ? std::nullopt
                   : std::optional(static_cast<Material>(material_->currentIndex() - 1));
  r.assays = assays_->assays();
  r.retain_mg = retain_->value();
  r.replicates = static_cast<int>(replicates_->value());
  r.spacing_mm = spacing_->value();
  r.largest_particle_mm = particle_->value();
  r.sides = kSides[sides_->currentIndex()];
  file.gap = gap_->value() / 100;
  file.time_s = time_->value();
  file.weights = weights();
  if (r.need_mg() <= 0) {   // such a request could not be read back
    state_->setText(word("search.noneed"));
    state_->show();
    return;
  }
  desk_.bench.set_request(file);
}

void SearchPanel::refresh(unsigned changed) {
  if (!desk_.ready()) return;
  if (changed & (kDraftChanged | kGroundChanged | kStageChanged)) fill_request();
  const SearchState& search = desk_.bench.search();
  start_->setText(search.running ? word("search.stop") : word("search.start"));
  std::string text = search.fault;
  if (search.proposal && search.proposal->feasible) {
    const Certificate& c = search.proposal->certificate;
    text = say("search.done", number(search.proposal->assessment.programme.score, 1),
               number(c.lower_bound, 1), number(100 * c.gap, 1)) +
           " " +
           (100 * c.gap > gap_->value() + 0.05 && search.proposal->stopped == "gap" ? say("search.noproof")
            : search.proposal->stopped == "gap"  ? say("search.bygap")
            : search.proposal->stopped == "time" ? say("search.bytime")
                                                 : say("search.bynodes"));
  } else if (search.proposal) {
    text = search.proposal->proven ? say("search.noneproven") : say("search.nonefound");
    for (const Blocking& b : search.proposal->blocking)
      text += "\n" +
              say("search.blocking", b.request, b.constraint, number(b.needed, 1) + " " + b.unit) +
              " " + say("search.best", number(b.best_found, 1) + " " + b.unit) +
              (b.remedy.empty() ? "" : " " + b.remedy);
  }
  state_->setText(q(text));
  state_->setVisible(!text.empty());
  alternatives_->refresh();
  adopt_->setVisible(alternatives_->count() > 0);
  adopt_->setEnabled(!search.running);
  curve_->setVisible(search.running || std::ranges::any_of(search.curve, [](const auto& point) { return point.best > 0; }));
  curve_->update();
}

}  // namespace leastharm

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

/// What a planner's remedy offers, one way a line.
std::string in_lines(const std::string& remedy) {
  std::string lines;
  for (std::size_t from = 0; from < remedy.size();) {
    const std::size_t end = std::min(remedy.find("; ", from), remedy.size());
    lines += "\n·  " + remedy.substr(from, end - from);
    from = end + 2;
  }
  return lines;
}

constexpr Sides kSides[] = {Sides::any, Sides::left, Sides::right, Sides::both};

std::string how_it_ended(const Proposal& proposal, double wanted_percent) {
  if (proposal.stopped == "gap")
    return 100 * proposal.certificate.gap > wanted_percent + 0.05 ? say("search.noproof") : say("search.bygap");
  return proposal.stopped == "time" ? say("search.bytime") : say("search.bynodes");
}

/// The case's request; where nothing was asked yet, one to begin with.
RequestFile asked(const Workbench& bench) {
  RequestFile file = bench.file().request.value_or(RequestFile{});
  if (file.requests.empty()) file.requests.push_back({.id = "P"});
  if (file.needles.empty()) file.needles.push_back(needle_catalogue().front());
  return file;
}

}  // namespace

SearchPanel::SearchPanel(Desk& desk) : Panel(desk, word("panel.search")) {
  add_request();
  add_folds();
  add_search();
}

void SearchPanel::add_request() {
  auto* form = add_form();
  which_ = new Choice;
  cavity_ = new Choice;
  material_ = new Choice;
  sides_ = new Choice;
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
  form->addRow(new QLabel(word("search.need")));
  form->addRow(assays_);
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
    // Where nothing was asked yet, the fields say what is.
    if (take_request()) desk_.bench.start_search();
  });
  curve_ = new GapCurve(desk_);
  column_->addWidget(curve_);
  state_ = add_note({});
  adopt_ = make_button(word("search.adopt"));
  add_row({adopt_});
  connect(adopt_, &QPushButton::clicked, this,
          [this] { desk_.bench.adopt(desk_.compared); });
}

void SearchPanel::fill_request() {
  setting_ = true;
  const RequestFile file = asked(desk_.bench);
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
  needles_->show_needles(file.needles);
  limits_->show_limits(file.limits, file.placement);
  weights_->show_weights(file.weights);
  setting_ = false;
}

/// What is seldom changed stands below, folded away; one at a time is unfolded.
void SearchPanel::add_folds() {
  const auto taken = [this] { take_request(); };
  needles_ = new NeedleRows(taken);
  limits_ = new LimitRows(taken);
  weights_ = new WeightRows(taken);
  const std::pair<QString, QWidget*> folds[] = {
      {word("search.needles"), needles_}, {word("search.limits"), limits_}, {word("search.weights"), weights_}};
  std::vector<QPushButton*> buttons;
  for (const auto& [name, rows] : folds) {
    auto* button = make_button(name, false);
    button->setCheckable(true);
    buttons.push_back(button);
  }
  add_row({buttons.begin(), buttons.end()});
  for (std::size_t n = 0; n < buttons.size(); ++n) {
    column_->addWidget(folds[n].second);
    folds[n].second->hide();
    connect(buttons[n], &QPushButton::toggled, this, [rows = folds[n].second, n, buttons](bool on) {
      rows->setVisible(on);
      for (std::size_t other = 0; on && other < buttons.size(); ++other)
        if (other != n) buttons[other]->setChecked(false);
    });
  }
}

bool SearchPanel::take_request() {
  if (setting_ || !desk_.ready()) return false;
  RequestFile file = asked(desk_.bench);
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
  file.weights = weights_->weights();
  limits_->read_into(file);
  file.needles = needles_->needles();
  // Such requests could not be read back.
  lacking_ = r.need_mg() <= 0 ? say("search.noneed") : file.needles.empty() ? say("search.noneedle") : "";
  if (!lacking_.empty()) {
    refresh(0);
    return false;
  }
  desk_.bench.set_request(file);
  return true;
}

void SearchPanel::refresh(unsigned changed) {
  if (!desk_.ready()) return;
  if (changed & (kDraftChanged | kGroundChanged | kStageChanged)) fill_request();
  const SearchState& search = desk_.bench.search();
  start_->setText(search.running ? word("search.stop") : word("search.start"));
  std::string text = search.fault;
  if (search.proposal && search.proposal->feasible) {
    const Certificate& c = search.proposal->certificate;
    const std::string score = number(search.proposal->assessment.programme.score, 1);
    text = c.lower_bound > 0 ? say("search.done", score, number(c.lower_bound, 1), number(100 * c.gap, 1)) + " " +
                                   how_it_ended(*search.proposal, gap_->value())
                             : say("search.nobound", score);
  } else if (search.proposal) {
    text = search.proposal->proven ? say("search.noneproven") : say("search.nonefound");
    for (const Blocking& b : search.proposal->blocking)
      text += "\n" +
              say("search.blocking", b.request, b.constraint, number(b.needed, 1) + " " + b.unit) +
              " " + say("search.best", number(b.best_found, 1) + " " + b.unit) +
              in_lines(b.remedy);
  }
  if (!lacking_.empty()) text = lacking_;
  state_->setText(q(text));
  state_->setVisible(!text.empty());
  adopt_->setVisible(search.proposal && search.proposal->feasible);
  adopt_->setEnabled(!search.running && !desk_.bench.search_is_stale());
  curve_->setVisible(search.running || std::ranges::any_of(search.curve, [](const auto& point) { return point.best > 0; }));
  curve_->update();
}

}  // namespace leastharm

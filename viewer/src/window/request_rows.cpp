#include "window/request_rows.h"

#include <QCheckBox>
#include <QDoubleSpinBox>
#include <QFormLayout>
#include <QGridLayout>
#include <QVBoxLayout>
#include <algorithm>

#include "window/look.h"
#include "window/own_needle.h"
#include "words.h"

namespace leastharm {
namespace {

QFormLayout* bare_form(QWidget* parent) {
  auto* form = new QFormLayout(parent);
  form->setContentsMargins(0, 0, 0, 0);
  form->setLabelAlignment(Qt::AlignLeft);
  form->setFieldGrowthPolicy(QFormLayout::AllNonFixedFieldsGrow);
  form->setVerticalSpacing(4);
  return form;
}

/// A field of a form that tells of every change.
struct Fields {
  QFormLayout* form;
  std::function<void()> changed;

  [[nodiscard]] ExactNumber add(const QString& name, double high, int decimals, const QString& unit) const {
    auto* field = new QDoubleSpinBox;
    field->setRange(0, high);
    field->setDecimals(decimals);
    // SI: a space before every unit but the degree's sign.
    field->setSuffix(unit.isEmpty() || unit == QStringLiteral("°") ? unit : QStringLiteral(" ") + unit);
    field->setAlignment(Qt::AlignRight);
    field->setKeyboardTracking(false);
    field->setAccessibleName(name);
    form->addRow(name, field);
    QObject::connect(field, qOverload<double>(&QDoubleSpinBox::valueChanged), form, [told = changed] { told(); });
    return {.field = field, .factor = unit == QStringLiteral("%") ? 100.0 : 1.0};
  }
};

}  // namespace

void ExactNumber::show(double value) {
  exact = value;
  field->setValue(factor * value);
  shown = field->value();
}

double ExactNumber::value() const { return field->value() == shown ? exact : field->value() / factor; }

std::vector<Needle> distinct_needles(const std::vector<std::vector<Needle>>& lists) {
  std::vector<Needle> all;
  for (const auto& list : lists)
    for (const Needle& needle : list)
      if (std::ranges::none_of(all, [&](const Needle& other) { return to_json(other) == to_json(needle); }))
        all.push_back(needle);
  return all;
}

std::string spoken(const Needle& n) {
  return n.name.empty() ? say("change.needle", number(n.outer_mm, 1), number(n.bore_mm, 1), number(n.throw_mm, 0))
                        : n.name;
}

WeightRows::WeightRows(std::function<void()> changed) {
  const Fields fields{bare_form(this), std::move(changed)};
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    if (const auto material = static_cast<Material>(m); material != Material::air && material != Material::support)
      (material_[m] = fields.add(q(spoken(material)), 1e6, 2, {}))
          .field->setObjectName(q("weight " + std::string(name_of(material))));
  hole_ = fields.add(word("search.hole"), 1e6, 2, QStringLiteral("mm"));
  protected_ = fields.add(word("search.protected"), 1e6, 2, {});
}

void WeightRows::show_weights(const Weights& weights) {
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    if (material_[m].field != nullptr) material_[m].show(weights.material[m]);
  hole_.show(weights.hole_mm);
  protected_.show(weights.protected_per_mm3);
}

Weights WeightRows::weights() const {
  Weights weights;
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    if (material_[m].field != nullptr) weights.material[m] = material_[m].value();
  weights.hole_mm = hole_.value();
  weights.protected_per_mm3 = protected_.value();
  return weights;
}

LimitRows::LimitRows(std::function<void()> changed) {
  const Fields fields{bare_form(this), std::move(changed)};
  const QString mm = QStringLiteral("mm"), degrees = QStringLiteral("°"), percent = QStringLiteral("%");
  clearance_ = fields.add(word("limit.clearance"), 200, 1, mm);
  clearance_.field->setObjectName(QStringLiteral("limit clearance"));
  entry_angle_ = fields.add(word("limit.entryangle"), 89, 0, degrees);
  tilt_ = fields.add(word("limit.tilt"), 90, 0, degrees);
  bone_ = fields.add(word("limit.bone"), 1000, 1, mm);
  margin_ = fields.add(word("limit.margin"), 100, 1, mm);
  holes_ = fields.add(word("limit.holes"), 1000, 0, mm);
  enough_ = fields.add(word("limit.enough"), 100, 1, percent);
  touch_ = fields.add(word("limit.touch"), 100, 2, percent);
  aside_ = fields.add(word("limit.aside"), 50, 1, mm);
  depth_ = fields.add(word("limit.depth"), 50, 1, mm);
}

void LimitRows::show_limits(const Limits& limits, const Placement& placement) {
  clearance_.show(limits.clearance_mm);
  entry_angle_.show(limits.entry_angle_deg);
  tilt_.show(limits.tilt_deg);
  bone_.show(limits.bone_mm);
  margin_.show(limits.margin_mm);
  holes_.show(limits.hole_spacing_mm);
  enough_.show(limits.p_enough_min);
  touch_.show(limits.p_touch_max);
  aside_.field->setMinimum(placement.shared_mm);  // its common part
  aside_.show(placement.placement_mm);
  depth_.show(placement.depth_mm);
}

void LimitRows::read_into(RequestFile& file) const {
  Limits& limits = file.limits;
  limits.clearance_mm = clearance_.value();
  limits.entry_angle_deg = entry_angle_.value();
  limits.tilt_deg = tilt_.value();
  limits.bone_mm = bone_.value();
  limits.margin_mm = margin_.value();
  limits.hole_spacing_mm = holes_.value();
  limits.p_enough_min = enough_.value();
  limits.p_touch_max = touch_.value();
  file.placement.placement_mm = aside_.value();
  file.placement.depth_mm = depth_.value();
}

NeedleRows::NeedleRows(std::function<void()> changed) : changed_(std::move(changed)), grid_(new QGridLayout) {
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(0, 0, 0, 0);
  column->addLayout(grid_);
  column->addWidget(new OwnNeedle([this](const Needle& own) { add_own(own); },
                                  [this]() -> const std::vector<Needle>& { return known_; }));
  grid_->setContentsMargins(0, 0, 0, 0);
  grid_->setSpacing(0);
}

void NeedleRows::add_own(const Needle& own) {
  std::vector<Needle> chosen = needles();
  chosen.push_back(own);
  show_needles(chosen);
  changed_();
}

/// A needle that is no longer chosen keeps its row, so that it can be chosen again.
void NeedleRows::show_needles(const std::vector<Needle>& chosen) {
  const std::vector<Needle> all = distinct_needles({known_, needle_catalogue(), chosen});
  for (std::size_t n = rows_.size(); n < all.size(); ++n) {
    auto* box = new QCheckBox(q(spoken(all[n])));
    box->setToolTip(q(say("change.needle", number(all[n].outer_mm, 2), number(all[n].bore_mm, 2),
                          number(all[n].throw_mm, 0))));
    box->setObjectName(QStringLiteral("needle"));
    grid_->addWidget(box, static_cast<int>(n) / 2, static_cast<int>(n) % 2);
    rows_.push_back({all[n], box});
    connect(box, &QCheckBox::clicked, this, [this] { changed_(); });
  }
  known_ = all;
  for (const Row& row : rows_)
    row.box->setChecked(std::ranges::any_of(chosen, [&](const Needle& n) { return to_json(n) == to_json(row.needle); }));
}

std::vector<Needle> NeedleRows::needles() const {
  std::vector<Needle> chosen;
  for (const Row& row : rows_)
    if (row.box->isChecked()) chosen.push_back(row.needle);
  return chosen;
}

}  // namespace leastharm

#include "window/own_needle.h"

#include <QDoubleSpinBox>
#include <QGridLayout>
#include <QLabel>
#include <QLineEdit>
#include <QPushButton>
#include <algorithm>

#include "imaging/error.h"
#include "window/panel.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr int kFieldsInARow = 2;

}  // namespace

std::string needle_fault(const Needle& n, const std::vector<Needle>& known) {
  if (!n.name.empty() && std::ranges::find(known, n.name, &Needle::name) != known.end())
    return say("own.taken", n.name);
  if (n.bore_mm >= n.outer_mm) return say("own.bore", mm(n.bore_mm, 2), mm(n.outer_mm, 2));
  if (n.throw_mm + n.dead_tip_mm > n.usable_mm)
    return say("own.throw", mm(n.throw_mm + n.dead_tip_mm), mm(n.usable_mm));
  if (n.recovery_p05 > n.recovery_p95) return say("own.recovery");
  try {
    check_needle(n, say("own.needle"));
  } catch (const BadInput& fault) {
    return fault.what();
  }
  return {};
}

OwnNeedle::OwnNeedle(std::function<void(const Needle&)> add, std::function<const std::vector<Needle>&()> known)
    : add_(std::move(add)), known_(std::move(known)), grid_(new QGridLayout(this)) {
  grid_->setContentsMargins(0, 4, 0, 0);
  grid_->setSpacing(4);
  grid_->setHorizontalSpacing(10);
  grid_->addWidget(new QLabel(word("own.title")), fields_ / kFieldsInARow, 0, 1, 2);
  name_ = new QLineEdit;
  name_->setObjectName(QStringLiteral("own name"));
  name_->setAccessibleName(word("own.name"));
  name_->setPlaceholderText(word("own.name"));
  grid_->addWidget(name_, 0, 2, 1, 2);
  fields_ = kFieldsInARow;
  const Needle usual = needle_catalogue().front();
  const QString mm = QStringLiteral("mm"), percent = QStringLiteral("%");
  outer_ = add_measure(word("own.outer"), 0.2, 20, usual.outer_mm, mm);
  bore_ = add_measure(word("needle.bore"), 0.2, 20, usual.bore_mm, mm);
  throw_ = add_measure(word("needle.throw"), 0.1, 1000, usual.throw_mm, mm);
  usable_ = add_measure(word("own.usable"), 0.1, 1000, usual.usable_mm, mm);
  dead_tip_ = add_measure(word("needle.deadtip"), 0, 100, usual.dead_tip_mm, mm);
  kind_ = new Choice;
  kind_->addItem(word("own.endcut"));
  kind_->addItem(word("own.sidenotch"));
  add_field(word("own.kind"), kind_);
  recovery_p05_ = add_measure(word("own.p05"), 1, 100, 100 * usual.recovery_p05, percent);
  recovery_p95_ = add_measure(word("own.p95"), 1, 100, 100 * usual.recovery_p95, percent);
  auto* button = new QPushButton(word("own.add"));
  button->setProperty("act", true);
  grid_->addWidget(button, fields_ / kFieldsInARow, 2, 1, 2, Qt::AlignRight);
  fault_ = new QLabel;
  fault_->setWordWrap(true);
  fault_->hide();
  grid_->addWidget(fault_, fields_ / kFieldsInARow + 1, 0, 1, 4);
  grid_->setColumnStretch(1, 1);
  grid_->setColumnStretch(3, 1);
  connect(button, &QPushButton::clicked, this, [this] { take(); });
}

void OwnNeedle::add_field(const QString& name, QWidget* field) {
  const int row = fields_ / kFieldsInARow, column = 2 * (fields_ % kFieldsInARow);
  field->setAccessibleName(name);
  grid_->addWidget(new QLabel(name), row, column);
  grid_->addWidget(field, row, column + 1);
  ++fields_;
}

QDoubleSpinBox* OwnNeedle::add_measure(const QString& name, double low, double high, double value, const QString& unit) {
  auto* field = new QDoubleSpinBox;
  field->setRange(low, high);
  field->setDecimals(unit == QStringLiteral("%") ? 0 : 2);
  field->setSuffix(QStringLiteral(" ") + unit);
  field->setAlignment(Qt::AlignRight);
  field->setValue(value);
  field->setObjectName(QStringLiteral("own ") + name);
  add_field(name, field);
  return field;
}

Needle OwnNeedle::needle() const {
  Needle n;
  n.name = name_->text().trimmed().toStdString();
  n.outer_mm = outer_->value();
  n.bore_mm = bore_->value();
  n.throw_mm = throw_->value();
  n.usable_mm = usable_->value();
  n.dead_tip_mm = dead_tip_->value();
  n.kind = kind_->currentIndex() == 0 ? NeedleKind::end_cut : NeedleKind::side_notch;
  n.recovery_p05 = recovery_p05_->value() / 100;
  n.recovery_p95 = recovery_p95_->value() / 100;
  n.source = say("needle.byhand");
  return n;
}

void OwnNeedle::take() {
  const Needle own = needle();
  const std::string fault = needle_fault(own, known_());
  fault_->setText(q(fault));
  fault_->setVisible(!fault.empty());
  if (!fault.empty()) return;
  name_->clear();
  add_(own);
}

}  // namespace leastharm

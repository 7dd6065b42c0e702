#include "window/assay_rows.h"

#include <QDoubleSpinBox>
#include <QGridLayout>
#include <QLineEdit>

#include "window/desk.h"

namespace leastharm {

AssayRows::AssayRows(std::function<void()> changed) : changed_(std::move(changed)), grid_(new QGridLayout(this)) {
  grid_->setContentsMargins(0, 0, 0, 0);
  grid_->setSpacing(4);
  grid_->setColumnStretch(0, 1);
}

void AssayRows::add_row() {
  const Row row{new QLineEdit, new QDoubleSpinBox};
  row.name->setObjectName(QStringLiteral("assay"));
  row.name->setPlaceholderText(word("search.assay"));
  QPalette palette = row.name->palette();
  palette.setColor(QPalette::PlaceholderText, Qt::gray);
  row.name->setPalette(palette);
  row.uses_mg->setObjectName(QStringLiteral("assay mg"));
  row.uses_mg->setRange(0, 10000);
  row.uses_mg->setDecimals(1);
  row.uses_mg->setSuffix(QStringLiteral(" mg"));
  row.uses_mg->setAlignment(Qt::AlignRight);
  row.uses_mg->setKeyboardTracking(false);
  row.uses_mg->setMaximumWidth(fontMetrics().horizontalAdvance(QStringLiteral("10000.0 mg ")));   // names need the room
  const int at = static_cast<int>(rows_.size());
  grid_->addWidget(row.name, at, 0);
  grid_->addWidget(row.uses_mg, at, 1);
  rows_.push_back(row);
  connect(row.name, &QLineEdit::editingFinished, this, [this] { changed_(); });
  connect(row.uses_mg, qOverload<double>(&QDoubleSpinBox::valueChanged), this, [this, row] {
    if (!row.name->text().trimmed().isEmpty()) changed_();
  });
}

void AssayRows::show_assays(const std::vector<Assay>& assays) {
  while (rows_.size() < assays.size() + 1) add_row();
  for (std::size_t n = 0; n < rows_.size(); ++n) {
    const Row& row = rows_[n];
    const bool free = n >= assays.size();
    const QSignalBlocker quiet_name(row.name), quiet_mass(row.uses_mg);
    const QString name = free ? QString() : q(assays[n].name);
    if (row.name->text() != name) row.name->setText(name);
    // A free row is an invitation, not an analysis that uses nothing.
    QFont font = row.name->font();
    font.setItalic(free);
    row.name->setFont(font);
    row.uses_mg->setSpecialValueText(free ? QStringLiteral(" ") : QString());
    if (!row.name->hasFocus()) row.name->setCursorPosition(0);   // a long name shows its beginning
    row.name->setToolTip(name);
    row.uses_mg->setValue(free ? 0 : assays[n].uses_mg);
    row.name->setVisible(n <= assays.size());
    row.uses_mg->setVisible(n <= assays.size());
  }
}

std::vector<Assay> AssayRows::assays() const {
  std::vector<Assay> all;
  for (const Row& row : rows_)
    if (const QString name = row.name->text().trimmed(); !name.isEmpty())
      all.push_back({name.toStdString(), row.uses_mg->value()});
  return all;
}

}  // namespace leastharm

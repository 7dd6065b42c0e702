#include "window/panel.h"

#include <QDoubleSpinBox>
#include <QFormLayout>
#include <QHBoxLayout>
#include <QPushButton>

namespace leastharm {

void ElidedLabel::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  painter.drawText(contentsRect(), Qt::AlignLeft | Qt::AlignVCenter,
                   fontMetrics().elidedText(text(), Qt::ElideRight, contentsRect().width()));
}

void Choice::paintEvent(QPaintEvent* event) {
  QComboBox::paintEvent(event);
  QPainter painter(this);
  painter.setRenderHint(QPainter::Antialiasing);
  painter.setPen(QPen(palette().color(isEnabled() ? QPalette::Active : QPalette::Disabled, QPalette::Text), 1.3));
  const double r = fontMetrics().height() * 0.2;
  const QPointF tip(width() - 3.5 * r, height() / 2.0 + r / 2);
  painter.drawPolyline(QPolygonF({tip + QPointF(-r, -r), tip, tip + QPointF(r, -r)}));
}

Panel::Panel(Desk& desk, const QString& title) : desk_(desk), column_(new QVBoxLayout(this)) {
  setObjectName(QStringLiteral("drawer"));
  column_->setContentsMargins(desk.look.px(1.2), desk.look.px(0.5), desk.look.px(1.2),
                              desk.look.px(1));
  column_->setSpacing(desk.look.px(0.45));
  auto* head = new QLabel(title);
  head->setFont(desk.look.title());
  column_->addWidget(head);
}

QLabel* Panel::add_heading(const QString& text) {
  auto* label = new QLabel(text);
  label->setFont(desk_.look.strong());
  label->setContentsMargins(0, desk_.look.px(0.7), 0, 0);
  column_->addWidget(label);
  return label;
}

QLabel* Panel::add_note(const QString& text) {
  auto* label = new QLabel(text);
  label->setWordWrap(true);
  label->setTextFormat(Qt::PlainText);
  label->setStyleSheet(QStringLiteral("color: %1;").arg(desk_.look.quiet().name()));
  column_->addWidget(label);
  return label;
}

QFormLayout* Panel::add_form() {
  auto* form = new QFormLayout;
  form->setContentsMargins(0, 0, 0, 0);
  form->setHorizontalSpacing(desk_.look.px(0.8));
  form->setVerticalSpacing(desk_.look.px(0.3));
  form->setLabelAlignment(Qt::AlignLeft);
  form->setFieldGrowthPolicy(QFormLayout::AllNonFixedFieldsGrow);
  column_->addLayout(form);
  return form;
}

QPushButton* Panel::make_button(const QString& text, bool act) {
  auto* button = new QPushButton(text);
  button->setProperty("act", act);
  button->setAutoDefault(true);
  return button;
}

QDoubleSpinBox* Panel::make_number(double low, double high, int decimals, const QString& unit) {
  auto* field = new QDoubleSpinBox;
  field->setRange(low, high);
  field->setDecimals(decimals);
  field->setSuffix(unit.isEmpty() ? QString() : QStringLiteral(" ") + unit);
  field->setAlignment(Qt::AlignRight);
  field->setKeyboardTracking(false);
  return field;
}

void Panel::add_row(const std::vector<QWidget*>& widgets) {
  auto* row = new QHBoxLayout;
  row->setContentsMargins(0, 0, 0, 0);
  row->setSpacing(desk_.look.px(0.6));
  for (QWidget* widget : widgets) row->addWidget(widget);
  row->addStretch(1);
  column_->addLayout(row);
}

}  // namespace leastharm

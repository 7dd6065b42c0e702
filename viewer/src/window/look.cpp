#include "window/look.h"

#include <algorithm>

namespace leastharm {

QFont Look::font(double ems, int weight, bool italic) const {
  QFont font(QStringLiteral("Lato"));
  font.setPixelSize(std::max(6, px(ems)));
  font.setWeight(weight);
  font.setItalic(italic);
  font.setHintingPreference(QFont::PreferVerticalHinting);
  return font;
}

QString Look::style_sheet() const {
  const QString sheet = QStringLiteral(R"(
* { color: %2; }
QMainWindow, QWidget#desk, QWidget#drawer, QScrollArea, QScrollArea > QWidget > QWidget { background: %3; }
QPushButton { background: transparent; border: none; border-bottom: %7px solid transparent; padding: %5px %6px; }
QPushButton:hover { border-bottom-color: %4; }
QPushButton:focus, QToolButton:focus { border-bottom-color: %8; }
QPushButton:checked { border-bottom-color: %2; font-weight: 600; }
QPushButton:disabled { color: %4; }
QPushButton[act="true"] { border: %7px solid %2; padding: %5px %9px; }
QPushButton[act="true"]:hover { background: %10; }
QPushButton[act="true"]:focus { border-color: %8; }
QPushButton[act="true"]:disabled { border-color: %4; }
QLineEdit, QDoubleSpinBox, QSpinBox, QComboBox, QPlainTextEdit {
  background: %11; border: none; border-bottom: %7px solid %4; padding: %5px %6px; selection-background-color: %8; selection-color: white; }
QLineEdit:focus, QDoubleSpinBox:focus, QSpinBox:focus, QComboBox:focus, QPlainTextEdit:focus { border-bottom-color: %8; }
QDoubleSpinBox::up-button, QDoubleSpinBox::down-button, QSpinBox::up-button, QSpinBox::down-button { width: 0; border: none; }
QComboBox::drop-down { border: none; width: %9px; }
QComboBox QAbstractItemView { background: %11; border: %7px solid %4; selection-background-color: %10; selection-color: %2; outline: 0; }
QCheckBox { spacing: %6px; padding: %5px 0; }
QScrollBar:vertical { background: transparent; width: %9px; margin: 0; border: none; }
QScrollBar::handle:vertical { background: %4; min-height: 24px; border: none; }
QScrollBar::add-line, QScrollBar::sub-line { height: 0; }
QScrollBar::add-page, QScrollBar::sub-page { background: transparent; }
QListWidget { background: %11; padding: %1px; border: none; }
QListWidget::item { padding: %1px; border: none; }
QListWidget::item:selected { background: %10; color: %2; }
QToolTip { background: %11; color: %2; border: %7px solid %4; padding: %5px; }
)");
  return sheet.arg(px(0.2))
      .arg(ink().name(), paper().name(), rule().name())
      .arg(px(0.25))
      .arg(px(scale > 1.3 ? 0.38 : 0.5))
      .arg(high_contrast ? 2 : std::max(1, px(0.08)))
      .arg(curve().name())
      .arg(px(0.5))
      .arg(chosen().name(), high_contrast ? QStringLiteral("#ffffff") : QStringLiteral("#fdfcfa"));
}

QImage grey_image(const BodyView& view) {
  QImage image(view.width, view.height, QImage::Format_Grayscale8);
  for (int row = 0; row < view.height; ++row)
    std::copy_n(view.light.begin() + static_cast<std::ptrdiff_t>(row) * view.width, view.width,
                image.scanLine(row));
  return image;
}

void draw_on_picture(QPainter& painter, const QRectF& where, int flags, const QString& text) {
  painter.setPen(QColor(13, 13, 15));
  for (const QPointF rim : {QPointF(-1, 0), QPointF(1, 0), QPointF(0, -1), QPointF(0, 1)})
    painter.drawText(where.translated(rim), flags, text);
  painter.setPen(Qt::white);
  painter.drawText(where, flags, text);
}

void line_on_picture(QPainter& painter, const QLineF& line, double width) {
  QPen pen(QColor(13, 13, 15), width + 1.6);
  pen.setCapStyle(Qt::FlatCap);
  painter.setPen(pen);
  painter.drawLine(line);
  pen.setColor(Qt::white);
  pen.setWidthF(width);
  painter.setPen(pen);
  painter.drawLine(line);
}

}  // namespace leastharm

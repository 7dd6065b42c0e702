#include "window/look.h"

#include <QVector>
#include <algorithm>
#include <cmath>

namespace leastharm {
namespace {

const QColor kRim(13, 13, 15);         // round what lies on a picture
const QColor kPlate(13, 13, 15, 165);  // behind text on a picture: white stays legible on white bone
const QColor kLightPlate(255, 255, 255, 215);

}  // namespace

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
QComboBox::drop-down { border: none; width: %12px; }
QComboBox::down-arrow { image: none; }
QComboBox QAbstractItemView { background: %11; border: %7px solid %4; selection-background-color: %10; selection-color: %2; outline: 0; }
QCheckBox::indicator { width: %13px; height: %13px; }
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
      .arg(chosen().name(), high_contrast ? QStringLiteral("#ffffff") : QStringLiteral("#fdfcfa"))
      .arg(px(1.4))
      .arg(px(1.05));
}

QImage grey_image(const BodyView& view) {
  QImage image(view.width, view.height, QImage::Format_Grayscale8);
  for (int row = 0; row < view.height; ++row)
    std::copy_n(view.light.begin() + static_cast<std::ptrdiff_t>(row) * view.width, view.width,
                image.scanLine(row));
  return image;
}

void draw_on_picture(QPainter& painter, const QRectF& where, int flags, const QString& text) {
  painter.fillRect(painter.boundingRect(where, flags, text).adjusted(-2, 0, 2, 0), kPlate);
  painter.setPen(Qt::white);
  painter.drawText(where, flags, text);
}

void draw_on_hatch(QPainter& painter, const QRectF& where, const QString& text) {
  painter.fillRect(painter.boundingRect(where, Qt::AlignCenter, text).adjusted(-3, 0, 3, 0), kLightPlate);
  painter.setPen(kRim);
  painter.drawText(where, Qt::AlignCenter, text);
}

void line_on_picture(QPainter& painter, const QLineF& line, double width) {
  QPen pen(kRim, width + 1.6);
  pen.setCapStyle(Qt::FlatCap);
  painter.setPen(pen);
  painter.drawLine(line);
  pen.setColor(Qt::white);
  pen.setWidthF(width);
  painter.setPen(pen);
  painter.drawLine(line);
}

/// Line by line: the painter has a fast way for straight lines, and none for a polygon's outline.
void outline_on_picture(QPainter& painter, const QPolygonF& shape, double width) {
  QVector<QLineF> sides;
  for (int n = 0; n < shape.size(); ++n) sides << QLineF(shape[n], shape[(n + 1) % shape.size()]);
  for (const auto& [colour, wide] : {std::pair{kRim, width + 1.6}, std::pair{QColor(Qt::white), width}}) {
    painter.setPen(QPen(colour, wide, Qt::SolidLine, Qt::SquareCap));
    painter.drawLines(sides);
  }
}

void Bands::draw(QPainter& painter, const QRect& whole, double from_x, double to_x, Material material,
                 const Look& look) {
  QImage& hatch = hatches_[static_cast<std::size_t>(material)];
  if (hatch.size() != whole.size()) {
    hatch = QImage(whole.size(), QImage::Format_ARGB32_Premultiplied);
    hatch.fill(Qt::transparent);
    QPainter into(&hatch);
    paint_by_cairo(into, QRect(QPoint(0, 0), whole.size()), [&](cairo_t* cairo) {
      add_rect(cairo, {0, 0, static_cast<double>(whole.width()), static_cast<double>(whole.height())});
      fill_as(cairo, material);
    });
  }
  const int left = std::max(whole.left(), static_cast<int>(std::lround(from_x))),
            right = std::min(whole.right(), static_cast<int>(std::lround(to_x)));
  if (right <= left) return;
  painter.drawImage(left, whole.top(), hatch, left - whole.left(), 0, right - left + 1, whole.height());
  const bool smooth = painter.testRenderHint(QPainter::Antialiasing);
  painter.setRenderHint(QPainter::Antialiasing, false);
  painter.setBrush(Qt::NoBrush);
  painter.setPen(QPen(look.ink(), 1));
  painter.drawRect(left, whole.top(), right - left, whole.height() - 1);
  painter.setRenderHint(QPainter::Antialiasing, smooth);
}

}  // namespace leastharm

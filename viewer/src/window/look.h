#pragma once

#include <QColor>
#include <QFont>
#include <QImage>
#include <QPainter>
#include <QPolygonF>
#include <QString>
#include <string>

#include "body_view.h"
#include "ink.h"
#include "window/screen_words.h"

namespace leastharm {

[[nodiscard]] inline QString q(const std::string& text) { return QString::fromStdString(text); }
[[nodiscard]] inline QString word(Word key) { return q(say(key)); }
[[nodiscard]] inline QColor q(Rgb colour) {
  return QColor::fromRgbF(colour.red, colour.green, colour.blue);
}

/// How the window is set: one typeface, few sizes, ink on paper. Sizes grow with `scale`.
struct Look {
  double scale = 1;
  bool high_contrast = false;

  [[nodiscard]] double em() const { return 13 * scale; }  ///< px of body text
  [[nodiscard]] int px(double ems) const { return static_cast<int>(ems * em() + 0.5); }
  [[nodiscard]] QFont font(double ems = 1, int weight = QFont::Normal, bool italic = false) const;
  [[nodiscard]] QFont small() const { return font(0.86); }
  [[nodiscard]] QFont strong() const { return font(1, QFont::DemiBold); }
  [[nodiscard]] QFont title() const { return font(1.3, QFont::Bold); }

  [[nodiscard]] QColor paper() const {
    return high_contrast ? QColor(255, 255, 255) : QColor(247, 246, 243);
  }
  [[nodiscard]] QColor ink() const { return high_contrast ? QColor(0, 0, 0) : QColor(26, 26, 31); }
  [[nodiscard]] QColor quiet() const {
    return high_contrast ? QColor(20, 20, 20) : QColor(92, 92, 98);
  }
  [[nodiscard]] QColor rule() const {
    return high_contrast ? QColor(0, 0, 0) : QColor(206, 204, 197);
  }
  [[nodiscard]] QColor chosen() const {
    return high_contrast ? QColor(255, 242, 160) : QColor(232, 230, 222);
  }
  [[nodiscard]] QColor curve() const { return QColor(0x00, 0x72, 0xB2); }  ///< Okabe and Ito's blue
  [[nodiscard]] QColor warn() const {
    return QColor(0xA8, 0x3E, 0x00);
  }  ///< their vermilion, darker for text
  [[nodiscard]] int outline_px() const { return high_contrast || scale > 1.3 ? 2 : 1; }
  [[nodiscard]] double line() const {
    return (high_contrast ? 1.6 : 1.0) * (scale > 1.3 ? 1.5 : 1);
  }

  [[nodiscard]] QString style_sheet() const;
};

/// The body's outer view as a picture.
[[nodiscard]] QImage grey_image(const BodyView& view);

/// Text on a dark plate, legible on any grey; dark text on a light plate, legible on any hatch.
void draw_on_picture(QPainter& painter, const QRectF& where, int flags, const QString& text);
void draw_on_hatch(QPainter& painter, const QRectF& where, const QString& text);
/// A light line with a dark rim, and a closed shape of such lines.
void line_on_picture(QPainter& painter, const QLineF& line, double width);
void outline_on_picture(QPainter& painter, const QPolygonF& shape, double width);

/// Runs Cairo drawing into a rectangle of the painter (hatches, which paper and screen share).
template <typename Draw>
void paint_by_cairo(QPainter& painter, const QRect& where, Draw draw) {
  if (where.width() < 1 || where.height() < 1) return;
  QImage image(where.size(), QImage::Format_ARGB32_Premultiplied);
  image.fill(Qt::transparent);
  cairo_surface_t* surface = cairo_image_surface_create_for_data(
      image.bits(), CAIRO_FORMAT_ARGB32, image.width(), image.height(), image.bytesPerLine());
  cairo_t* cairo = cairo_create(surface);
  draw(cairo);
  cairo_destroy(cairo);
  cairo_surface_destroy(surface);
  painter.drawImage(where.topLeft(), image);
}

/// Bands of materials in their hatches. Each material's hatch is made once, as wide as all bands together, and stands
/// still while the bands' ends move.
class Bands {
 public:
  /// Bands lie in `whole`; what lies outside it is cut off.
  void draw(QPainter& painter, const QRect& whole, double from_x, double to_x, Material material, const Look& look);

 private:
  PerMaterial<QImage> hatches_;
};

}  // namespace leastharm

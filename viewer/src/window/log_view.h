#pragma once

#include <QWidget>

#include "window/desk.h"

namespace leastharm {

/// The crossing log under the section, on the same millimetre axis: material bands, HU along the
/// needle, distance to the nearest keep-out, confidence of the map, the core's interval, the depth
/// scale.
class LogView : public QWidget {
 public:
  explicit LogView(Desk& desk, QWidget* parent = nullptr);
  [[nodiscard]] int wanted_height() const;

 protected:
  void paintEvent(QPaintEvent*) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void leaveEvent(QEvent*) override;

 private:
  struct Row {
    double y = 0, height = 0;
    [[nodiscard]] double bottom() const { return y + height; }
  };
  void draw_row_name(QPainter& painter, const Row& row, const QString& name,
                     const QString& unit) const;
  void draw_bands(QPainter& painter, const Row& row, const ScreenAxis& axis,
                  const TrackAssessment& track);
  void draw_hu(QPainter& painter, const Row& row, const ScreenAxis& axis,
               const NeedleLog& log) const;
  void draw_keep_out(QPainter& painter, const Row& row, const ScreenAxis& axis,
                     const NeedleLog& log) const;
  void draw_certainty(QPainter& painter, const Row& row, const ScreenAxis& axis,
                      const NeedleLog& log) const;
  void draw_core(QPainter& painter, const ScreenAxis& axis, const TrackAssessment& track,
                 double from_y, double to_y) const;
  void draw_scale(QPainter& painter, double y, const ScreenAxis& axis,
                  const TrackAssessment& track) const;
  void draw_tick(QPainter& painter, const ScreenAxis& axis, double y, const QString& text) const;

  Desk& desk_;
  Bands bands_;
};

}  // namespace leastharm

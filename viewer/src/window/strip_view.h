#pragma once

#include <QImage>
#include <QWidget>
#include <array>

#include "window/desk.h"

namespace leastharm {

/// The whole object, head to feet, with every track and hole on it: from its front, and where there
/// is room from its right side too.
class StripView : public QWidget {
 public:
  explicit StripView(Desk& desk, QWidget* parent = nullptr);
  /// In the view from the front.
  [[nodiscard]] QPointF screen_of(const Vec3& lps_mm) const;

 protected:
  void paintEvent(QPaintEvent*) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;

 private:
  /// One view as it lies in the widget.
  struct Placed {
    const BodyView* view = nullptr;
    QRectF where;
    [[nodiscard]] double scale() const { return where.width() / view->width_mm(); }
    [[nodiscard]] QPointF screen_of(const Vec3& lps_mm) const;
  };
  [[nodiscard]] std::vector<Placed> places() const;
  [[nodiscard]] Vec3 lps_of(const Placed& place, const QPointF& at) const;
  [[nodiscard]] Vec3 entry_of(std::size_t track) const;
  void draw_tracks(QPainter& painter, const Placed& place) const;
  void draw_weighed(QPainter& painter, const Placed& place, const Track& track) const;
  void draw_labels(QPainter& painter, const Placed& place) const;
  void draw_words(QPainter& painter, const Placed& place) const;
  void draw_scale_bar(QPainter& painter, const Placed& place) const;
  void draw_slice_line(QPainter& painter, const Placed& place) const;
  void draw_frame(QPainter& painter, const Placed& place, const BodyFrame& frame) const;
  void draw_front(QPainter& painter, const Placed& place, const BodyFrame& frame,
                  const QPointF& middle) const;
  void draw_arrow(QPainter& painter, const QPointF& from, const QPointF& way,
                  const QString& text) const;
  void take_hold(const QPointF& at);

  Desk& desk_;
  std::array<QImage, 2> images_;
  std::shared_ptr<const BodyViews> drawn_;
  Grip held_ = Grip::none;
  Placed held_in_;
  QPointF pressed_;
  Track track_before_;
};

}  // namespace leastharm

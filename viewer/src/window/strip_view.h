#pragma once

#include <QImage>
#include <QWidget>

#include "window/desk.h"

namespace leastharm {

/// The whole object from its front, head to feet, with every track and hole on it.
class StripView : public QWidget {
 public:
  explicit StripView(Desk& desk, QWidget* parent = nullptr);
  [[nodiscard]] QPointF screen_of(const Vec3& lps_mm) const;

 protected:
  void paintEvent(QPaintEvent*) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;

 private:
  [[nodiscard]] QRectF picture() const;
  void draw_tracks(QPainter& painter) const;
  void draw_words(QPainter& painter) const;
  void draw_frame(QPainter& painter, const BodyFrame& frame) const;
  void draw_slice_line(QPainter& painter) const;
  [[nodiscard]] Vec3 lps_of(const QPointF& at) const;
  void take_hold(const QPointF& at);

  Desk& desk_;
  QImage image_;
  std::shared_ptr<const BodyView> drawn_;
  Grip held_ = Grip::none;
  QPointF pressed_;
  Track track_before_;
};

}  // namespace leastharm

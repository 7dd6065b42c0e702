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
  /// The frame that is being set, drawn over the body; null for none.
  void show_frame(const BodyFrame* frame);

 protected:
  void paintEvent(QPaintEvent*) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;

 private:
  [[nodiscard]] QRectF picture() const;
  void draw_tracks(QPainter& painter) const;
  void draw_words(QPainter& painter) const;
  void draw_frame(QPainter& painter) const;

  Desk& desk_;
  QImage image_;
  const BodyView* drawn_ = nullptr;
  const BodyFrame* frame_ = nullptr;
  Grip held_ = Grip::none;
  QPointF pressed_;
  Track track_before_;
};

}  // namespace leastharm

#pragma once

#include "window/plane_view.h"

namespace leastharm {

/// The section that contains the needle, depth from left to right, on the log's millimetre axis.
class SectionView : public PlaneView {
 public:
  using PlaneView::PlaneView;

 protected:
  [[nodiscard]] QRect picture() const override;
  [[nodiscard]] SlicePlane plane() const override;
  [[nodiscard]] QString name() const override {
    return desk_.bench.has_track() ? word("view.section") : word("view.sectionbody");
  }
  void draw_over(QPainter& painter) override;
  [[nodiscard]] std::optional<double> depth_at(const QPointF& at) const override;
  void clicked(const QPointF& at) override;
  void holding(bool begins) override;
  void mouseMoveEvent(QMouseEvent* event) override;
};

/// Straight across the needle at the depth line, looking along it.
class AcrossView : public PlaneView {
 public:
  using PlaneView::PlaneView;

 protected:
  [[nodiscard]] SlicePlane plane() const override;
  [[nodiscard]] QString name() const override;
  void draw_over(QPainter& painter) override;
  [[nodiscard]] Grip grip_at(const QPointF& at) const override;
  [[nodiscard]] bool names_materials() const override { return false; }
};

/// The scanner's own slice through the depth line's point.
class AxialView : public PlaneView {
 public:
  using PlaneView::PlaneView;

 protected:
  [[nodiscard]] SlicePlane plane() const override;
  [[nodiscard]] QString name() const override;
  void draw_over(QPainter& painter) override;
  void wheelEvent(QWheelEvent* event) override;
  [[nodiscard]] bool names_materials() const override { return false; }

 private:
  void draw_sides(QPainter& painter, const BodyFrame& frame) const;
  void draw_tracks(QPainter& painter) const;
  int turned_ = 0;  ///< of the wheel, since the newest slice
};

}  // namespace leastharm

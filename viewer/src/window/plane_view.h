#pragma once

#include <QImage>
#include <QWidget>
#include <vector>

#include "window/desk.h"
#include "window/plane_cut.h"

namespace leastharm {

/// Distance of a place on the screen from the line between two others, px.
[[nodiscard]] double distance_to_line(const QPointF& p, const QPointF& a, const QPointF& b);

/// A picture of a flat cut through the body, with what is needed to read it and to take hold of the
/// needle in it. What each kind of cut adds, it adds in `draw_over`.
class PlaneView : public QWidget {
 public:
  explicit PlaneView(Desk& desk, QWidget* parent = nullptr);

  [[nodiscard]] QPointF screen_of(const Vec3& lps_mm) const;
  [[nodiscard]] Vec3 lps_of(const QPointF& at) const;
  /// Where the picture's name, its letters and the names of marks stand, none over another.
  [[nodiscard]] const std::vector<QRectF>& named_places() const { return named_; }
  /// The needle's grips on this picture.
  [[nodiscard]] QPointF entry_at() const { return screen_of(desk_.shown_track().entry_lps_mm); }
  [[nodiscard]] QPointF tip_at() const { return screen_of(desk_.bench.track().tip_lps_mm); }
  /// Cuts the picture as it will be drawn next, so that drawing need not.
  void cut_ahead();

 protected:
  /// Where the picture lies in the widget.
  [[nodiscard]] virtual QRect picture() const { return rect(); }
  /// The plane, sampled at one pixel a px of the picture.
  [[nodiscard]] virtual SlicePlane plane() const = 0;
  [[nodiscard]] virtual QString name() const = 0;
  virtual void draw_over(QPainter& painter) = 0;
  /// Depth along the needle of a place on the picture; empty where the picture has no such axis.
  [[nodiscard]] virtual std::optional<double> depth_at(const QPointF&) const {
    return std::nullopt;
  }
  [[nodiscard]] virtual Grip grip_at(const QPointF& at) const;
  /// A click beside the needle.
  virtual void clicked(const QPointF&) {}
  virtual void holding(bool) {}
  [[nodiscard]] virtual bool names_materials() const { return true; }
  [[nodiscard]] double scale() const { return 1 / plane_.mm_per_px; }

  void draw_track_line(QPainter& painter, const Track& track, bool in_hand) const;
  void draw_grip(QPainter& painter, const QPointF& at, Grip grip) const;

  void paintEvent(QPaintEvent*) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;
  void mouseDoubleClickEvent(QMouseEvent* event) override;
  void leaveEvent(QEvent*) override;

  Desk& desk_;
  SlicePlane plane_{};

 private:
  [[nodiscard]] bool has_picture() const;
  void refresh_image();
  void paint_image();
  [[nodiscard]] QFont name_font() const { return desk_.look.font(0.86, QFont::DemiBold); }
  std::vector<QRectF> draw_marks(QPainter& painter) const;
  [[nodiscard]] std::optional<QRectF> place_of_name(const QRectF& mark, const QSizeF& size,
                                                    const std::vector<QRectF>& taken) const;
  struct Lettering {
    QRect where;
    int flags;
    QString text;
  };
  [[nodiscard]] std::vector<Lettering> lettering(const QFontMetrics& metrics) const;
  void draw_letters(QPainter& painter) const;
  void draw_scale_bar(QPainter& painter) const;
  [[nodiscard]] std::vector<std::uint8_t> taken_points(const SlicePlane& coarse, int step) const;
  void draw_material_words(QPainter& painter) const;
  void draw_tool(QPainter& painter) const;
  void draw_tool_size(QPainter& painter) const;
  void draw_outlines(QPainter& painter) const;
  void drag_to(const QPointF& at);

  PlaneCut cut_;
  int cut_step_ = 1;  ///< pixels of the picture a pixel of the cut, each way
  std::vector<std::uint32_t> painted_;  ///< the cut, where it is coarser than the picture
  QImage image_;
  std::vector<QRectF> named_;  ///< places of the marks' names on it, and of the letters
  std::uint64_t drawn_ground_ = 0;
  std::string drawn_tone_;
  Grip held_ = Grip::none;
  QPointF pressed_, hover_;
  Track track_before_;
  std::vector<Vec3> tool_points_;
  Tool tool_of_points_ = Tool::needle;  ///< that they were set with
  bool drawing_ = false;
};

}  // namespace leastharm

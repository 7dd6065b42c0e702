#include "window/section_views.h"

#include <QMouseEvent>
#include <QWheelEvent>
#include <algorithm>
#include <cmath>

#include "planner/cylinder.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr int kWheelStep = 120;  // one notch, as Qt counts

SlicePlane plane_in(const QRect& where, const Vec3& centre, const Vec3& right, const Vec3& down,
                    double mm_per_px) {
  SlicePlane plane;
  plane.right = right;
  plane.down = down;
  plane.mm_per_px = mm_per_px;
  plane.width = where.width();
  plane.height = where.height();
  plane.corner_lps_mm =
      centre - mm_per_px * (0.5 * (plane.width - 1) * right + 0.5 * (plane.height - 1) * down);
  return plane;
}

/// The midline's point that lies nearest to the slice.
Vec3 midline_at(const BodyFrame& frame, const std::function<double(const Vec3&)>& off) {
  Vec3 nearest = frame.midline_lps_mm.front();
  constexpr int kSteps = 40;
  for (std::size_t n = 0; n + 1 < frame.midline_lps_mm.size(); ++n)
    for (int s = 0; s <= kSteps; ++s) {
      const Vec3 p = frame.midline_lps_mm[n] +
                     s / double(kSteps) * (frame.midline_lps_mm[n + 1] - frame.midline_lps_mm[n]);
      if (off(p) < off(nearest)) nearest = p;
    }
  return nearest;
}

}  // namespace

// Along the needle.

QRect SectionView::picture() const {
  const ScreenAxis axis = desk_.axis(width());
  return {static_cast<int>(axis.x0), 0, static_cast<int>(axis.x1 - axis.x0), height()};
}

SlicePlane SectionView::plane() const {
  desk_.follow_track();
  const ScreenAxis axis = desk_.axis(width());
  const SectionFrame& frame = desk_.section();
  const Vec3 centre = frame.entry + (axis.from_mm + axis.to_mm) / 2 * frame.along;
  return plane_in(picture(), centre, frame.along, -frame.up, 1 / axis.px_per_mm());
}

std::optional<double> SectionView::depth_at(const QPointF& at) const {
  return desk_.axis(width()).depth(at.x());
}

void SectionView::clicked(const QPointF& at) {
  desk_.set_depth_line(desk_.axis(width()).depth(at.x()));
}

void SectionView::holding(bool begins) { desk_.section_held = begins; }

void SectionView::mouseMoveEvent(QMouseEvent* event) {
  PlaneView::mouseMoveEvent(event);
  const bool line =
      (event->buttons() & Qt::LeftButton) && !desk_.section_held && desk_.tool == Tool::needle;
  if (line && desk_.ready()) desk_.set_depth_line(desk_.axis(width()).depth(event->localPos().x()));
}

void SectionView::draw_over(QPainter& painter) {
  const double line_x = desk_.axis(width()).x(desk_.depth_mm());
  painter.setPen(QPen(QColor(0xF0, 0xE4, 0x42), desk_.look.line(), Qt::DashLine));
  painter.drawLine(QPointF(line_x, 0), QPointF(line_x, height()));
  if (!desk_.bench.has_track()) return;
  for (const Track& other : desk_.other_tracks()) {
    const double away =
        std::abs((other.tip_lps_mm - desk_.section().entry).dot(desk_.section().across()));
    const double away_entry =
        std::abs((other.entry_lps_mm - desk_.section().entry).dot(desk_.section().across()));
    if (std::min(away, away_entry) < 6)
      draw_track_line(painter, other, false);  // the others only where they come near
  }
  const Track track = desk_.shown_track();
  const Vec3 along = axis_of(track);
  const auto corners = [&](double from_mm, double to_mm, double radius_mm) {
    const Vec3 side = radius_mm * desk_.section().across().cross(along).normalized();
    const Vec3 a = track.entry_lps_mm + from_mm * along, b = track.entry_lps_mm + to_mm * along;
    return QPolygonF(
        {screen_of(a + side), screen_of(b + side), screen_of(b - side), screen_of(a - side)});
  };
  const double path = path_length_mm(track), reach = path + track.needle.dead_tip_mm;
  const double core = std::max(0.0, path - track.needle.throw_mm);
  painter.setBrush(QColor(255, 255, 255, 105));
  painter.setPen(Qt::NoPen);
  painter.drawPolygon(corners(core, path, track.needle.bore_mm / 2));
  painter.setBrush(Qt::NoBrush);
  outline_on_picture(
      painter, corners(desk_.axis(width()).from_mm - 30, reach, track.needle.outer_mm / 2), 1);
  outline_on_picture(painter, corners(core, path, track.needle.bore_mm / 2), 0.8);
  const Vec3 tick =
      (track.needle.outer_mm / 2 + 2.2) * desk_.section().across().cross(along).normalized();
  line_on_picture(
      painter, {screen_of(track.entry_lps_mm - tick), screen_of(track.entry_lps_mm + tick)}, 1.2);
  painter.setFont(desk_.look.font(0.86, QFont::DemiBold));
  const double lift =
      track.needle.outer_mm / 2 * scale() + painter.fontMetrics().height() + desk_.look.px(0.2);
  const QPointF middle = screen_of(track.entry_lps_mm + (core + path) / 2 * along);
  const QPointF entry = screen_of(track.entry_lps_mm - tick);
  const bool crowded = std::abs(middle.x() - entry.x()) < desk_.look.px(3.6);
  draw_on_picture(painter,
                  QRectF(middle.x() - desk_.look.px(5),
                         crowded ? middle.y() + lift - painter.fontMetrics().height()
                                 : middle.y() - lift,
                         desk_.look.px(10), painter.fontMetrics().height()),
                  Qt::AlignCenter, word("needle.core"));
  draw_on_picture(painter,
                  QRectF(entry.x() - desk_.look.px(5),
                         std::min(entry.y(), screen_of(track.entry_lps_mm + tick).y()) -
                             painter.fontMetrics().height() - 1,
                         desk_.look.px(10), painter.fontMetrics().height()),
                  Qt::AlignCenter, word("needle.entry"));
  draw_grip(painter, screen_of(track.entry_lps_mm), Grip::entry);
  draw_grip(painter, screen_of(track.tip_lps_mm), Grip::tip);
}

// Across the needle.

SlicePlane AcrossView::plane() const {
  const Directions directions = desk_.directions();
  const bool needle = desk_.bench.has_track();
  const Vec3 along = needle ? axis_of(desk_.shown_track()) : desk_.section().along;
  const Vec3 wanted =
      std::abs(along.dot(directions.head)) < 0.8 ? directions.head : directions.front;
  const Vec3 up = (wanted - wanted.dot(along) * along).normalized();
  const Vec3 right =
      along.cross(up);  // looking along the needle: right x up points back at the reader
  const double field_mm = needle ? std::max(36.0, 8 * desk_.bench.track().needle.outer_mm)
                                 : 2.1 * std::max(half_length_mm(desk_.bench.ground(), right),
                                                  half_length_mm(desk_.bench.ground(), up));
  const Vec3 centre = needle ? Vec3(desk_.shown_track().entry_lps_mm + desk_.depth_mm() * along)
                             : desk_.depth_point();
  return plane_in(picture(), centre, right, -up,
                  field_mm / std::min(width(), height()));
}

QString AcrossView::name() const {
  return q(desk_.bench.has_track() ? say("view.across", mm(desk_.depth_mm()))
                                   : say("view.acrossline", mm(desk_.depth_mm(), 0)));
}

Grip AcrossView::grip_at(const QPointF& at) const {
  if (!desk_.bench.has_track() || desk_.tool != Tool::needle) return Grip::none;
  const double reach = desk_.bench.track().needle.outer_mm / 2 * scale() + desk_.look.px(0.5);
  return QLineF(at, QRectF(picture()).center()).length() <= reach ? Grip::whole : Grip::none;
}

void AcrossView::draw_over(QPainter& painter) {
  if (!desk_.bench.has_track()) return;
  const Track track = desk_.shown_track();
  const Vec3 along = axis_of(track);
  const QPointF centre = screen_of(track.entry_lps_mm + desk_.depth_mm() * along);
  const double depth = desk_.depth_mm(), path = path_length_mm(track);
  const bool in_core = depth >= std::max(0.0, path - track.needle.throw_mm) && depth <= path;
  const bool in_steel = depth <= path + track.needle.dead_tip_mm;
  for (const double diameter : {track.needle.outer_mm, track.needle.bore_mm}) {
    const double r = diameter / 2 * scale();
    const bool outer = diameter == track.needle.outer_mm;
    if (!outer && in_core) {
      painter.setBrush(QColor(255, 255, 255, 105));
      painter.setPen(Qt::NoPen);
      painter.drawEllipse(centre, r, r);
      painter.setBrush(Qt::NoBrush);
    }
    const Qt::PenStyle style = in_steel ? Qt::SolidLine : Qt::DotLine;
    painter.setPen(QPen(QColor(13, 13, 15), 3));
    painter.drawEllipse(centre, r, r);
    painter.setPen(QPen(Qt::white, 1.4, style));
    painter.drawEllipse(centre, r, r);
  }
}

// The scanner's slice.

SlicePlane AxialView::plane() const {
  const Grid& grid = desk_.bench.ground().body.grid;
  const Directions directions = desk_.directions();
  // The grid's own axes, turned so that front is up as far as they allow.
  const int upright = std::abs(grid.direction.col(0).dot(directions.front)) >
                              std::abs(grid.direction.col(1).dot(directions.front))
                          ? 0
                          : 1;
  Vec3 up = grid.direction.col(upright), right = grid.direction.col(1 - upright);
  if (up.dot(directions.front) < 0) up = -up;
  if (right.dot(directions.left) < 0) right = -right;
  const VoxelIndex low = desk_.bench.ground().object_low, high = desk_.bench.ground().object_high;
  const Vec3 extent = Vec3(high.i - low.i, high.j - low.j, 0).cwiseProduct(grid.spacing_mm);
  const double wide_mm = extent[1 - upright] + 30, high_mm = extent[upright] + 30;
  const Vec3 centre =
      grid.lps_from_index(Vec3((low.i + high.i) / 2.0, (low.j + high.j) / 2.0, desk_.slice_index()));
  const QRect where = picture();
  return plane_in(where, centre, right, -up,
                  std::max(wide_mm / where.width(), high_mm / where.height()));
}

QString AxialView::name() const {
  return q(say("view.axial", std::to_string(desk_.slice_index() + 1),
               std::to_string(desk_.bench.ground().body.grid.size[2])));
}

void AxialView::wheelEvent(QWheelEvent* event) {
  if (!desk_.ready()) return;
  turned_ += event->angleDelta().y();
  desk_.step_slice(turned_ / kWheelStep);
  turned_ %= kWheelStep;
}

void AxialView::draw_over(QPainter& painter) {
  if (desk_.frame_in_question != nullptr) draw_sides(painter, *desk_.frame_in_question);
  if (desk_.bench.has_track()) draw_tracks(painter);
  if (desk_.slice_index() != desk_.slice_of_line()) return;
  const QPointF at = screen_of(desk_.depth_point());
  painter.setPen(QPen(QColor(0xF0, 0xE4, 0x42), 1.6));
  painter.drawLine(at + QPointF(-6, 0), at + QPointF(6, 0));
  painter.drawLine(at + QPointF(0, -6), at + QPointF(0, 6));
}

/// What parts left from right here, and which way is front.
void AxialView::draw_sides(QPainter& painter, const BodyFrame& frame) const {
  if (frame.midline_lps_mm.empty()) return;
  const Vec3 normal = plane_.right.cross(plane_.down);
  const auto off = [&](const Vec3& p) { return std::abs((p - plane_.corner_lps_mm).dot(normal)); };
  const Vec3 at = midline_at(frame, off);
  const double reach = std::hypot(width(), height()) / scale();
  line_on_picture(painter, {screen_of(at - reach * frame.front), screen_of(at + reach * frame.front)},
                  1.4);
  const double aside = 0.22 * width() / scale(), e = desk_.look.em();
  painter.setFont(desk_.look.font(0.86, QFont::DemiBold));
  const auto name = [&](const Vec3& p, const QString& text) {
    const QPointF where = screen_of(p);
    draw_on_picture(painter, QRectF(where.x() - 5 * e, where.y() - e, 10 * e, 2 * e),
                    Qt::AlignCenter, text);
  };
  name(at + aside * frame.left(), word("body.left"));
  name(at - aside * frame.left(), word("body.right"));
}

void AxialView::draw_tracks(QPainter& painter) const {
  const Grid& grid = desk_.bench.ground().body.grid;
  for (const Track& other : desk_.other_tracks()) {
    const double a = grid.index_from_lps(other.entry_lps_mm).z(),
                 b = grid.index_from_lps(other.tip_lps_mm).z(), k = desk_.slice_index();
    if (k >= std::min(a, b) - 2 && k <= std::max(a, b) + 2) draw_track_line(painter, other, false);
  }
  const Track track = desk_.shown_track();
  draw_track_line(painter, track, true);
  draw_grip(painter, screen_of(track.entry_lps_mm), Grip::entry);
  draw_grip(painter, screen_of(track.tip_lps_mm), Grip::tip);
}

}  // namespace leastharm

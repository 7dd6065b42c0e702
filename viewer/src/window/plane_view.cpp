#include "window/plane_view.h"

#include <QMouseEvent>
#include <algorithm>
#include <cmath>

#include "planner/cylinder.h"
#include "window/aim.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr int kLeastPx = 8;  // a picture's side
constexpr int kPixelsCutInMotion = 400'000;

std::string tone_key(const ViewState& view, const SlicePlane& p, const Look& look) {
  std::string key = std::to_string(view.grey.black_hu) + "," + std::to_string(view.grey.white_hu) +
                    (view.hatches ? "h" : "") + (view.confidence ? "c" : "") +
                    std::to_string(look.outline_px()) + std::to_string(p.width) + "x" +
                    std::to_string(p.height) + "/" + std::to_string(p.mm_per_px);
  for (const Vec3& v : {p.corner_lps_mm, p.right, p.down})
    for (int n = 0; n < 3; ++n) key += "," + std::to_string(v[n]);
  return key;
}

}  // namespace

double distance_to_line(const QPointF& p, const QPointF& a, const QPointF& b) {
  const QPointF along = b - a;
  const double square = QPointF::dotProduct(along, along);
  const double t =
      square > 0 ? std::clamp(QPointF::dotProduct(p - a, along) / square, 0.0, 1.0) : 0;
  return std::hypot(p.x() - a.x() - t * along.x(), p.y() - a.y() - t * along.y());
}

PlaneView::PlaneView(Desk& desk, QWidget* parent) : QWidget(parent), desk_(desk) {
  setMouseTracking(true);
  setFocusPolicy(Qt::StrongFocus);
  setAttribute(Qt::WA_OpaquePaintEvent);
}

QPointF PlaneView::screen_of(const Vec3& lps_mm) const {
  const Vec3 from = lps_mm - plane_.corner_lps_mm;
  const QRect where = picture();
  return {where.x() + 0.5 + from.dot(plane_.right) * scale(),
          where.y() + 0.5 + from.dot(plane_.down) * scale()};
}

Vec3 PlaneView::lps_of(const QPointF& at) const {
  const QRect where = picture();
  return plane_.at(at.x() - where.x() - 0.5, at.y() - where.y() - 0.5);
}

Grip PlaneView::grip_at(const QPointF& at) const {
  if (!desk_.ready() || !desk_.bench.has_track() || desk_.tool != Tool::needle) return Grip::none;
  const double reach = desk_.look.px(0.9);
  const QPointF entry = entry_at(), tip = tip_at();
  if (QLineF(at, tip).length() <= reach) return Grip::tip;
  if (QLineF(at, entry).length() <= reach) return Grip::entry;
  if (distance_to_line(at, entry, tip) <= desk_.look.px(0.6)) return Grip::whole;
  return Grip::none;
}

bool PlaneView::has_picture() const {
  return desk_.ready() && picture().width() >= kLeastPx && picture().height() >= kLeastPx;
}

void PlaneView::cut_ahead() {
  if (!isVisible() || !has_picture()) return;
  plane_ = plane();
  refresh_image();
}

void PlaneView::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  const QRect where = picture();
  const bool shown = has_picture();
  for (const QRect& beside : shown ? QRegion(rect()) - where : QRegion(rect()))
    painter.fillRect(beside, desk_.look.paper());
  if (!shown) return;
  plane_ = plane();
  refresh_image();
  painter.drawImage(where.topLeft(), image_);
  painter.setClipRect(where);
  painter.setFont(name_font());
  if (desk_.bench.view().words && names_materials()) draw_material_words(painter);
  painter.setRenderHint(QPainter::Antialiasing);
  draw_over(painter);
  draw_tool(painter);
  painter.setFont(name_font());
  draw_letters(painter);
  draw_scale_bar(painter);
  painter.setClipping(false);
  if (hasFocus()) {
    painter.setRenderHint(QPainter::Antialiasing, false);
    painter.setPen(QPen(desk_.look.curve(), 2));
    painter.drawLine(where.bottomLeft(), where.bottomRight());
  }
}

/// The cut with the marks on it: both stay as they are while a needle moves in the plane. While it turns the plane, a
/// large picture is cut from every second pixel; once it rests, from all.
void PlaneView::refresh_image() {
  const ViewState& view = desk_.bench.view();
  const int step = desk_.bench.in_gesture() && plane_.width * plane_.height > kPixelsCutInMotion ? 2 : 1;
  const std::string key = tone_key(view, plane_, desk_.look);
  if (key == drawn_tone_ && drawn_ground_ == desk_.bench.ground().number && cut_step_ <= step) return;
  cut_step_ = step;
  cut_plane(desk_.bench.ground().body, plane_.coarser(step), view.confidence, cut_);
  const QSize size(plane_.width, plane_.height);
  if (image_.size() != size) image_ = QImage(size, QImage::Format_RGB32);
  paint_image();
  QPainter painter(&image_);
  painter.translate(-picture().topLeft());
  painter.setFont(name_font());
  named_ = draw_marks(painter);
  drawn_tone_ = key;
  drawn_ground_ = desk_.bench.ground().number;
}

void PlaneView::paint_image() {
  const ViewState& view = desk_.bench.view();
  const auto width = static_cast<std::size_t>(plane_.width), height = static_cast<std::size_t>(plane_.height);
  const std::span<std::uint32_t> whole(reinterpret_cast<std::uint32_t*>(image_.bits()), width * height);
  const Tone tone{view.grey, view.hatches, view.confidence, true, std::max(1, desk_.look.outline_px() / cut_step_)};
  if (cut_step_ == 1) return paint_cut(cut_, tone, whole);
  painted_.resize(cut_.material.size());
  paint_cut(cut_, tone, painted_);
  double_pixels(painted_, plane_.width, whole);
}

void PlaneView::mousePressEvent(QMouseEvent* event) {
  if (!desk_.ready() || event->button() != Qt::LeftButton || !picture().contains(event->pos()))
    return;
  setFocus(Qt::MouseFocusReason);
  pressed_ = hover_ = event->localPos();
  const Vec3 p = lps_of(pressed_);
  if (tool_of_points_ != desk_.tool) tool_points_.clear();
  tool_of_points_ = desk_.tool;
  switch (desk_.tool) {
    case Tool::needle: {
      held_ = grip_at(pressed_);
      if (held_ == Grip::none) return clicked(pressed_);
      desk_.grip = held_;
      track_before_ = desk_.shown_track();
      desk_.bench.begin_gesture(say("step.move", track_before_.id));
      holding(true);
      break;
    }
    case Tool::ball:
    case Tool::connected:
    case Tool::add_track:
      if (desk_.on_tool) desk_.on_tool(desk_.tool, {p});
      break;
    case Tool::outline:
    case Tool::brush:
      tool_points_ = {p};
      drawing_ = true;
      break;
    case Tool::ruler:
      tool_points_ = {p};
      drawing_ = true;
      break;
    case Tool::midline:
      tool_points_.push_back(p);
      break;
  }
  update();
}

void PlaneView::drag_to(const QPointF& at) {
  const Vec3 by = lps_of(at) - lps_of(pressed_);
  const Body& body = desk_.bench.ground().body;
  Track to = track_before_;
  if (held_ == Grip::tip) to = with_tip(to, to.tip_lps_mm + by);
  if (held_ == Grip::entry) to = with_entry(body, to, to.entry_lps_mm + by);
  if (held_ == Grip::whole) to = shifted(body, to, by);
  desk_.bench.move_track(to);
}

void PlaneView::mouseMoveEvent(QMouseEvent* event) {
  hover_ = event->localPos();
  if (!desk_.ready() || plane_.width == 0) return;
  if (held_ != Grip::none) drag_to(hover_);
  if (drawing_) {
    const Vec3 p = lps_of(hover_);
    if (desk_.tool == Tool::ruler) {
      tool_points_.resize(1);
      tool_points_.push_back(p);
    } else if ((p - tool_points_.back()).norm() * scale() > 2) {
      tool_points_.push_back(p);
    }
  }
  if (picture().contains(event->pos())) {
    desk_.pointed = Pointed{lps_of(hover_), depth_at(hover_)};
    if (desk_.on_pointed) desk_.on_pointed();
    setCursor(desk_.tool != Tool::needle      ? Qt::CrossCursor
              : grip_at(hover_) != Grip::none ? Qt::PointingHandCursor
                                              : Qt::ArrowCursor);
  }
  if (desk_.tool != Tool::needle) update();
}

void PlaneView::mouseReleaseEvent(QMouseEvent* event) {
  if (event->button() != Qt::LeftButton) return;
  if (held_ != Grip::none) {
    held_ = Grip::none;
    desk_.bench.end_gesture();
    holding(false);
  }
  if (drawing_ && desk_.tool != Tool::ruler) {
    const auto points = std::exchange(tool_points_, {});
    if (desk_.on_tool) desk_.on_tool(desk_.tool, points);
  }
  drawing_ = false;
  update();
}

void PlaneView::mouseDoubleClickEvent(QMouseEvent* event) {
  if (desk_.tool != Tool::midline || event->button() != Qt::LeftButton) return;
  const auto points = std::exchange(tool_points_, {});
  if (desk_.on_tool) desk_.on_tool(Tool::midline, points);
  update();
}

void PlaneView::leaveEvent(QEvent*) {
  desk_.pointed.reset();
  if (desk_.on_pointed) desk_.on_pointed();
  update();
}

}  // namespace leastharm

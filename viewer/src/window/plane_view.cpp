#include "window/plane_view.h"

#include <QElapsedTimer>
#include <QMouseEvent>
#include <QPainterPath>
#include <algorithm>
#include <cmath>

#include "planner/cylinder.h"
#include "window/aim.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr int kMarkStride = 2;

std::string tone_key(const ViewState& view, const SlicePlane& p, const Look& look) {
  std::string key = std::to_string(view.grey.black_hu) + "," + std::to_string(view.grey.white_hu) +
                    (view.hatches ? "h" : "") + (view.confidence ? "c" : "") +
                    (look.high_contrast ? "k" : "") + std::to_string(p.width) + "x" +
                    std::to_string(p.height) + "/" + std::to_string(p.mm_per_px);
  for (const Vec3& v : {p.corner_lps_mm, p.right, p.down})
    for (int n = 0; n < 3; ++n) key += "," + std::to_string(v[n]);
  return key;
}

double distance_to_line(const QPointF& p, const QPointF& a, const QPointF& b) {
  const QPointF along = b - a;
  const double square = QPointF::dotProduct(along, along);
  const double t =
      square > 0 ? std::clamp(QPointF::dotProduct(p - a, along) / square, 0.0, 1.0) : 0;
  return std::hypot(p.x() - a.x() - t * along.x(), p.y() - a.y() - t * along.y());
}

}  // namespace

PlaneView::PlaneView(Desk& desk, QWidget* parent) : QWidget(parent), desk_(desk) {
  setMouseTracking(true);
  setFocusPolicy(Qt::StrongFocus);
  setAttribute(Qt::WA_OpaquePaintEvent);
}

void PlaneView::refresh() { update(); }

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

void PlaneView::paintEvent(QPaintEvent*) {
  QElapsedTimer timer;
  timer.start();
  QPainter painter(this);
  painter.fillRect(rect(), desk_.look.paper());
  if (!desk_.ready()) return;
  const QRect where = picture();
  if (where.width() < 8 || where.height() < 8) return;
  plane_ = plane();
  const ViewState& view = desk_.bench.view();
  const std::string key = tone_key(view, plane_, desk_.look);
  if (key != drawn_tone_ || drawn_ground_ != desk_.bench.ground().number) {
    cut_plane(desk_.bench.ground().body, plane_, cut_);
    if (image_.size() != where.size()) image_ = QImage(where.size(), QImage::Format_RGB32);
    paint_cut(cut_,
              {view.grey, view.hatches, view.confidence, true, desk_.look.high_contrast ? 2 : 1},
              {reinterpret_cast<std::uint32_t*>(image_.bits()),
               static_cast<std::size_t>(plane_.width) * static_cast<std::size_t>(plane_.height)});
    drawn_tone_ = key;
    drawn_ground_ = desk_.bench.ground().number;
  }
  painter.drawImage(where.topLeft(), image_);
  painter.setClipRect(where);
  painter.setFont(desk_.look.font(0.86, QFont::DemiBold));
  draw_marks(painter);
  if (view.words && names_materials()) draw_material_words(painter);
  painter.setRenderHint(QPainter::Antialiasing);
  draw_over(painter);
  draw_tool(painter);
  painter.setFont(desk_.look.font(0.86, QFont::DemiBold));
  draw_letters(painter);
  draw_scale_bar(painter);
  painter.setClipping(false);
  if (hasFocus()) {
    painter.setRenderHint(QPainter::Antialiasing, false);
    painter.setPen(QPen(desk_.look.curve(), 2));
    painter.drawLine(where.bottomLeft(), where.bottomRight());
  }
  paint_seconds_ = static_cast<double>(timer.nsecsElapsed()) * 1e-9;
}

void PlaneView::draw_marks(QPainter& painter) const {
  const QRect where = picture();
  const Body& body = desk_.bench.ground().body;
  const int width = plane_.width / kMarkStride, height = plane_.height / kMarkStride;
  std::vector<std::uint8_t> inside(static_cast<std::size_t>(width) *
                                   static_cast<std::size_t>(height));
  for (const Mark& mark : body.marks) {
    std::fill(inside.begin(), inside.end(), std::uint8_t{0});
    bool any = false;
    const Vec3 start = body.grid.index_from_lps(plane_.corner_lps_mm);
    const Vec3 across = (body.grid.index_from_lps(plane_.at(1, 0)) - start) * kMarkStride;
    const Vec3 down = (body.grid.index_from_lps(plane_.at(0, 1)) - start) * kMarkStride;
    for (int row = 0; row < height; ++row) {
      Vec3 c = start + row * down + Vec3::Constant(0.5);
      for (int column = 0; column < width; ++column, c += across)
        if (mark.mask.contains({static_cast<int>(std::floor(c.x())),
                                static_cast<int>(std::floor(c.y())),
                                static_cast<int>(std::floor(c.z()))}))
          inside[static_cast<std::size_t>(row) * static_cast<std::size_t>(width) +
                 static_cast<std::size_t>(column)] = 1,
                 any = true;
    }
    if (!any) continue;
    QVector<QLineF> lines;
    QPointF top(0, 1e9);
    const auto at = [&](int column, int row) {
      return column >= 0 && row >= 0 && column < width && row < height &&
             inside[static_cast<std::size_t>(row) * static_cast<std::size_t>(width) +
                    static_cast<std::size_t>(column)] != 0;
    };
    // Keep-outs long dashes, cavities dots, openings short dashes, zones dash and gap alike: told
    // apart without colour.
    const int on = mark.kind == MarkKind::keep_out  ? 5
                   : mark.kind == MarkKind::cavity  ? 1
                   : mark.kind == MarkKind::opening ? 2
                                                    : 3;
    const int period = mark.kind == MarkKind::cavity     ? 3
                       : mark.kind == MarkKind::keep_out ? 7
                                                         : 2 * on;
    for (int row = 0; row <= height; ++row)
      for (int column = 0; column <= width; ++column) {
        const bool here = at(column, row);
        const double x = where.x() + column * kMarkStride, y = where.y() + row * kMarkStride;
        if (here != at(column, row - 1) && row > 0 && row < height && (column + row) % period < on)
          lines.push_back({x, y, x + kMarkStride, y});
        if (here != at(column - 1, row) && column > 0 && column < width &&
            (column + row) % period < on)
          lines.push_back({x, y, x, y + kMarkStride});
        if (here && y < top.y()) top = {x, y};
      }
    painter.setPen(QPen(Qt::white, mark.kind == MarkKind::keep_out ? 2 : 1));
    painter.drawLines(lines);
    const QString label = q(mark.name);
    const int text_width = painter.fontMetrics().horizontalAdvance(label);
    const double x = std::clamp(top.x(), where.x() + 4.0,
                                std::max(where.x() + 4.0, where.right() - 4.0 - text_width));
    const double y = std::max(top.y() - painter.fontMetrics().height() - 1,
                              where.y() + 1.5 * painter.fontMetrics().height());
    draw_on_picture(painter, QRectF(x, y, text_width + 4, painter.fontMetrics().height()),
                    Qt::AlignLeft | Qt::AlignVCenter, label);
  }
}

void PlaneView::draw_material_words(QPainter& painter) const {
  // On a lattice of every fourth pixel: words need no more.
  constexpr int step = 4;
  Slice coarse;
  coarse.plane = plane_;
  coarse.plane.width = plane_.width / step;
  coarse.plane.height = plane_.height / step;
  coarse.plane.mm_per_px *= step;
  const std::size_t count =
      static_cast<std::size_t>(coarse.plane.width) * static_cast<std::size_t>(coarse.plane.height);
  coarse.material.resize(count);
  coarse.measured.resize(count);
  std::vector<std::uint8_t> taken(count, 0);
  const bool needle = desk_.bench.has_track();
  const QPointF entry = needle ? entry_at() : QPointF(), tip = needle ? tip_at() : QPointF();
  const double needle_px =
      needle ? desk_.bench.track().needle.outer_mm / 2 * scale() + desk_.look.px(1.1) : 0;
  const QRect where = picture();
  for (int row = 0; row < coarse.plane.height; ++row)
    for (int column = 0; column < coarse.plane.width; ++column) {
      const std::size_t here =
          static_cast<std::size_t>(row) * static_cast<std::size_t>(coarse.plane.width) +
          static_cast<std::size_t>(column);
      const std::uint8_t m = cut_.material[static_cast<std::size_t>(row * step) *
                                               static_cast<std::size_t>(plane_.width) +
                                           static_cast<std::size_t>(column * step)];
      coarse.measured[here] = m != kUnmeasured;
      coarse.material[here] = m == kUnmeasured ? 0 : m;
      const QPointF at(where.x() + column * step, where.y() + row * step);
      taken[here] = (needle && distance_to_line(at, entry, tip) < needle_px) ||
                    row * step < desk_.look.px(1.6) ||
                    (coarse.plane.height - row) * step < desk_.look.px(2.6) ||
                    column * step < desk_.look.px(3.4) ||
                    (coarse.plane.width - column) * step < desk_.look.px(3.4);
    }
  for (const MaterialWord& name : words_on(coarse, taken, std::max(2, desk_.look.px(0.62) / step),
                                           desk_.look.px(4.5) / static_cast<double>(step))) {
    const QPointF at(where.x() + name.column * step, where.y() + name.row * step);
    draw_on_picture(painter, QRectF(at.x() - 60, at.y() - 12, 120, 24), Qt::AlignCenter,
                    q(spoken(name.material)));
  }
}

void PlaneView::draw_letters(QPainter& painter) const {
  const Directions directions = desk_.directions();
  const QRect where = picture().adjusted(4, 1, -4, -2);
  // In a narrow picture the way up is named below the picture's own name, not through it.
  const QString up = q(words_for(-plane_.down, directions));
  const QFontMetrics metrics = painter.fontMetrics();
  const bool collide = metrics.horizontalAdvance(name()) + desk_.look.em() >
                       (where.width() - metrics.horizontalAdvance(up)) / 2.0;
  draw_on_picture(painter, where.adjusted(0, collide ? metrics.height() : 0, 0, 0),
                  Qt::AlignTop | Qt::AlignHCenter, up);
  draw_on_picture(painter, where, Qt::AlignBottom | Qt::AlignHCenter,
                  q(words_for(plane_.down, directions)));
  const int aside = std::min(where.width() / 2 - desk_.look.px(1), desk_.look.px(12));
  draw_on_picture(painter, QRect(where.left(), where.top(), aside, where.height()),
                  Qt::AlignLeft | Qt::AlignVCenter | Qt::TextWordWrap,
                  q(words_for(-plane_.right, directions)));
  draw_on_picture(painter, QRect(where.right() - aside, where.top(), aside, where.height()),
                  Qt::AlignRight | Qt::AlignVCenter | Qt::TextWordWrap,
                  q(words_for(plane_.right, directions)));
  draw_on_picture(painter, where, Qt::AlignTop | Qt::AlignLeft, name());
}

void PlaneView::draw_scale_bar(QPainter& painter) const {
  const QRect where = picture();
  double length_mm = 5;
  for (const double candidate : {10.0, 20.0, 50.0, 100.0, 200.0, 500.0})
    if (candidate * scale() < 0.26 * where.width()) length_mm = candidate;
  const double x = where.x() + 6, y = where.bottom() - 6;
  line_on_picture(painter, {x, y, x + length_mm * scale(), y}, 2);
  draw_on_picture(
      painter,
      QRectF(x, y - 3 - painter.fontMetrics().height(), 120, painter.fontMetrics().height()),
      Qt::AlignLeft | Qt::AlignVCenter, q(mm(length_mm, 0)));
}

void PlaneView::draw_track_line(QPainter& painter, const Track& track, bool in_hand) const {
  const Vec3 along = axis_of(track);
  const QPointF from = screen_of(track.entry_lps_mm - 14 * along),
                entry = screen_of(track.entry_lps_mm), tip = screen_of(track.tip_lps_mm);
  line_on_picture(painter, {from, tip}, in_hand ? 1.6 : 0.8);
  if (in_hand) return;
  painter.setFont(desk_.look.font(0.8, QFont::DemiBold));
  draw_on_picture(painter, QRectF(entry.x() - 24, entry.y() - 22, 48, 18), Qt::AlignCenter,
                  q(track.id));
}

void PlaneView::draw_grip(QPainter& painter, const QPointF& at, Grip grip) const {
  const bool held = desk_.grip == grip || desk_.grip == Grip::whole;
  const double r = desk_.look.px(0.36);
  painter.setPen(QPen(QColor(13, 13, 15), 1.4));
  painter.setBrush(held ? QColor(0xF0, 0xE4, 0x42) : QColor(255, 255, 255));
  if (grip == Grip::entry) {
    painter.drawEllipse(at, r, r);
  } else {
    painter.drawPolygon(QPolygonF({at + QPointF(0, -1.25 * r), at + QPointF(1.25 * r, 0),
                                   at + QPointF(0, 1.25 * r), at + QPointF(-1.25 * r, 0)}));
  }
  painter.setBrush(Qt::NoBrush);
}

/// The ball or the brush under the pointer, at its size.
void PlaneView::draw_tool_size(QPainter& painter) const {
  if (!desk_.pointed || !underMouse()) return;
  const double radius_mm = desk_.tool == Tool::ball    ? desk_.ball_mm
                           : desk_.tool == Tool::brush ? desk_.brush_mm
                                                       : 0;
  if (radius_mm <= 0) return;
  for (const auto& [colour, width] :
       {std::pair{QColor(13, 13, 15), 3.0}, std::pair{QColor(255, 255, 255), 1.4}}) {
    painter.setPen(QPen(colour, width));
    painter.drawEllipse(hover_, radius_mm * scale(), radius_mm * scale());
  }
}

/// Outlines of the mark in the making: whole where they lie in this picture, as cuts where they cross it.
void PlaneView::draw_outlines(QPainter& painter) const {
  const Vec3 normal = plane_.right.cross(plane_.down);
  const double near_mm =
      0.5 * (desk_.bench.ground().body.grid.direction.transpose() * normal)
                .cwiseAbs()
                .dot(desk_.bench.ground().body.grid.spacing_mm) +
      0.01;
  for (const Outline& outline : desk_.bench.draft().outlines) {
    const auto off = [&](const Vec3& p) { return (p - plane_.corner_lps_mm).dot(normal); };
    const bool here =
        std::ranges::all_of(outline, [&](const Vec3& p) { return std::abs(off(p)) <= near_mm; });
    std::vector<QPointF> cuts;
    for (std::size_t n = 0; n < outline.size(); ++n) {
      const Vec3 &a = outline[n], &b = outline[(n + 1) % outline.size()];
      if (here)
        line_on_picture(painter, {screen_of(a), screen_of(b)}, 1.6);
      else if (off(a) * off(b) < 0)
        cuts.push_back(screen_of(a + off(a) / (off(a) - off(b)) * (b - a)));
    }
    std::ranges::sort(cuts, {}, [](const QPointF& p) { return p.x() + 1e-3 * p.y(); });
    for (std::size_t n = 0; n + 1 < cuts.size(); n += 2)
      line_on_picture(painter, {cuts[n], cuts[n + 1]}, 1.6);
  }
}

void PlaneView::draw_tool(QPainter& painter) const {
  const bool over = desk_.pointed && underMouse();
  draw_tool_size(painter);
  draw_outlines(painter);
  if (tool_points_.empty() || tool_of_points_ != desk_.tool) return;
  QPolygonF line;
  for (const Vec3& p : tool_points_) line << screen_of(p);
  if (desk_.tool == Tool::outline && drawing_) line << line.front();
  if (desk_.tool == Tool::brush) {
    QPen pen(QColor(0xF0, 0xE4, 0x42, 150), std::max(2.0, 2 * desk_.brush_mm * scale()));
    pen.setCapStyle(Qt::RoundCap);
    pen.setJoinStyle(Qt::RoundJoin);
    painter.setPen(pen);
    painter.drawPolyline(line);
    return;
  }
  if (over && !drawing_ && desk_.tool != Tool::outline) line << hover_;
  for (int n = 1; n < line.size(); ++n) line_on_picture(painter, {line[n - 1], line[n]}, 1.6);
  if (desk_.tool == Tool::ruler && tool_points_.size() >= 1 && line.size() >= 2) {
    const double length = (lps_of(line.back()) - tool_points_.front()).norm();
    const QPointF middle = (line.front() + line.back()) / 2;
    draw_on_picture(painter, QRectF(middle.x() - 60, middle.y() - 24, 120, 20), Qt::AlignCenter,
                    q(mm(length)));
  }
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

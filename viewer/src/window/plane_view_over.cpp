// What is drawn over a picture: marks, words, letters, the scale bar, tools.
#include <algorithm>
#include <cmath>

#include "planner/cylinder.h"
#include "window/plane_view.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr int kMarkStride = 2;

/// Columns, both ends included.
struct Columns {
  int from = 0, to = -1;
};

/// The columns of a row of `width` points, from `start` on by `across` (voxel indices, 0 the lower side of the first),
/// that may lie in a mask's box.
Columns columns_in_box(const Mask& mask, const Vec3& start, const Vec3& across, int width) {
  const Vec3 low(mask.corner.i, mask.corner.j, mask.corner.k), size(mask.box[0], mask.box[1], mask.box[2]);
  double from = 0, to = width - 1;
  for (int axis = 0; axis < 3; ++axis) {
    const double near = low[axis] - start[axis], far = near + size[axis];
    if (std::abs(across[axis]) < 1e-12) {
      if (near > 0 || far < 0) return {};
      continue;
    }
    from = std::max(from, std::min(near / across[axis], far / across[axis]));
    to = std::min(to, std::max(near / across[axis], far / across[axis]));
  }
  if (from > to) return {};
  return {static_cast<int>(from), std::min(width - 1, static_cast<int>(to) + 1)};
}

}  // namespace

void PlaneView::draw_marks(QPainter& painter) const {
  const QRect where = picture();
  const Body& body = desk_.bench.ground().body;
  const int width = plane_.width / kMarkStride, height = plane_.height / kMarkStride;
  std::vector<std::uint8_t> inside(static_cast<std::size_t>(width) *
                                   static_cast<std::size_t>(height));
  for (const Mark& mark : body.marks) {
    std::fill(inside.begin(), inside.end(), std::uint8_t{0});
    int left = width, right = -1, highest = height, lowest = -1;   // what the mark covers
    const Vec3 start = body.grid.index_from_lps(plane_.corner_lps_mm);
    const Vec3 across = (body.grid.index_from_lps(plane_.at(1, 0)) - start) * kMarkStride;
    const Vec3 down = (body.grid.index_from_lps(plane_.at(0, 1)) - start) * kMarkStride;
    for (int row = 0; row < height; ++row) {
      const Vec3 first = start + row * down + Vec3::Constant(0.5);
      const Columns columns = columns_in_box(mark.mask, first, across, width);
      Vec3 c = first + columns.from * across;
      for (int column = columns.from; column <= columns.to; ++column, c += across)
        if (mark.mask.contains({static_cast<int>(std::floor(c.x())),
                                static_cast<int>(std::floor(c.y())),
                                static_cast<int>(std::floor(c.z()))})) {
          inside[static_cast<std::size_t>(row) * static_cast<std::size_t>(width) +
                 static_cast<std::size_t>(column)] = 1;
          left = std::min(left, column);
          right = std::max(right, column);
          highest = std::min(highest, row);
          lowest = row;
        }
    }
    if (lowest < 0) continue;
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
    for (int row = highest; row <= lowest + 1; ++row)
      for (int column = left; column <= right + 1; ++column) {
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

}  // namespace leastharm

// What is drawn over a picture: words, letters, the scale bar, tools.
#include <algorithm>
#include <cmath>

#include "planner/cylinder.h"
#include "window/plane_view.h"
#include "words.h"

namespace leastharm {

/// Where no material's word may stand: the rims that letters and names lie on, the needle, the marks' names.
std::vector<std::uint8_t> PlaneView::taken_points(const SlicePlane& coarse, int step) const {
  const int width = coarse.width, height = coarse.height;
  std::vector<std::uint8_t> taken(static_cast<std::size_t>(width) * static_cast<std::size_t>(height), 1);
  const auto at = [&](int column, int row) -> std::uint8_t& {
    return taken[static_cast<std::size_t>(row) * static_cast<std::size_t>(width) + static_cast<std::size_t>(column)];
  };
  const int aside = desk_.look.px(3.4) / step + 1, top = desk_.look.px(1.6) / step + 1,
            bottom = desk_.look.px(2.6) / step + 1;
  for (int row = top; row < height - bottom; ++row)
    if (width > 2 * aside) std::fill_n(&at(aside, row), width - 2 * aside, std::uint8_t{0});
  const QPointF origin = picture().topLeft();
  const auto each_in = [&](const QRectF& box, const auto& mark) {
    const QRectF on = box.translated(-origin);
    const int left = std::max(0, static_cast<int>(on.left()) / step), right = static_cast<int>(on.right()) / step + 1,
              high = std::max(0, static_cast<int>(on.top()) / step), low = static_cast<int>(on.bottom()) / step + 1;
    for (int row = high; row < std::min(low, height); ++row)
      for (int column = left; column < std::min(right, width); ++column) mark(column, row);
  };
  for (const QRectF& name : named_) each_in(name, [&](int column, int row) { at(column, row) = 1; });
  if (!desk_.bench.has_track()) return taken;
  const QPointF entry = entry_at(), tip = tip_at();
  const double near = desk_.bench.track().needle.outer_mm / 2 * scale() + desk_.look.px(1.1);
  each_in(QRectF(entry, tip).normalized().adjusted(-near, -near, near, near), [&](int column, int row) {
    if (distance_to_line(origin + QPointF(column, row) * step, entry, tip) < near) at(column, row) = 1;
  });
  return taken;
}

void PlaneView::draw_material_words(QPainter& painter) const {
  const int step = std::max(4, desk_.look.px(0.3));  // words need no finer lattice
  Slice coarse;
  coarse.plane = plane_;
  coarse.plane.width = plane_.width / step;
  coarse.plane.height = plane_.height / step;
  coarse.plane.mm_per_px *= step;
  const std::size_t count =
      static_cast<std::size_t>(coarse.plane.width) * static_cast<std::size_t>(coarse.plane.height);
  coarse.material.resize(count);
  coarse.measured.resize(count);
  std::size_t here = 0;
  for (int row = 0; row < coarse.plane.height; ++row) {
    const std::uint8_t* const fine = cut_.material.data() + static_cast<std::size_t>(row * step / cut_step_) *
                                                                static_cast<std::size_t>(cut_.plane.width);
    for (int column = 0; column < coarse.plane.width; ++column, ++here) {
      const std::uint8_t m = fine[column * step / cut_step_];
      coarse.measured[here] = m != kUnmeasured;
      coarse.material[here] = m == kUnmeasured ? 0 : m;
    }
  }
  const QRect where = picture();
  for (const MaterialWord& name :
       words_on(coarse, taken_points(coarse.plane, step), std::max(2, desk_.look.px(0.62) / step),
                desk_.look.px(4.5) / static_cast<double>(step))) {
    const QString text = q(spoken(name.material));
    const double wide = painter.fontMetrics().horizontalAdvance(text) + 4, high = painter.fontMetrics().height();
    draw_on_picture(painter,
                    QRectF(where.x() + name.column * step - wide / 2, where.y() + name.row * step - high / 2, wide, high),
                    Qt::AlignCenter, text);
  }
}

/// The picture's name, and which way its four sides lie.
std::vector<PlaneView::Lettering> PlaneView::lettering(const QFontMetrics& metrics) const {
  const Directions directions = desk_.directions();
  const QRect where = picture().adjusted(4, 1, -4, -2);
  // In a narrow picture the way up is named below the picture's own name, not through it.
  const QString up = q(words_for(-plane_.down, directions));
  const bool collide = metrics.horizontalAdvance(name()) + desk_.look.em() >
                       (where.width() - metrics.horizontalAdvance(up)) / 2.0;
  const int aside = std::min(where.width() / 2 - desk_.look.px(1), desk_.look.px(12));
  return {{where, Qt::AlignTop | Qt::AlignLeft, name()},
          {where.adjusted(0, collide ? metrics.height() : 0, 0, 0), Qt::AlignTop | Qt::AlignHCenter, up},
          {where, Qt::AlignBottom | Qt::AlignHCenter, q(words_for(plane_.down, directions))},
          {QRect(where.left(), where.top(), aside, where.height()),
           Qt::AlignLeft | Qt::AlignVCenter | Qt::TextWordWrap, q(words_for(-plane_.right, directions))},
          {QRect(where.right() - aside, where.top(), aside, where.height()),
           Qt::AlignRight | Qt::AlignVCenter | Qt::TextWordWrap, q(words_for(plane_.right, directions))}};
}

void PlaneView::draw_letters(QPainter& painter) const {
  for (const Lettering& l : lettering(painter.fontMetrics())) draw_on_picture(painter, l.where, l.flags, l.text);
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
      QRectF(x, y - 3 - painter.fontMetrics().height(), desk_.look.px(9), painter.fontMetrics().height()),
      Qt::AlignLeft | Qt::AlignVCenter, q(mm(length_mm, 0)));
}

void PlaneView::draw_track_line(QPainter& painter, const Track& track, bool in_hand) const {
  const Vec3 along = axis_of(track);
  const QPointF from = screen_of(track.entry_lps_mm - 14 * along),
                entry = screen_of(track.entry_lps_mm), tip = screen_of(track.tip_lps_mm);
  line_on_picture(painter, {from, tip}, in_hand ? 1.6 : 0.8);
  if (in_hand) return;
  painter.setFont(desk_.look.font(0.8, QFont::DemiBold));
  const double e = desk_.look.em();
  draw_on_picture(painter, QRectF(entry.x() - 2 * e, entry.y() - 1.7 * e, 4 * e, 1.4 * e), Qt::AlignCenter,
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
    const double e = desk_.look.em();
    draw_on_picture(painter, QRectF(middle.x() - 5 * e, middle.y() - 1.9 * e, 10 * e, 1.5 * e), Qt::AlignCenter,
                    q(mm(length)));
  }
}

}  // namespace leastharm

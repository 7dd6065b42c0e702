// Marks on a picture: where the plane cuts them, and their names.
#include <algorithm>
#include <cmath>

#include "window/plane_view.h"

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

/// A mark as a picture cuts it, on every second pixel, with an empty rim of one point.
struct MarkCut {
  int width, height;  ///< without the rim
  int left, right = -1, highest = -1, lowest = -1;
  std::vector<std::uint8_t> inside;

  MarkCut(const Mask& mask, const Grid& grid, const SlicePlane& plane)
      : width(plane.width / kMarkStride),
        height(plane.height / kMarkStride),
        left(width),
        inside(static_cast<std::size_t>(width + 2) * static_cast<std::size_t>(height + 2)) {
    const Vec3 start = grid.index_from_lps(plane.corner_lps_mm) + Vec3::Constant(0.5);
    const Vec3 across = (grid.index_from_lps(plane.at(1, 0)) - grid.index_from_lps(plane.at(0, 0))) * kMarkStride;
    const Vec3 down = (grid.index_from_lps(plane.at(0, 1)) - grid.index_from_lps(plane.at(0, 0))) * kMarkStride;
    for (int row = 0; row < height; ++row) fill_row(mask, row, start + row * down, across);
  }
  /// Row and column from -1 on.
  [[nodiscard]] const std::uint8_t* row(int n) const {
    return inside.data() + static_cast<std::size_t>(n + 1) * static_cast<std::size_t>(width + 2) + 1;
  }

 private:
  /// Many points of a row lie in the same voxel: each voxel is asked once.
  void fill_row(const Mask& mask, int row, const Vec3& first, const Vec3& across) {
    const Columns columns = columns_in_box(mask, first, across, width);
    std::uint8_t* const points =
        &inside[static_cast<std::size_t>(row + 1) * static_cast<std::size_t>(width + 2) + 1];
    for (int column = columns.from; column <= columns.to;) {
      const Vec3 c = first + column * across, floor = c.array().floor();
      double ahead = columns.to - column;
      for (int axis = 0; axis < 3; ++axis)
        if (std::abs(across[axis]) > 1e-12)
          ahead = std::min(ahead, (across[axis] < 0 ? c[axis] - floor[axis] : floor[axis] + 1 - c[axis]) /
                                      std::abs(across[axis]));
      const int count = 1 + static_cast<int>(ahead);
      if (mask.contains({static_cast<int>(floor.x()), static_cast<int>(floor.y()), static_cast<int>(floor.z())})) {
        std::fill_n(points + column, count, std::uint8_t{1});
        left = std::min(left, column);
        right = std::max(right, column + count - 1);
        if (highest < 0) highest = row;
        lowest = row;
      }
      column += count;
    }
  }
};

/// Keep-outs long dashes, cavities dots, openings short dashes, zones dash and gap alike: told apart without colour.
QVector<QLineF> dashes_round(const MarkCut& cut, MarkKind kind, const QPoint& origin) {
  const int on = kind == MarkKind::keep_out ? 5 : kind == MarkKind::cavity ? 1 : kind == MarkKind::opening ? 2 : 3;
  const int period = kind == MarkKind::cavity ? 3 : kind == MarkKind::keep_out ? 7 : 2 * on;
  QVector<QLineF> lines;
  for (int row = cut.highest; row <= cut.lowest + 1; ++row) {
    const std::uint8_t *own = cut.row(row), *above = cut.row(row - 1);
    for (int column = cut.left; column <= cut.right + 1; ++column) {
      if (own[column] == above[column] && own[column] == own[column - 1]) continue;
      if ((column + row) % period >= on) continue;
      const double x = origin.x() + column * kMarkStride, y = origin.y() + row * kMarkStride;
      if (own[column] != above[column] && row > 0 && row < cut.height) lines.push_back({x, y, x + kMarkStride, y});
      if (own[column] != own[column - 1] && column > 0 && column < cut.width)
        lines.push_back({x, y, x, y + kMarkStride});
    }
  }
  return lines;
}

}  // namespace

/// Where a mark's name stands clear of what is named already: above it, below it, or beside it.
std::optional<QRectF> PlaneView::place_of_name(const QRectF& mark, const QSizeF& size,
                                               const std::vector<QRectF>& taken) const {
  const QRectF room = QRectF(picture()).adjusted(4, 1, -4, -1.5 * size.height());
  if (room.width() < size.width() || room.height() < size.height()) return std::nullopt;
  const double middle = mark.center().y() - size.height() / 2;
  const double gap = 0.7 * desk_.look.em();  // two names in one line must not read as one
  for (const QPointF corner : {QPointF(mark.center().x() - size.width() / 2, mark.top() - size.height() - 1),
                               QPointF(mark.center().x() - size.width() / 2, mark.bottom() + 1),
                               QPointF(mark.right() + 4, middle), QPointF(mark.left() - size.width() - 4, middle)}) {
    const QRectF place(std::clamp(corner.x(), room.left(), room.right() - size.width()),
                       std::clamp(corner.y(), room.top(), room.bottom() - size.height()), size.width(),
                       size.height());
    const QRectF clear = place.adjusted(-gap, 0, gap, 0);
    if (std::ranges::none_of(taken, [&](const QRectF& other) { return other.intersects(clear); })) return place;
  }
  return std::nullopt;
}

/// Returns the places of their names, and of the letters that they keep clear of. A name that finds no room is left out; the reading line still has it.
std::vector<QRectF> PlaneView::draw_marks(QPainter& painter) const {
  const Body& body = desk_.bench.ground().body;
  const QPoint origin = picture().topLeft();
  std::vector<QRectF> names;
  for (const Lettering& l : lettering(painter.fontMetrics()))
    names.push_back(painter.fontMetrics().boundingRect(l.where, l.flags, l.text));
  for (const Mark& mark : body.marks) {
    const MarkCut cut(mark.mask, body.grid, plane_);
    if (cut.lowest < 0) continue;
    painter.setPen(QPen(Qt::white, mark.kind == MarkKind::keep_out ? 2 : 1));
    painter.drawLines(dashes_round(cut, mark.kind, origin));
    const QString label = q(mark.name);
    const QRectF covered(origin.x() + cut.left * kMarkStride, origin.y() + cut.highest * kMarkStride,
                         (cut.right - cut.left + 1) * kMarkStride, (cut.lowest - cut.highest + 1) * kMarkStride);
    const QSizeF size(painter.fontMetrics().horizontalAdvance(label) + 4, painter.fontMetrics().height());
    const auto place = place_of_name(covered, size, names);
    if (!place) continue;
    draw_on_picture(painter, *place, Qt::AlignCenter, label);
    names.push_back(*place);
  }
  return names;
}

}  // namespace leastharm

#include "figure_marks.h"

#include <algorithm>
#include <vector>

namespace leastharm {
namespace {

/// Every `kStride`th pixel is enough for an outline at print resolution.
constexpr int kStride = 2;

struct Lattice {
  int width = 0, height = 0;
  std::vector<std::uint8_t> inside;
};

Lattice sample(const Mark& mark, const Grid& grid, const SlicePlane& plane) {
  Lattice lattice{plane.width / kStride, plane.height / kStride, {}};
  lattice.inside.assign(static_cast<std::size_t>(lattice.width) * lattice.height, 0);
  for (int row = 0; row < lattice.height; ++row)
    for (int column = 0; column < lattice.width; ++column)
      if (mark.mask.contains(grid.voxel_at(plane.at(column * kStride, row * kStride))))
        lattice.inside[static_cast<std::size_t>(row) * lattice.width + column] = 1;
  return lattice;
}

/// Adds the lattice's borders to the path, walked edge by edge so that dashes run on along straight
/// stretches.
struct DrawnOutline {
  bool any = false;
  double top_x = 0, top_y = 1e30;
};
DrawnOutline add_outline(cairo_t* cairo, const Lattice& lattice, const Rect& where, double step,
                         bool dashed) {
  const auto drawn = [dashed](int n) { return dashed ? n % 6 < 4 : n % 3 == 0; };
  DrawnOutline outline;
  const auto is_inside = [&](int column, int row) {
    return column >= 0 && row >= 0 && column < lattice.width && row < lattice.height &&
           lattice.inside[static_cast<std::size_t>(row) * lattice.width + column] != 0;
  };
  for (int row = 0; row <= lattice.height; ++row)
    for (int column = 0; column <= lattice.width; ++column) {
      const double x = where.x + column * step, y = where.y + row * step;
      const bool here = is_inside(column, row);
      if (here != is_inside(column, row - 1) && drawn(column))
        draw_segment(cairo, x, y, x + step, y);
      if (here != is_inside(column - 1, row) && drawn(row)) draw_segment(cairo, x, y, x, y + step);
      if (here && y < outline.top_y) {
        outline.top_x = x;
        outline.top_y = y;
      }
      outline.any |= here;
    }
  return outline;
}

}  // namespace

void draw_marks(cairo_t* cairo, const Body& body, const SlicePlane& plane, const Rect& where) {
  static const TextStyle name_style{7.2, 9, Weight::semibold, true, kWhite, Align::left};
  static const Rgb halo{0.05, 0.05, 0.06};
  const double step = where.width / plane.width * kStride;
  for (const Mark& mark : body.marks) {
    if (mark.kind != MarkKind::keep_out && mark.kind != MarkKind::cavity) continue;
    const bool keep_out = mark.kind == MarkKind::keep_out;
    const DrawnOutline outline =
        add_outline(cairo, sample(mark, body.grid, plane), where, step, keep_out);
    stroke(cairo, kWhite, keep_out ? 1.2 : 0.7);
    if (!outline.any || !keep_out) continue;
    const double x = std::clamp(outline.top_x, where.x + 4, where.right() - 60);
    draw_line_of_text(cairo, mark.name, name_style, x, std::max(outline.top_y - 3, where.y + 18),
                      &halo);
  }
}

}  // namespace leastharm

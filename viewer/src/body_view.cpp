#include "body_view.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace leastharm {
namespace {

constexpr float kNothing = -std::numeric_limits<float>::max();
constexpr double kCellMm = 4;  // of the coarse map that tells rays where to start
constexpr double kMarginMm = 6;

bool is_object(std::uint8_t material) {
  return material != static_cast<std::uint8_t>(Material::air) &&
         material != static_cast<std::uint8_t>(Material::support);
}

/// Steps along the three page axes when an index grows by one, and the origin's coordinates.
struct PageFrame {
  Vec3 origin;
  Mat3 step;  ///< columns: page coordinates (right, up, toward) per index
};

PageFrame page_frame(const Grid& grid, const BodyView& view) {
  Mat3 axes;
  axes.row(0) = view.right.transpose();
  axes.row(1) = view.up.transpose();
  axes.row(2) = view.toward.transpose();
  return {axes * grid.origin_lps_mm, axes * grid.direction * grid.spacing_mm.asDiagonal()};
}

template <typename Visit>
void for_each_object_voxel(const Body& body, const PageFrame& frame, Visit visit) {
  std::size_t n = 0;
  for (int k = 0; k < body.grid.size[2]; ++k)
    for (int j = 0; j < body.grid.size[1]; ++j) {
      Vec3 p = frame.origin + frame.step.col(1) * j + frame.step.col(2) * k;
      for (int i = 0; i < body.grid.size[0]; ++i, ++n, p += frame.step.col(0))
        if (is_object(body.materials[n])) visit(p);
    }
}

/// Nearest and farthest surface in coarse cells.
struct Coarse {
  int width = 0, height = 0;
  std::vector<float> near;
};

Coarse coarse_map(const Body& body, const PageFrame& frame, const BodyView& view) {
  Coarse map;
  map.width = static_cast<int>(view.width_mm() / kCellMm) + 2;
  map.height = static_cast<int>(view.height_mm() / kCellMm) + 2;
  map.near.assign(static_cast<std::size_t>(map.width) * map.height, kNothing);
  for_each_object_voxel(body, frame, [&](const Vec3& p) {
    const int column =
        std::clamp(static_cast<int>((p.x() - view.left_mm) / kCellMm), 0, map.width - 1);
    const int row =
        std::clamp(static_cast<int>((view.top_mm - p.y()) / kCellMm), 0, map.height - 1);
    float& near = map.near[static_cast<std::size_t>(row) * map.width + column];
    near = std::max(near, static_cast<float>(p.z()));
  });
  return map;
}

/// Depth range to search a ray in, from the nine cells about it.
std::pair<double, double> search_range(const Coarse& map, int column, int row) {
  double first = kNothing, last = std::numeric_limits<double>::max();
  for (int y = std::max(0, row - 1); y <= std::min(map.height - 1, row + 1); ++y)
    for (int x = std::max(0, column - 1); x <= std::min(map.width - 1, column + 1); ++x) {
      const double near = map.near[static_cast<std::size_t>(y) * map.width + x];
      if (near == kNothing) continue;
      first = std::max(first, near);
      last = std::min(last, near);
    }
  return {first, last};
}

std::vector<float> cast_rays(const Body& body, const BodyView& view, const Coarse& map) {
  std::vector<float> depth(static_cast<std::size_t>(view.width) * view.height, kNothing);
  const double step = 0.5 * body.grid.spacing_mm.minCoeff();
  for (int row = 0; row < view.height; ++row)
    for (int column = 0; column < view.width; ++column) {
      const double x = view.left_mm + (column + 0.5) * view.mm_per_px,
                   y = view.top_mm - (row + 0.5) * view.mm_per_px;
      const auto [first, last] =
          search_range(map, static_cast<int>((column + 0.5) * view.mm_per_px / kCellMm),
                       static_cast<int>((row + 0.5) * view.mm_per_px / kCellMm));
      if (first == kNothing) continue;
      for (double z = first + kCellMm; z > last - 3 * kCellMm; z -= step) {
        const Material m =
            body.material_at(body.grid.voxel_at(x * view.right + y * view.up + z * view.toward));
        if (!is_object(static_cast<std::uint8_t>(m))) continue;
        depth[static_cast<std::size_t>(row) * view.width + column] = static_cast<float>(z);
        break;
      }
    }
  return depth;
}

/// Mean over a square of the pixels that show something, row by row and then column by column. With
/// `spreading`, pixels that show nothing take the mean of their neighbours.
std::vector<float> blurred(const std::vector<float>& from, int width, int height, int radius,
                           bool spreading = false) {
  std::vector<float> once(from.size(), kNothing), twice(from.size(), kNothing);
  const auto pass = [&](const std::vector<float>& in, std::vector<float>& out, int lines,
                        int length, std::size_t line_step, std::size_t step) {
    for (int line = 0; line < lines; ++line)
      for (int n = 0; n < length; ++n) {
        const std::size_t start = static_cast<std::size_t>(line) * line_step;
        if (!spreading && in[start + static_cast<std::size_t>(n) * step] == kNothing) continue;
        double sum = 0;
        int count = 0;
        for (int m = std::max(0, n - radius); m <= std::min(length - 1, n + radius); ++m)
          if (const float value = in[start + static_cast<std::size_t>(m) * step];
              value != kNothing) {
            sum += value;
            ++count;
          }
        if (count > 0)
          out[start + static_cast<std::size_t>(n) * step] = static_cast<float>(sum / count);
      }
  };
  pass(from, once, height, width, static_cast<std::size_t>(width), 1);
  pass(once, twice, width, height, 1, static_cast<std::size_t>(width));
  return twice;
}

/// Light from the upper left, hollows a little darker. `radius` px: about a voxel, whose steps are
/// no feature of the surface.
std::vector<float> light_of(const BodyView& view, const std::vector<float>& depth, int radius) {
  const int width = view.width, height = view.height;
  const std::vector<float> smooth =
      blurred(blurred(depth, width, height, radius), width, height, radius);
  const std::vector<float> wide =
      blurred(smooth, width, height, static_cast<int>(12 / view.mm_per_px));
  const Vec3 lamp = Vec3(-0.45, 0.6, 0.75).normalized();
  std::vector<float> light(depth.size(), kNothing);
  const auto slope = [&](std::size_t here, std::size_t before, std::size_t after) {
    const float a = smooth[before] == kNothing ? smooth[here] : smooth[before];
    const float b = smooth[after] == kNothing ? smooth[here] : smooth[after];
    return std::clamp((b - a) / (2 * view.mm_per_px), -6.0, 6.0);
  };
  const auto across = static_cast<std::size_t>(width);
  for (int row = 1; row + 1 < height; ++row)
    for (int column = 1; column + 1 < width; ++column) {
      const std::size_t here =
          static_cast<std::size_t>(row) * across + static_cast<std::size_t>(column);
      if (depth[here] == kNothing) continue;
      const Vec3 normal =
          Vec3(-slope(here, here - 1, here + 1), slope(here, here - across, here + across), 1)
              .normalized();
      const double lit = std::max(0.0, normal.dot(lamp));
      const double hollow = std::clamp((smooth[here] - wide[here]) / 12.0, -1.0, 1.0);
      light[here] = static_cast<float>(std::clamp(96 + 126 * lit + 26 * hollow, 50.0, 240.0));
    }
  return light;
}

/// The lit surface on white paper, its rim drawn smooth.
void fill_light(BodyView& view, const std::vector<float>& depth, int radius) {
  const std::vector<float> light = light_of(view, depth, radius);
  const std::vector<float> spread = blurred(light, view.width, view.height, 2 * radius, true);
  std::vector<float> cover(depth.size());
  for (std::size_t n = 0; n < depth.size(); ++n) cover[n] = depth[n] == kNothing ? 0.0F : 1.0F;
  cover = blurred(blurred(cover, view.width, view.height, radius), view.width, view.height, radius);
  view.light.assign(depth.size(), 255);
  for (std::size_t n = 0; n < depth.size(); ++n) {
    if (spread[n] == kNothing) continue;
    const double shown = std::clamp((cover[n] - 0.5) * 2 * radius + 0.5, 0.0, 1.0);
    // At the rim single voxels stand on edge: the mean of what lies about is truer.
    const double value = cover[n] < 0.9F ? spread[n] : light[n];
    view.light[n] = static_cast<std::uint8_t>(std::lround(255 + shown * (value - 255)));
  }
}

}  // namespace

BodyView look_at(const Body& body, const Vec3& right, const Vec3& up, double mm_per_px) {
  BodyView view;
  view.right = right;
  view.up = up;
  view.toward = right.cross(up);
  view.mm_per_px = mm_per_px;
  const PageFrame frame = page_frame(body.grid, view);
  Vec3 low = Vec3::Constant(std::numeric_limits<double>::max()), high = -low;
  for_each_object_voxel(body, frame, [&](const Vec3& p) {
    low = low.cwiseMin(p);
    high = high.cwiseMax(p);
  });
  if (low.x() > high.x()) return view;
  view.left_mm = low.x() - kMarginMm;
  view.top_mm = high.y() + kMarginMm;
  view.width = static_cast<int>((high.x() - low.x() + 2 * kMarginMm) / mm_per_px) + 1;
  view.height = static_cast<int>((high.y() - low.y() + 2 * kMarginMm) / mm_per_px) + 1;
  const double voxel_mm = body.grid.spacing_mm.mean();
  const int radius = std::max(1, static_cast<int>(std::lround(0.9 * voxel_mm / mm_per_px)));
  fill_light(view, cast_rays(body, view, coarse_map(body, frame, view)), radius);
  return view;
}

void withhold(BodyView& view, const Mask& mask) {
  constexpr std::uint8_t kBlank = 222;
  const double reach_px = 0.5 * mask.grid.spacing_mm.norm() / view.mm_per_px;
  for (int k = 0; k < mask.box[2]; ++k)
    for (int j = 0; j < mask.box[1]; ++j)
      for (int i = 0; i < mask.box[0]; ++i) {
        const VoxelIndex v{mask.corner.i + i, mask.corner.j + j, mask.corner.k + k};
        if (!mask.contains(v)) continue;
        const Vec3 p = mask.grid.lps_from_index(Vec3(v.i, v.j, v.k));
        const double x = (p.dot(view.right) - view.left_mm) / view.mm_per_px,
                     y = (view.top_mm - p.dot(view.up)) / view.mm_per_px;
        const int left = std::max(0, static_cast<int>(x - reach_px)), top = std::max(0, static_cast<int>(y - reach_px));
        for (int row = top; row <= std::min(view.height - 1, static_cast<int>(y + reach_px)); ++row)
          for (int column = left; column <= std::min(view.width - 1, static_cast<int>(x + reach_px)); ++column)
            view.light[static_cast<std::size_t>(row) * view.width + column] = kBlank;
      }
}

void paint_view(cairo_t* cairo, const PlacedView& placed) {
  const BodyView& view = placed.view;
  std::vector<std::uint32_t> pixels(view.light.size());
  for (std::size_t n = 0; n < pixels.size(); ++n) pixels[n] = view.light[n] * 0x010101u;
  cairo_surface_t* image = cairo_image_surface_create_for_data(
      reinterpret_cast<unsigned char*>(pixels.data()), CAIRO_FORMAT_RGB24, view.width, view.height,
      view.width * 4);
  cairo_save(cairo);
  add_rect(cairo, placed.where);
  cairo_clip(cairo);
  cairo_translate(cairo, placed.where.x, placed.where.y);
  cairo_scale(cairo, placed.where.width / view.width, placed.where.height / view.height);
  cairo_set_source_surface(cairo, image, 0, 0);
  cairo_paint(cairo);
  cairo_restore(cairo);
  cairo_surface_finish(image);
  cairo_surface_destroy(image);
}

}  // namespace leastharm

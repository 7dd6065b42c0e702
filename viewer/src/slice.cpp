#include "slice.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace leastharm {
namespace {

constexpr double kPixelsPerPt = 250.0 / 72.0;
/// Grey where there is no reading: neither the black of air nor the white of bone.
constexpr std::uint8_t kOutsideScan = 60;

/// The eight voxels about a point and their trilinear shares; `inside` false where one lies off the
/// grid.
struct Corners {
  std::array<std::size_t, 8> offset{};
  std::array<double, 8> share{};
  bool inside = false;
};

Corners corners_of(const Grid& grid, const Vec3& lps_mm) {
  Corners corners;
  const Vec3 index = grid.index_from_lps(lps_mm);
  std::array<int, 3> low{};
  std::array<double, 3> part{};
  for (int axis = 0; axis < 3; ++axis) {
    if (!(index[axis] > -0.5 && index[axis] < grid.size[axis] - 0.5)) return corners;
    // Half a voxel beyond the outermost centres still belongs to the outermost voxels.
    const double held = std::clamp(index[axis], 0.0, grid.size[axis] - 1.0);
    low[axis] = std::clamp(static_cast<int>(held), 0, std::max(0, grid.size[axis] - 2));
    part[axis] = held - low[axis];
  }
  for (std::size_t n = 0; n < 8; ++n) {
    std::array<int, 3> v{};
    double share = 1;
    for (int axis = 0; axis < 3; ++axis) {
      const bool high = (n >> axis) & 1;
      v[axis] = std::min(low[axis] + (high ? 1 : 0), grid.size[axis] - 1);
      share *= high ? part[axis] : 1 - part[axis];
    }
    corners.offset[n] = grid.offset(v[0], v[1], v[2]);
    corners.share[n] = share;
  }
  corners.inside = true;
  return corners;
}

double hu_of(const Body& body, const Corners& corners) {
  double sum = 0;
  for (std::size_t n = 0; n < 8; ++n) {
    const std::int16_t hu = body.hu[corners.offset[n]];
    if (hu == kNoReadingHu) return std::numeric_limits<double>::quiet_NaN();
    sum += corners.share[n] * hu;
  }
  return sum;
}

std::uint8_t material_of(const Body& body, const Corners& corners) {
  PerMaterial<double> votes{};
  for (std::size_t n = 0; n < 8; ++n)
    votes[body.materials[corners.offset[n]] % kMaterialCount] += corners.share[n];
  return static_cast<std::uint8_t>(std::max_element(votes.begin(), votes.end()) - votes.begin());
}

std::uint32_t pixel(Rgb colour) {
  const auto byte = [](double part) { return static_cast<std::uint32_t>(std::lround(255 * part)); };
  return byte(colour.red) << 16 | byte(colour.green) << 8 | byte(colour.blue);
}

/// Which of two neighbours a border is drawn for: the rarer, harder one.
int rank(std::uint8_t material) {
  static constexpr PerMaterial<int> ranks{0, 2, 3, 4, 5, 6, 7, 1};
  return ranks[material];
}

void draw_outlines(const Slice& slice, std::vector<std::uint32_t>& pixels) {
  const int width = slice.plane.width, height = slice.plane.height;
  const auto mark = [&](int column, int row, std::uint8_t material) {
    for (int dy = 0; dy <= 1; ++dy)
      for (int dx = 0; dx <= 1; ++dx)
        if (column + dx < width && row + dy < height)
          pixels[static_cast<std::size_t>(row + dy) * width + column + dx] =
              pixel(colour_of(static_cast<Material>(material)));
  };
  for (int row = 0; row + 1 < height; ++row)
    for (int column = 0; column + 1 < width; ++column) {
      const std::size_t here = static_cast<std::size_t>(row) * width + column;
      for (const std::size_t next : {here + 1, here + static_cast<std::size_t>(width)}) {
        const std::uint8_t a = slice.material[here], b = slice.material[next];
        if (a != b && slice.measured[here] && slice.measured[next])
          mark(column, row, rank(a) > rank(b) ? a : b);
      }
    }
}

/// Steps to the nearest pixel of another material, to the rim, or to what is drawn over the
/// picture.
std::vector<int> depth_inside(const Slice& slice, const std::vector<std::uint8_t>& clear) {
  const int width = slice.plane.width, height = slice.plane.height;
  std::vector<int> depth(slice.material.size(), 0);
  const auto relax = [&](int column, int row, int from_column, int from_row) {
    const std::size_t here = static_cast<std::size_t>(row) * width + column;
    const std::size_t from = static_cast<std::size_t>(from_row) * width + from_column;
    const bool border =
        clear[here] || !slice.measured[here] || slice.material[here] != slice.material[from];
    depth[here] = border ? 0 : std::min(depth[here], depth[from] + 1);
  };
  for (int row = 1; row + 1 < height; ++row)
    for (int column = 1; column + 1 < width; ++column) {
      depth[static_cast<std::size_t>(row) * width + column] = std::numeric_limits<int>::max();
      relax(column, row, column - 1, row);
      relax(column, row, column, row - 1);
    }
  for (int row = height - 2; row > 0; --row)
    for (int column = width - 2; column > 0; --column) {
      relax(column, row, column + 1, row);
      relax(column, row, column, row + 1);
    }
  return depth;
}

}  // namespace

SlicePlane plane_about(const Vec3& centre, const Vec3& right, const Vec3& down, double width_mm,
                       double height_mm, double width_pt) {
  SlicePlane plane;
  plane.right = right;
  plane.down = down;
  plane.width = std::max(2, static_cast<int>(std::lround(width_pt * kPixelsPerPt)));
  plane.mm_per_px = width_mm / plane.width;
  plane.height = std::max(2, static_cast<int>(std::lround(height_mm / plane.mm_per_px)));
  plane.corner_lps_mm = centre - plane.mm_per_px * (0.5 * (plane.width - 1) * right +
                                                    0.5 * (plane.height - 1) * down);
  return plane;
}

Slice cut(const Body& body, const SlicePlane& plane, const GreyScale& scale) {
  Slice slice{plane, {}, {}, {}};
  const std::size_t count = static_cast<std::size_t>(plane.width) * plane.height;
  slice.grey.assign(count, kOutsideScan);
  slice.material.assign(count, 0);
  slice.measured.assign(count, 0);
  for (int row = 0; row < plane.height; ++row)
    for (int column = 0; column < plane.width; ++column) {
      const Corners corners = corners_of(body.grid, plane.at(column, row));
      if (!corners.inside) continue;
      const double hu = hu_of(body, corners);
      if (std::isnan(hu)) continue;
      const std::size_t here = static_cast<std::size_t>(row) * plane.width + column;
      const double part = (hu - scale.black_hu) / (scale.white_hu - scale.black_hu);
      slice.grey[here] = static_cast<std::uint8_t>(std::lround(255 * std::clamp(part, 0.0, 1.0)));
      slice.material[here] = material_of(body, corners);
      slice.measured[here] = 1;
    }
  return slice;
}

void withhold(Slice& slice, const std::vector<const Mask*>& masks) {
  for (const Mask* mask : masks)
    for (int row = 0; row < slice.plane.height; ++row)
      for (int column = 0; column < slice.plane.width; ++column) {
        if (!mask->contains(mask->grid.voxel_at(slice.plane.at(column, row)))) continue;
        const std::size_t here = static_cast<std::size_t>(row) * slice.plane.width + column;
        slice.grey[here] = kOutsideScan;
        slice.material[here] = slice.measured[here] = 0;
      }
}

double hu_at(const Body& body, const Vec3& lps_mm) {
  const Corners corners = corners_of(body.grid, lps_mm);
  return corners.inside ? hu_of(body, corners) : std::numeric_limits<double>::quiet_NaN();
}

void paint_slice(cairo_t* cairo, const Slice& slice, const Rect& where) {
  const int width = slice.plane.width, height = slice.plane.height;
  std::vector<std::uint32_t> pixels(slice.grey.size());
  for (std::size_t n = 0; n < pixels.size(); ++n) pixels[n] = slice.grey[n] * 0x010101u;
  draw_outlines(slice, pixels);
  cairo_surface_t* image =
      cairo_image_surface_create_for_data(reinterpret_cast<unsigned char*>(pixels.data()),
                                          CAIRO_FORMAT_RGB24, width, height, width * 4);
  cairo_save(cairo);
  add_rect(cairo, where);
  cairo_clip(cairo);
  cairo_translate(cairo, where.x, where.y);
  cairo_scale(cairo, where.width / width, where.height / height);
  cairo_set_source_surface(cairo, image, 0, 0);
  cairo_paint(cairo);
  cairo_restore(cairo);
  cairo_surface_finish(image);
  cairo_surface_destroy(image);
}

std::vector<MaterialWord> words_on(const Slice& slice, const std::vector<std::uint8_t>& clear,
                                   int least_px, double word_width_px) {
  const std::vector<int> depth = depth_inside(slice, clear);
  PerMaterial<std::size_t> best{};
  for (std::size_t n = 0; n < depth.size(); ++n)
    if (depth[n] > depth[best[slice.material[n]]] ||
        slice.material[best[slice.material[n]]] != slice.material[n])
      best[slice.material[n]] = n;
  std::vector<std::size_t> order;
  for (std::size_t m = 1; m < kMaterialCount; ++m)
    if (slice.material[best[m]] == m && depth[best[m]] >= least_px) order.push_back(best[m]);
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return depth[a] > depth[b]; });
  std::vector<MaterialWord> words;
  const auto width = static_cast<std::size_t>(slice.plane.width);
  for (const std::size_t n : order) {
    const MaterialWord word{static_cast<Material>(slice.material[n]),
                            static_cast<double>(n % width), static_cast<double>(n / width)};
    const bool crowded = std::any_of(words.begin(), words.end(), [&](const MaterialWord& other) {
      return std::abs(other.column - word.column) < word_width_px &&
             std::abs(other.row - word.row) < word_width_px / 4;
    });
    if (!crowded) words.push_back(word);
  }
  return words;
}

}  // namespace leastharm

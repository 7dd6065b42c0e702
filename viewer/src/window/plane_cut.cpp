// Where a picture is finer than the voxels, many pixels of a row lie among the same eight: what hangs on these is
// worked out once for all of them.
#include "window/plane_cut.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "window/rows.h"

namespace leastharm {
namespace {

/// What does not change from pixel to pixel.
struct Sampler {
  const Body& body;
  std::array<std::ptrdiff_t, 3> stride;
  Vec3 start, across, down;  ///< continuous index of the first pixel, and per column and row
  std::array<double, 3> columns_a_voxel{};
  bool confidence;

  Sampler(const Body& b, const SlicePlane& plane, bool with_confidence)
      : body(b),
        stride{1, b.grid.size[0], static_cast<std::ptrdiff_t>(b.grid.size[0]) * b.grid.size[1]},
        start(b.grid.index_from_lps(plane.corner_lps_mm)),
        across(b.grid.index_from_lps(plane.corner_lps_mm + plane.mm_per_px * plane.right) - start),
        down(b.grid.index_from_lps(plane.corner_lps_mm + plane.mm_per_px * plane.down) - start),
        confidence(with_confidence) {
    for (std::size_t axis = 0; axis < 3; ++axis)
      columns_a_voxel[axis] = 1 / std::max(1e-12, std::abs(across[static_cast<Eigen::Index>(axis)]));
  }
};

/// Eight voxels (bit 0 of the number: the upper one along i, and so on), and where among them a row of pixels begins.
struct Cell {
  std::array<std::ptrdiff_t, 8> at{};
  std::array<float, 3> part{};  ///< of the way from the lower to the upper voxels

  Cell(std::ptrdiff_t lowest, const std::array<std::ptrdiff_t, 3>& step, const std::array<float, 3>& from)
      : part(from) {
    for (std::size_t n = 0; n < 8; ++n)
      at[n] = lowest + (n & 1 ? step[0] : 0) + (n & 2 ? step[1] : 0) + (n & 4 ? step[2] : 0);
  }
};

/// Trilinear values of a cell along a straight row: a cubic in the number of pixels from its first.
struct Cubic {
  float c0 = 0, c1 = 0, c2 = 0, c3 = 0;

  Cubic() = default;
  Cubic(const std::array<float, 8>& v, const std::array<float, 3>& from, const Vec3& step) {
    const auto [x, y, z] = from;
    const auto p = static_cast<float>(step.x()), q = static_cast<float>(step.y()),
               r = static_cast<float>(step.z());
    const float i = v[1] - v[0], j = v[2] - v[0], k = v[4] - v[0], ij = v[3] - v[2] - i,
                ik = v[5] - v[4] - i, jk = v[6] - v[4] - j,
                ijk = v[7] - v[6] - v[5] + v[4] - v[3] + v[2] + v[1] - v[0];
    c0 = v[0] + x * i + y * j + z * k + x * y * ij + x * z * ik + y * z * jk + x * y * z * ijk;
    c1 = p * (i + y * ij + z * ik + y * z * ijk) + q * (j + x * ij + z * jk + x * z * ijk) +
         r * (k + x * ik + y * jk + x * y * ijk);
    c2 = p * q * (ij + z * ijk) + p * r * (ik + y * ijk) + q * r * (jk + x * ijk);
    c3 = p * q * r * ijk;
  }
  [[nodiscard]] float at(int pixel) const {
    const auto t = static_cast<float>(pixel);
    return ((c3 * t + c2) * t + c1) * t + c0;
  }
};

/// Materials of the largest share along a row in a cell of several; of equal shares the lower number.
void vote(const std::array<std::uint8_t, 8>& materials, const Cell& cell, const Vec3& step, int count,
          std::uint8_t* row) {
  std::array<bool, kMaterialCount> seen{};
  for (const std::uint8_t m : materials) seen[m] = true;
  std::array<std::uint8_t, 8> rivals{};
  std::array<Cubic, 8> shares{};
  std::size_t count_of_rivals = 0;
  for (std::uint8_t m = 0; m < kMaterialCount; ++m) {
    if (!seen[m]) continue;
    std::array<float, 8> own{};
    for (std::size_t n = 0; n < 8; ++n) own[n] = materials[n] == m ? 1.0f : 0.0f;
    shares[count_of_rivals] = Cubic(own, cell.part, step);
    rivals[count_of_rivals++] = m;
  }
  for (int n = 0; n < count; ++n) {
    float most = -1;
    for (std::size_t r = 0; r < count_of_rivals; ++r)
      if (const float share = shares[r].at(n); share > most) most = share, row[n] = rivals[r];
  }
}

/// `count` pixels of a row from `here` on that all lie in one cell.
void cut_run(const Sampler& s, const Cell& cell, int count, std::size_t here, PlaneCut& into) {
  std::array<float, 8> hu{};
  std::array<std::uint8_t, 8> materials{};
  bool measured = true, same = true;
  for (std::size_t n = 0; n < 8; ++n) {
    const auto at = static_cast<std::size_t>(cell.at[n]);
    measured = measured && s.body.hu[at] != kNoReadingHu;
    hu[n] = s.body.hu[at];
    materials[n] = static_cast<std::uint8_t>(s.body.materials[at] % kMaterialCount);
    same = same && materials[n] == materials[0];
  }
  if (!measured) {
    std::fill_n(into.hu.begin() + static_cast<std::ptrdiff_t>(here), count, 0.0f);
    std::fill_n(into.material.begin() + static_cast<std::ptrdiff_t>(here), count, kUnmeasured);
    if (s.confidence) std::fill_n(into.confidence.begin() + static_cast<std::ptrdiff_t>(here), count, std::uint8_t{0});
    return;
  }
  const Cubic along(hu, cell.part, s.across);
  float* const hu_row = into.hu.data() + here;
  for (int n = 0; n < count; ++n) hu_row[n] = along.at(n);
  if (same)
    std::fill_n(into.material.begin() + static_cast<std::ptrdiff_t>(here), count, materials[0]);
  else
    vote(materials, cell, s.across, count, into.material.data() + here);
  if (!s.confidence) return;
  for (int n = 0; n < count; ++n) {
    std::size_t nearest = 0;
    for (std::size_t axis = 0; axis < 3; ++axis)
      if (cell.part[axis] + static_cast<float>(n * s.across[static_cast<Eigen::Index>(axis)]) >= 0.5f)
        nearest |= std::size_t{1} << axis;
    into.confidence[here + static_cast<std::size_t>(n)] =
        s.body.confidence.empty() ? 255 : s.body.confidence[static_cast<std::size_t>(cell.at[nearest])];
  }
}

/// A pixel anywhere: on the scan's rim, or outside it.
void cut_pixel(const Sampler& s, const Vec3& index, std::size_t here, PlaneCut& into) {
  const Grid& grid = s.body.grid;
  std::array<std::ptrdiff_t, 3> step{};
  std::array<float, 3> part{};
  std::ptrdiff_t lowest = 0;
  into.hu[here] = 0;
  into.material[here] = kUnmeasured;
  if (s.confidence) into.confidence[here] = 0;
  for (std::size_t axis = 0; axis < 3; ++axis) {
    const double c = index[static_cast<Eigen::Index>(axis)];
    const int last = grid.size[axis] - 1;
    if (!(c > -0.5 && c < last + 0.5)) return;
    // Half a voxel beyond the outermost centres still belongs to the outermost voxels.
    const double held = std::clamp(c, 0.0, static_cast<double>(last));
    const int low = std::min(static_cast<int>(held), std::max(0, last - 1));
    part[axis] = static_cast<float>(held - low);
    step[axis] = low < last ? s.stride[axis] : 0;
    lowest += low * s.stride[axis];
  }
  cut_run(s, Cell(lowest, step, part), 1, here, into);
}

/// Columns of a row that surely lie among voxels' centres: from the first up to the second, without it.
std::pair<int, int> inner_columns(const Sampler& s, const Vec3& left, int width) {
  double from = 0, to = width;
  for (std::size_t n = 0; n < 3; ++n) {
    const auto axis = static_cast<Eigen::Index>(n);
    const double c = left[axis], each = s.across[axis], last = s.body.grid.size[n] - 1;
    if (std::abs(each) < 1e-9) {
      const double end = c + each * width;
      if (std::min(c, end) < 0 || std::max(c, end) >= last) return {0, 0};
      continue;
    }
    const double a = -c / each, b = (last - c) / each;
    from = std::max(from, std::ceil(std::min(a, b)) + 1);  // one to spare for rounding
    to = std::min(to, std::floor(std::max(a, b)) - 1);
  }
  if (from >= to) return {0, 0};
  return {static_cast<int>(from), static_cast<int>(to)};
}

/// Pixels from one at `index` on that lie in its cell, at most `most`; returns their number. Precondition: the cell
/// lies among voxels' centres.
int cut_cell(const Sampler& s, const Vec3& index, int most, std::size_t here, PlaneCut& into) {
  std::array<float, 3> part{};
  std::ptrdiff_t lowest = 0;
  double ahead = most - 1;  // pixels of the same cell after the first
  for (std::size_t axis = 0; axis < 3; ++axis) {
    const double c = index[static_cast<Eigen::Index>(axis)], each = s.across[static_cast<Eigen::Index>(axis)];
    const int low = static_cast<int>(c);
    const double over = c - low;
    part[axis] = static_cast<float>(over);
    lowest += low * s.stride[axis];
    ahead = std::min(ahead, (each < 0 ? over : 1 - over) * s.columns_a_voxel[axis]);
  }
  const int count = 1 + static_cast<int>(ahead);
  cut_run(s, Cell(lowest, s.stride, part), count, here, into);
  return count;
}

void cut_rows(const Sampler& s, PlaneCut& into, int from, int to) {
  const int width = into.plane.width;
  for (int row = from; row < to; ++row) {
    const Vec3 left = s.start + row * s.down;
    const std::size_t first = static_cast<std::size_t>(row) * static_cast<std::size_t>(width);
    const auto [inner, inner_end] = inner_columns(s, left, width);
    for (int column = 0; column < width;) {
      const Vec3 index = left + column * s.across;
      const std::size_t here = first + static_cast<std::size_t>(column);
      if (column >= inner && column < inner_end) {
        column += cut_cell(s, index, inner_end - column, here, into);
      } else {
        cut_pixel(s, index, here, into);
        ++column;
      }
    }
  }
}

}  // namespace

void cut_plane(const Body& body, const SlicePlane& plane, bool with_confidence, PlaneCut& into) {
  into.plane = plane;
  const std::size_t count =
      static_cast<std::size_t>(plane.width) * static_cast<std::size_t>(plane.height);
  into.hu.resize(count);
  into.material.resize(count);
  into.confidence.resize(with_confidence ? count : 0);
  const Sampler sampler(body, plane, with_confidence);
  in_blocks_of_rows(plane.width, plane.height, [&](int from, int to) { cut_rows(sampler, into, from, to); });
}

}  // namespace leastharm

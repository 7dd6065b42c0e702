#include "bone_blocks.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>

#include "eight.h"
#include "imaging/material.h"
#include "parallel.h"
#include "runs.h"
#include "ways.h"

namespace leastharm::segment_detail {

namespace {

constexpr auto kBone = static_cast<std::uint8_t>(Material::bone), kTissue = static_cast<std::uint8_t>(Material::body),
               kPacking = static_cast<std::uint8_t>(Material::packing), kResin = static_cast<std::uint8_t>(Material::resin);

std::int64_t body_voxels(const Volume<std::uint8_t>& materials, int threads) {
  const std::size_t slice = materials.values.size() / static_cast<std::size_t>(materials.grid.size[2]);
  std::vector<std::int64_t> parts(static_cast<std::size_t>(materials.grid.size[2]));
  for_chunks(materials.grid.size[2], 1, threads, [&](int k, int, int) {
    const std::uint8_t* m = materials.values.data() + slice * static_cast<std::size_t>(k);
    int voxels = 0;
    for (std::size_t v = 0; v < slice; ++v) voxels += (m[v] == kBone) | (m[v] == kTissue) | (m[v] == kResin);
    parts[static_cast<std::size_t>(k)] = voxels;
  });
  return std::accumulate(parts.begin(), parts.end(), std::int64_t{0});
}

}  // namespace

Blocks make_blocks(const Volume<std::uint8_t>& materials, int threads) {
  Blocks out;
  const Grid& fine = materials.grid;
  out.coarse = coarse_grid(fine, static_cast<double>(body_voxels(materials, threads)) * fine.voxel_volume_mm3());
  out.grid = fine;
  out.grid.size = out.coarse.size;
  out.grid.spacing_mm = out.coarse.spacing_mm;
  const auto& f = out.coarse.factor;
  out.grid.origin_lps_mm = fine.lps_from_index(0.5 * Vec3(f[0] - 1, f[1] - 1, f[2] - 1));
  out.bone.assign(out.coarse.count(), 0);
  out.body.assign(out.coarse.count(), 0);
  const float voxel = 1.0F / static_cast<float>(f[0] * f[1] * f[2]);
  for_chunks(out.coarse.size[2], 1, threads, [&](int layer, int, int) {
    for (int k = layer * f[2]; k < std::min((layer + 1) * f[2], fine.size[2]); ++k)
      for (int j = 0; j < fine.size[1]; ++j) {
        const std::uint8_t* row = materials.values.data() + fine.offset(0, j, k);
        const std::size_t at = out.coarse.offset(0, j / f[1], layer);
        for (int i = 0; i < fine.size[0]; ++i) {
          if (i + 8 <= fine.size[0] && eight_at(row + i) == 0) {   // air
            i += 7;
            continue;
          }
          const std::size_t v = at + static_cast<std::size_t>(i / f[0]);
          if (row[i] == kBone) out.bone[v] += voxel;
          if (row[i] == kBone || row[i] == kTissue || row[i] == kPacking || row[i] == kResin) out.body[v] += voxel;
        }
      }
  });
  return out;
}

std::vector<Weighted> points_of(const Blocks& blocks, const std::vector<float>& share, float least) {
  std::vector<Weighted> points;
  for (std::size_t v = 0; v < share.size(); ++v)
    if (share[v] >= least) points.push_back({blocks.centre(v), share[v]});
  return points;
}

Axes principal_axes(const std::vector<Weighted>& points) {
  Axes axes;
  double weight = 0;
  for (const Weighted& p : points) axes.centre += p.weight * p.at, weight += p.weight;
  axes.centre /= weight;
  Mat3 spread = Mat3::Zero();
  for (const Weighted& p : points) spread += p.weight * (p.at - axes.centre) * (p.at - axes.centre).transpose();
  const Eigen::SelfAdjointEigenSolver<Mat3> solver(spread / weight);
  for (int a = 0; a < 3; ++a) {
    axes.directions.col(a) = solver.eigenvectors().col(2 - a);
    axes.deviations_mm[a] = std::sqrt(std::max(0.0, solver.eigenvalues()[2 - a]));
  }
  return axes;
}

namespace {

/// For each block the number of ways, of the fourteen through its faces and corners, on which bone is met within `reach_mm`.
std::vector<std::uint8_t> ways_to_bone(const Blocks& blocks, double reach_mm, int threads) {
  constexpr float kLeastBone = 0.2F;
  constexpr std::uint16_t kNever = 60000;
  const std::vector<std::array<int, 3>> ways = ways_out();
  std::vector<std::uint8_t> ways_met(blocks.coarse.count());
  follow_ways(ways.size(), threads, ways_met, [&](std::size_t w, std::uint8_t* met) {
    const auto farthest = static_cast<std::uint16_t>(reach_mm / blocks.coarse.spacing_mm.cwiseProduct(Vec3(ways[w][0], ways[w][1], ways[w][2])).norm());
    along_way<std::uint16_t>(blocks.coarse, ways[w], kNever, [&, met, bone = blocks.bone.data()](std::size_t v, std::uint16_t beyond) {
      const auto steps = static_cast<std::uint16_t>(std::min<int>(kNever, beyond + 1));
      met[v] = static_cast<std::uint8_t>(met[v] + (steps <= farthest ? 1 : 0));
      return bone[v] >= kLeastBone ? std::uint16_t{0} : steps;
    });
  });
  return ways_met;
}

}  // namespace

Hollow skull_hollow(const Blocks& blocks, double length_mm, int threads) {
  constexpr int kLeastDirections = 13;   // of 14
  const double reach = std::clamp(0.14 * length_mm, 25.0, 120.0);
  const std::vector<std::uint8_t> ways = ways_to_bone(blocks, reach, threads);
  std::vector<std::uint8_t> closed(blocks.coarse.count());
  for (std::size_t v = 0; v < closed.size(); ++v) closed[v] = blocks.bone[v] < 0.1F && ways[v] >= kLeastDirections;
  ByteSet one{};
  one[1] = true;
  const RunPieces pieces = pieces_of(blocks.coarse.size, closed.data(), one, false, threads);
  std::vector<Weighted> sums(static_cast<std::size_t>(pieces.pieces), {Vec3::Zero(), 0});
  for (const Run& run : pieces.runs)
    for (int i = run.first; i <= run.last; ++i) {
      Weighted& s = sums[static_cast<std::size_t>(run.piece)];
      s.at += blocks.centre(blocks.coarse.offset(i, run.j, run.k));
      s.weight += 1;
    }
  std::stable_sort(sums.begin(), sums.end(), [](const Weighted& a, const Weighted& b) { return a.weight > b.weight; });
  const auto radius = [&](const Weighted& s) {
    return std::cbrt(s.weight * blocks.coarse.spacing_mm.prod() * 0.75 / std::numbers::pi);
  };
  Hollow hollow;
  if (!sums.empty()) hollow.centre = sums[0].at / sums[0].weight, hollow.radius_mm = radius(sums[0]);
  if (sums.size() > 1) hollow.next_radius_mm = radius(sums[1]);
  return hollow;
}

}  // namespace leastharm::segment_detail

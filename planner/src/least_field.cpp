#include "least_field.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "workers.h"

namespace leastharm {
namespace {

/// Rows of a block's surroundings within a radius: how far away, in blocks, and how many blocks of them to either side.
struct NearRow {
  int j = 0, k = 0, half = 0;
};

/// Blocks count that have a point within the radius of some point of the one in the middle.
std::vector<NearRow> rows_within(double radius_blocks) {
  const auto gap = [](int n) { return std::max(0, std::abs(n) - 1); };
  const int reach = static_cast<int>(std::floor(radius_blocks)) + 1;
  std::vector<NearRow> rows;
  for (int k = -reach; k <= reach; ++k)
    for (int j = -reach; j <= reach; ++j) {
      const double rest = radius_blocks * radius_blocks - gap(j) * gap(j) - gap(k) * gap(k);
      if (rest >= 0) rows.push_back({j, k, static_cast<int>(std::floor(std::sqrt(rest))) + 1});
    }
  return rows;
}

/// Of each value and as many to either side in its row; beyond the row lies 0.
std::vector<ShortFloat> least_in_rows(const Grid& grid, const std::vector<ShortFloat>& values, int half) {
  std::vector<ShortFloat> least(values.size(), ShortFloat(0.0f));
  const int ni = grid.size[0];
  for_each_chunk(values.size() / static_cast<std::size_t>(ni), 256, [&](std::size_t begin, std::size_t end) {
    for (std::size_t row = begin; row < end; ++row) {
      const ShortFloat* const from = values.data() + row * static_cast<std::size_t>(ni);
      ShortFloat* const to = least.data() + row * static_cast<std::size_t>(ni);
      if (ni <= 2 * half) continue;
      std::copy(from + half, from + ni - half, to + half);
      for (int s = -half; s <= half; ++s)
        for (int i = half; i < ni - half; ++i) to[i] = std::min(to[i], from[i + s]);
    }
  });
  return least;
}

std::vector<ShortFloat> least_within(const Grid& grid, const std::vector<ShortFloat>& values, double radius_blocks) {
  const std::vector<NearRow> rows = rows_within(radius_blocks);
  std::map<int, std::vector<ShortFloat>> in_rows;
  for (const NearRow& row : rows)
    if (!in_rows.contains(row.half)) in_rows[row.half] = least_in_rows(grid, values, row.half);
  std::vector<ShortFloat> least(values.size());
  const int ni = grid.size[0];
  for_each_chunk(static_cast<std::size_t>(grid.size[2]), 1, [&](std::size_t slice, std::size_t) {
    for (int j = 0; j < grid.size[1]; ++j) {
      ShortFloat* const to = least.data() + grid.offset(0, j, static_cast<int>(slice));
      std::copy_n(in_rows.at(rows.front().half).data() + grid.offset(0, j, static_cast<int>(slice)), ni, to);
      for (const NearRow& row : rows) {
        const int sj = j + row.j, sk = static_cast<int>(slice) + row.k;
        if (sj < 0 || sk < 0 || sj >= grid.size[1] || sk >= grid.size[2]) {
          std::fill_n(to, ni, ShortFloat(0.0f));
          break;
        }
        const ShortFloat* const from = in_rows.at(row.half).data() + grid.offset(0, sj, sk);
        for (int i = 0; i < ni; ++i) to[i] = std::min(to[i], from[i]);
      }
    }
  });
  return least;
}

}  // namespace

LeastField::LeastField(const Volume<float>& least, double radius_mm, int per_block) {
  if (least.values.empty()) return;   // a field of less than a block
  const double block_mm = least.grid.spacing_mm.x();
  std::vector<ShortFloat> values(least.values.size());
  std::ranges::transform(least.values, values.begin(), [](float value) { return ShortFloat::not_above(value); });
  values = least_within(least.grid, values, radius_mm / block_mm);
  per_mm_ = 1 / (block_mm * per_block);
  for (std::size_t a = 0; a < 3; ++a) {
    grid_.size[a] = least.grid.size[a] / per_block;   // what is left over lies at the border, and is 0
    limit_[static_cast<Eigen::Index>(a)] = grid_.size[a];
  }
  values_.assign(grid_.voxel_count(), ShortFloat(0.0f));
  for_each_chunk(static_cast<std::size_t>(grid_.size[2]), 1, [&](std::size_t slice, std::size_t) {
    const int k = static_cast<int>(slice);
    for (int j = 0; j < grid_.size[1]; ++j)
      for (int i = 0; i < grid_.size[0]; ++i) {
        ShortFloat lowest = values[least.grid.offset(per_block * i, per_block * j, per_block * k)];
        for (int c = 0; c < per_block; ++c)
          for (int b = 0; b < per_block; ++b)
            for (int a = 0; a < per_block; ++a)
              lowest = std::min(lowest, values[least.grid.offset(per_block * i + a, per_block * j + b, per_block * k + c)]);
        values_[grid_.offset(i, j, k)] = lowest;
      }
  });
}

}  // namespace leastharm

#include "distance_field.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "workers.h"

namespace leastharm {
namespace {

/// Lower envelope of parabolas along one line of squared distances, in place.
class LineTransform {
 public:
  explicit LineTransform(int n) : value_(n), apex_(n), from_(n + 1) {}

  void run(float* line, std::size_t stride, int n, double spacing, float far2) {
    int parabolas = 0;
    for (int q = 0; q < n; ++q) {
      value_[q] = line[static_cast<std::size_t>(q) * stride];
      if (value_[q] >= far2) continue;
      double meets = -std::numeric_limits<double>::infinity();
      while (parabolas > 0) {
        const int v = apex_[parabolas - 1];
        meets = ((value_[q] - value_[v]) / (spacing * spacing) + double(q) * q - double(v) * v) / (2.0 * (q - v));
        if (meets > from_[parabolas - 1]) break;
        --parabolas;
        meets = -std::numeric_limits<double>::infinity();
      }
      apex_[parabolas] = q;
      from_[parabolas++] = meets;
    }
    if (parabolas == 0) return;
    for (int q = 0, p = 0; q < n; ++q) {
      while (p + 1 < parabolas && from_[p + 1] < q) ++p;
      const double away = spacing * (q - apex_[p]);
      line[static_cast<std::size_t>(q) * stride] = std::min(far2, static_cast<float>(value_[apex_[p]] + away * away));
    }
  }

 private:
  std::vector<float> value_;
  std::vector<int> apex_;
  std::vector<double> from_;
};

}  // namespace

Volume<float> distance_to(const Grid& grid, std::span<const std::uint8_t> set, double far_mm) {
  const auto far2 = static_cast<float>(far_mm * far_mm);
  Volume<float> out{grid, std::vector<float>(grid.voxel_count())};
  for (std::size_t v = 0; v < out.values.size(); ++v) out.values[v] = set[v] ? 0.0f : far2;
  const auto [ni, nj, nk] = grid.size;
  const std::size_t sj = static_cast<std::size_t>(ni), sk = sj * static_cast<std::size_t>(nj);
  for_each_chunk(static_cast<std::size_t>(nk), 4, [&](std::size_t begin, std::size_t end) {
    LineTransform transform(std::max(ni, nj));
    for (std::size_t k = begin; k < end; ++k) {
      float* slice = out.values.data() + k * sk;
      for (int j = 0; j < nj; ++j) transform.run(slice + static_cast<std::size_t>(j) * sj, 1, ni, grid.spacing_mm[0], far2);
      for (int i = 0; i < ni; ++i) transform.run(slice + i, sj, nj, grid.spacing_mm[1], far2);
    }
  });
  for_each_chunk(static_cast<std::size_t>(nj), 4, [&](std::size_t begin, std::size_t end) {
    LineTransform transform(nk);
    for (std::size_t j = begin; j < end; ++j)
      for (int i = 0; i < ni; ++i) transform.run(out.values.data() + j * sj + i, sk, nk, grid.spacing_mm[2], far2);
  });
  for (float& v : out.values) v = std::sqrt(v);
  return out;
}

}  // namespace leastharm

#include "distance.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

constexpr float kFar = std::numeric_limits<float>::infinity();

/// Lower envelope of parabolas along one line.
class Envelope {
 public:
  explicit Envelope(int n)
      : value_(static_cast<std::size_t>(n)), vertex_(static_cast<std::size_t>(n)),
        border_(static_cast<std::size_t>(n) + 1) {}

  void run(float* line, std::size_t stride, int n, float step) {
    const float step2 = step * step;
    int top = -1;
    for (int q = 0; q < n; ++q) {
      const float f = line[static_cast<std::size_t>(q) * stride];
      value_[static_cast<std::size_t>(q)] = f;
      if (f == kFar) continue;
      float start = -kFar;
      while (top >= 0) {
        const int v = vertex_[static_cast<std::size_t>(top)];
        const float g = value_[static_cast<std::size_t>(v)];
        start = (f - g + step2 * static_cast<float>(q * q - v * v)) / (2 * step2 * static_cast<float>(q - v));
        if (start > border_[static_cast<std::size_t>(top)]) break;
        --top;
        start = -kFar;
      }
      ++top;
      vertex_[static_cast<std::size_t>(top)] = q;
      border_[static_cast<std::size_t>(top)] = start;
    }
    if (top < 0) return;
    border_[static_cast<std::size_t>(top) + 1] = kFar;
    for (int q = 0, at = 0; q < n; ++q) {
      while (border_[static_cast<std::size_t>(at) + 1] < static_cast<float>(q)) ++at;
      const int v = vertex_[static_cast<std::size_t>(at)];
      line[static_cast<std::size_t>(q) * stride] =
          value_[static_cast<std::size_t>(v)] + step2 * static_cast<float>((q - v) * (q - v));
    }
  }

 private:
  std::vector<float> value_;
  std::vector<int> vertex_;
  std::vector<float> border_;
};

/// Squared distance along a row: a sweep each way.
void sweep_row(const std::uint8_t* set, float* row, int n, float step) {
  float d = kFar;
  for (int i = 0; i < n; ++i) row[i] = d = set[i] ? 0 : d + step;
  d = kFar;
  for (int i = n - 1; i >= 0; --i) {
    d = set[i] ? 0 : d + step;
    const float least = std::min(d, row[i]);
    row[i] = least * least;
  }
}

}  // namespace

std::vector<float> distance_mm(const Coarse& coarse, const std::vector<std::uint8_t>& set, int threads) {
  std::vector<float> field(coarse.count());
  const auto [w, h, d] = coarse.size;
  const auto width = static_cast<std::size_t>(w), slice = width * static_cast<std::size_t>(h);
  for_chunks(d, 4, threads, [&, nw = w, nh = h](int, int first, int last) {
    Envelope envelope(nh);
    for (int k = first; k < last; ++k) {
      for (int j = 0; j < nh; ++j)
        sweep_row(&set[coarse.offset(0, j, k)], &field[coarse.offset(0, j, k)], nw,
                  static_cast<float>(coarse.spacing_mm.x()));
      for (int i = 0; i < nw; ++i)
        envelope.run(&field[coarse.offset(i, 0, k)], width, nh, static_cast<float>(coarse.spacing_mm.y()));
    }
  });
  for_chunks(h, 4, threads, [&, nw = w, nd = d](int, int first, int last) {
    Envelope envelope(nd);
    for (int j = first; j < last; ++j)
      for (int i = 0; i < nw; ++i) {
        envelope.run(&field[coarse.offset(i, j, 0)], slice, nd, static_cast<float>(coarse.spacing_mm.z()));
        for (int k = 0; k < nd; ++k) {
          float& v = field[coarse.offset(i, j, k)];
          v = std::sqrt(v);
        }
      }
  });
  return field;
}

std::vector<std::uint8_t> grown(const Coarse& coarse, const std::vector<std::uint8_t>& set, double radius_mm,
                                int threads) {
  const std::vector<float> distance = distance_mm(coarse, set, threads);
  std::vector<std::uint8_t> out(set.size());
  for (std::size_t v = 0; v < out.size(); ++v) out[v] = distance[v] <= static_cast<float>(radius_mm);
  return out;
}

std::vector<std::uint8_t> shrunk(const Coarse& coarse, const std::vector<std::uint8_t>& set, double radius_mm,
                                 int threads) {
  std::vector<std::uint8_t> rest(set.size());
  for (std::size_t v = 0; v < rest.size(); ++v) rest[v] = set[v] == 0;
  std::vector<std::uint8_t> out = grown(coarse, rest, radius_mm, threads);
  for (std::uint8_t& v : out) v = v == 0;
  return out;
}

}  // namespace leastharm::segment_detail

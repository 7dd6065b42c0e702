#include "scanner.h"

#include <algorithm>
#include <cmath>

#include "parallel.h"
#include "scanner_noise.h"

namespace leastharm::phantom {
namespace {

constexpr float kAirHu = -1000;
constexpr double kPlaneBlurFwhm_mm = 0.8;
constexpr float kNeighbourSlice = 0.04F;   // what spills over from each neighbouring slice

// Sample points inside a voxel, along each axis.
std::array<int, 3> samples_per_voxel(const Vec3& spacing_mm) {
  const auto count = [](double mm, double step) {
    return std::clamp(static_cast<int>(std::ceil(mm / step - 1e-9)), 2, 4);
  };
  return {count(spacing_mm.x(), 0.9), count(spacing_mm.y(), 0.9), count(spacing_mm.z(), 1.6)};
}

std::vector<float> blur_kernel(double sigma) {
  const int reach = static_cast<int>(std::ceil(3 * sigma));
  std::vector<float> kernel(2 * reach + 1);
  float sum = 0;
  for (int n = -reach; n <= reach; ++n)
    sum += kernel[n + reach] = static_cast<float>(std::exp(-0.5 * n * n / (sigma * sigma)));
  for (float& h : kernel) h /= sum;
  return kernel;
}

// One plane of samples: which part each belongs to, and its HU.
struct Plane {
  int wide, high;
  std::vector<std::uint16_t> part;     // 0: room air; else index + 1
  std::vector<float> hu, spare;
  std::vector<Material> material;
  std::vector<std::uint16_t> active;

  Plane(int w, int h)
      : wide(w),
        high(h),
        part(static_cast<std::size_t>(w)),
        hu(static_cast<std::size_t>(w) * h),
        spare(hu.size()),
        material(hu.size()) {}
};

struct Sample {
  float hu;
  Material material;
};

class Painter {
 public:
  Painter(const Scene& scene, const ScannerSettings& settings)
      : parts_(scene.parts),
        settings_(settings),
        per_voxel_(samples_per_voxel(settings.grid.spacing_mm)),
        tile_(mix(settings.seed ^ 0x74657874ULL)) {
    for (const Part& part : parts_) boxes_.push_back(part.shape->box());
    for (int axis = 0; axis < 3; ++axis)
      fine_step_[axis] = settings.grid.spacing_mm[axis] / per_voxel_[axis];
    for (int axis = 0; axis < 2; ++axis)
      blur_[axis] = blur_kernel(kPlaneBlurFwhm_mm / 2.3548 / fine_step_[axis]);
  }

  // Mean HU and truth of slice k.
  void slice(int k, float* mean_hu, std::uint8_t* truth) const {
    const auto [ni, nj, nk] = settings_.grid.size;
    Plane plane(ni * per_voxel_[0], nj * per_voxel_[1]);
    std::vector<std::uint8_t> share(static_cast<std::size_t>(ni) * nj * kMaterialCount);
    std::fill_n(mean_hu, static_cast<std::size_t>(ni) * nj, 0.0F);
    for (int s = 0; s < per_voxel_[2]; ++s) {
      paint(plane, k, s);
      blur(plane);
      gather(plane, mean_hu, share);
    }
    settle(share, truth);
  }

 private:
  // Sample i of row j of sub-slice s of slice k, in the scene's frame. Neighbouring rows are staggered by half a
  // sample, and neighbouring sub-slices too, so that few flat borders split a voxel into equal shares.
  [[nodiscard]] Vec3 place(double i, int j, int k, int s) const {
    const double shift_i = (j + s) % 2 ? 0.25 : -0.25, shift_j = s % 2 ? 0.25 : -0.25, shift_s = j % 2 ? 0.25 : -0.25;
    const Vec3 index((i + shift_i + 0.5) / per_voxel_[0] - 0.5, (j + shift_j + 0.5) / per_voxel_[1] - 0.5,
                     k + (s + shift_s + 0.5) / per_voxel_[2] - 0.5);
    return settings_.lps_from_scene.undo(settings_.grid.lps_from_index(index));
  }

  void paint(Plane& plane, int k, int s) const {
    const Vec3 corner = place(0, 0, k, s), last_i = place(plane.wide - 1, 0, k, s),
               last_j = place(0, plane.high - 1, k, s);
    const Vec3 far = last_i + last_j - corner;
    const Box bare{corner.cwiseMin(last_i).cwiseMin(last_j).cwiseMin(far),
                   corner.cwiseMax(last_i).cwiseMax(last_j).cwiseMax(far)};
    const Box reach = bare.grown(fine_step_.maxCoeff());   // the staggering
    plane.active.clear();
    for (std::size_t n = 0; n < parts_.size(); ++n)
      if (boxes_[n].meets(reach)) plane.active.push_back(static_cast<std::uint16_t>(n));
    const Vec3 step = (last_i - corner) / (plane.wide - 1);
    for (int j = 0; j < plane.high; ++j) {
      const Vec3 start = place(0, j, k, s);
      std::fill(plane.part.begin(), plane.part.end(), std::uint16_t{0});
      for (const std::uint16_t n : plane.active) paint_row(plane, n, start, step);
      colour_row(plane, j, start, step);
    }
  }

  // Marches along the row; a shape's value says how many samples share its answer.
  void paint_row(Plane& plane, std::uint16_t n, const Vec3& start, const Vec3& step) const {
    double from = 0, to = plane.wide - 1;
    for (int axis = 0; axis < 3; ++axis) {
      if (std::abs(step[axis]) < 1e-12) {
        if (start[axis] < boxes_[n].low[axis] || start[axis] > boxes_[n].high[axis]) return;
        continue;
      }
      const double a = (boxes_[n].low[axis] - start[axis]) / step[axis],
                   b = (boxes_[n].high[axis] - start[axis]) / step[axis];
      from = std::max(from, std::min(a, b));
      to = std::min(to, std::max(a, b));
    }
    const Shape& shape = *parts_[n].shape;
    const auto last = static_cast<int>(std::floor(to));
    const double step_mm = step.norm();
    for (int i = static_cast<int>(std::ceil(from)); i <= last;) {
      const double value = shape.at(start + i * step);
      const int run = std::clamp(static_cast<int>(std::abs(value) * 0.95 / step_mm), 1, last - i + 1);
      if (value < 0) std::fill_n(plane.part.begin() + i, run, static_cast<std::uint16_t>(n + 1));
      i += run;
    }
  }

  void colour_row(Plane& plane, int j, const Vec3& start, const Vec3& step) const {
    const std::size_t row = static_cast<std::size_t>(plane.wide) * j;
    for (int i = 0; i < plane.wide; ++i) {
      Sample sample{kAirHu, Material::air};
      if (plane.part[i]) sample = colour(parts_[plane.part[i] - 1], start + i * step);
      plane.hu[row + i] = sample.hu;
      plane.material[row + i] = sample.material;
    }
  }

  [[nodiscard]] Sample colour(const Part& part, const Vec3& p) const {
    const Texture& t = part.texture;
    double hu = t.mean_hu;
    if (t.layers) {
      const double layer_hu = layer(*t.layers, p);
      if (layer_hu < kAirHu) return {kAirHu, Material::air};
      hu += layer_hu;
    }
    if (t.broad_hu > 0) hu += t.broad_hu * tile_.at(p.cwiseQuotient(t.broad_mm));
    if (t.fine_hu > 0) hu += t.fine_hu * tile_.at(p.cwiseQuotient(t.fine_mm) + Vec3(17.3, 5.1, 40.7));
    if (t.cleft_hu != 0) {
      const double off = tile_.at(p.cwiseQuotient(t.cleft_mm) + Vec3(31.9, 23.2, 3.7)) / 0.07;
      if (std::abs(off) < 1) hu += t.cleft_hu * (1 - off * off);
    }
    return {std::max(static_cast<float>(hu), kAirHu), part.material};
  }

  // The HU by which a sheet of cloth differs from the mean, or less than any HU in a gap between two.
  [[nodiscard]] double layer(const Layers& layers, const Vec3& p) const {
    const double depth = -layers.outside->height(p) + 1.5 * tile_.at(p / 35.0);
    const double number = std::floor(depth / layers.pitch_mm);
    const double over_gap = depth - number * layers.pitch_mm;
    const double opening = 0.5 + tile_.at(p / 28.0 + Vec3::Constant(9.7 * number));
    const double widest = layers.gap_mm + layers.loosening * std::clamp(depth - 12, 0.0, 8.0);
    if (over_gap < widest * std::clamp(opening, 0.0, 1.0)) return -2000;
    return 40 * static_cast<double>(white(settings_.seed, static_cast<std::uint64_t>(number + 1000)));
  }

  void blur(Plane& plane) const {
    const int reach_i = static_cast<int>(blur_[0].size() / 2), reach_j = static_cast<int>(blur_[1].size() / 2);
    std::vector<float> padded(static_cast<std::size_t>(plane.wide + 2 * reach_i));
    for (int j = 0; j < plane.high; ++j) {
      const float* row = &plane.hu[static_cast<std::size_t>(plane.wide) * j];
      std::fill_n(padded.begin(), reach_i, row[0]);
      std::copy_n(row, plane.wide, padded.begin() + reach_i);
      std::fill_n(padded.end() - reach_i, reach_i, row[plane.wide - 1]);
      add_up(blur_[0], plane.wide, &plane.spare[static_cast<std::size_t>(plane.wide) * j],
             [&](int tap) { return &padded[static_cast<std::size_t>(tap)]; });
    }
    for (int j = 0; j < plane.high; ++j)
      add_up(blur_[1], plane.wide, &plane.hu[static_cast<std::size_t>(plane.wide) * j], [&](int tap) {
        return &plane.spare[static_cast<std::size_t>(plane.wide) * std::clamp(j + tap - reach_j, 0, plane.high - 1)];
      });
  }

  // to[i] = sum over the taps of kernel[tap] * source(tap)[i].
  template <typename Source>
  static void add_up(const std::vector<float>& kernel, int count, float* to, const Source& source) {
    std::fill_n(to, count, 0.0F);
    for (int tap = 0; tap < static_cast<int>(kernel.size()); ++tap) {
      const float h = kernel[static_cast<std::size_t>(tap)];
      const float* from = source(tap);
      for (int i = 0; i < count; ++i) to[i] += h * from[i];
    }
  }

  void gather(const Plane& plane, float* mean_hu, std::vector<std::uint8_t>& share) const {
    const float part = 1.0F / static_cast<float>(per_voxel_[0] * per_voxel_[1] * per_voxel_[2]);
    const int ni = settings_.grid.size[0];
    std::size_t sample = 0;
    for (int j = 0; j < plane.high; ++j) {
      const std::size_t row = static_cast<std::size_t>(ni) * (j / per_voxel_[1]);
      for (std::size_t voxel = row; voxel < row + ni; ++voxel)
        for (int n = 0; n < per_voxel_[0]; ++n, ++sample) {
          mean_hu[voxel] += part * plane.hu[sample];
          ++share[voxel * kMaterialCount + static_cast<std::size_t>(plane.material[sample])];
        }
    }
  }

  // Of equal shares the higher label wins: any solid over air.
  static void settle(const std::vector<std::uint8_t>& share, std::uint8_t* truth) {
    for (std::size_t v = 0; v < share.size() / kMaterialCount; ++v) {
      const std::uint8_t* s = &share[v * kMaterialCount];
      std::size_t most = 0;
      for (std::size_t m = 1; m < kMaterialCount; ++m)
        if (s[m] >= s[most]) most = m;
      truth[v] = static_cast<std::uint8_t>(most);
    }
  }

  const Parts& parts_;
  const ScannerSettings& settings_;
  std::array<int, 3> per_voxel_;
  NoiseTile tile_;
  std::vector<Box> boxes_;
  Vec3 fine_step_{1, 1, 1};
  std::array<std::vector<float>, 2> blur_;
};

}  // namespace

Scan scan(const Scene& scene, const ScannerSettings& settings) {
  const auto [ni, nj, nk] = settings.grid.size;
  const std::size_t plane = static_cast<std::size_t>(ni) * nj;
  Scan out{{settings.grid, std::vector<std::int16_t>(plane * nk)},
           {settings.grid, std::vector<std::uint8_t>(plane * nk)}};
  std::vector<float> mean(plane * nk);
  const Painter painter(scene, settings);
  for_each_piece(nk, settings.threads, [&](int k) {
    painter.slice(k, &mean[plane * k], &out.truth.values[plane * k]);
  });
  const PlaneNoise noise(settings.grid.spacing_mm.x(), settings.grid.spacing_mm.y(),
                         settings.scan == 0 ? settings.seed : mix(settings.seed ^ mix(settings.scan)));
  for_each_piece(nk, settings.threads, [&](int k) {
    const std::vector<float> grain = noise.slice(ni, nj, k);
    const float* here = &mean[plane * k];
    const float* below = &mean[plane * std::max(k - 1, 0)];
    const float* above = &mean[plane * std::min(k + 1, nk - 1)];
    for (std::size_t v = 0; v < plane; ++v) {
      const float smooth = here[v] + kNeighbourSlice * (below[v] + above[v] - 2 * here[v]);
      const double hu = smooth + settings.noise_hu * grain[v] + settings.hu_offset;
      out.hu.values[plane * k + v] =
          static_cast<std::int16_t>(std::lround(std::clamp(hu, -1024.0, 3071.0)));
    }
  });
  return out;
}

}  // namespace leastharm::phantom

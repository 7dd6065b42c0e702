#include "tip_chances.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>


namespace leastharm {
namespace {

constexpr double kReach_sd = 3.5;   // how far the placement error is followed; what lies beyond counts as enough
constexpr float kBeyond = 0.0014f;

/// Weights of a normal error on a lattice, the middle one first; they sum to 1 with both sides.
std::vector<float> normal_taps(double sd_steps) {
  const int reach = static_cast<int>(std::ceil(kReach_sd * sd_steps));
  std::vector<float> taps(static_cast<std::size_t>(reach) + 1);
  double sum = 0;
  for (int n = 0; n <= reach; ++n) {
    const double w = sd_steps > 0 ? std::exp(-n * n / (2 * sd_steps * sd_steps)) : 1;
    taps[static_cast<std::size_t>(n)] = static_cast<float>(w);
    sum += n == 0 ? w : 2 * w;
  }
  for (float& t : taps) t = static_cast<float>(t / sum);
  return taps;
}

/// Blurs along one axis; beyond the lattice its outermost values go on. Rows of zeros, of which there are many, are passed over.
void blur(const Lattice& lattice, std::vector<float>& values, int axis, double sd_mm) {
  const std::vector<float> taps = normal_taps(sd_mm / lattice.step[static_cast<std::size_t>(axis)].norm());
  const int reach = static_cast<int>(taps.size()) - 1;
  if (reach == 0) return;
  const auto [ni, nj, nk] = lattice.size;
  const auto row = static_cast<std::size_t>(ni);
  const auto row_index = [nj = nj](int j, int k) { return static_cast<std::size_t>(j) + static_cast<std::size_t>(nj) * static_cast<std::size_t>(k); };
  std::vector<char> filled(row_index(0, nk));
  for (std::size_t r = 0; r < filled.size(); ++r)
    filled[r] = std::any_of(values.data() + r * row, values.data() + (r + 1) * row, [](float v) { return v != 0; });
  std::vector<float> out(values.size()), wide(row + 2 * static_cast<std::size_t>(reach));
  for (int k = 0; k < nk; ++k)
    for (int j = 0; j < nj; ++j) {
      float* to = out.data() + lattice.offset(0, j, k);
      const auto add = [&](const float* from, float weight) {
        for (std::size_t i = 0; i < row; ++i) to[i] += weight * from[i];
      };
      if (axis == 0) {
        if (!filled[row_index(j, k)]) continue;
        const float* here = values.data() + lattice.offset(0, j, k);
        std::fill_n(wide.begin(), reach, here[0]);
        std::copy_n(here, row, wide.begin() + reach);
        std::fill_n(wide.end() - reach, reach, here[row - 1]);
        for (int n = -reach; n <= reach; ++n) add(wide.data() + reach + n, taps[static_cast<std::size_t>(std::abs(n))]);
      } else {
        for (int n = -reach; n <= reach; ++n) {
          const int at_j = axis == 1 ? std::clamp(j + n, 0, nj - 1) : j, at_k = axis == 2 ? std::clamp(k + n, 0, nk - 1) : k;
          if (filled[row_index(at_j, at_k)]) add(values.data() + lattice.offset(0, at_j, at_k), taps[static_cast<std::size_t>(std::abs(n))]);
        }
      }
    }
  values = std::move(out);
}

/// Turns the yield along the lattice into the nominal mass of a core that ends at each point, then into its chance.
void chances_of_cores(const Ask& ask, const Lattice& lattice, std::vector<float>& values) {
  constexpr float kYieldError = 1.005f;   // what the averaged field may be off
  const int nk = lattice.size[2];
  const double step = lattice.step[2].norm(), back = ask.needle->throw_mm / step;
  const int whole = static_cast<int>(back);
  const auto part = static_cast<float>(back - whole), scale = kYieldError * static_cast<float>(step);
  const std::size_t plane = lattice.offset(0, 0, 1);
  const auto layer = [&](int k) { return values.data() + plane * static_cast<std::size_t>(k); };
  // Integrals up to each point: half of its own value, and all of those before.
  std::vector<float> sum(plane, 0.0f);
  for (int k = 0; k < nk; ++k) {
    float* v = layer(k);
    for (std::size_t n = 0; n < plane; ++n) {
      const float half = 0.5f * v[n];
      v[n] = sum[n] + half;
      sum[n] = v[n] + half;
    }
  }
  std::fill(sum.begin(), sum.end(), 0.0f);   // before the lattice
  for (int k = nk - 1; k >= 0; --k) {
    const float *near = k >= whole ? layer(k - whole) : sum.data(), *far = k > whole ? layer(k - whole - 1) : sum.data();
    float* v = layer(k);
    for (std::size_t n = 0; n < plane; ++n) {
      const float mass = v[n] - near[n] - part * (far[n] - near[n]);
      v[n] = mass > 0 ? ask.enough.of(scale * mass) : 0.0f;
    }
  }
}

/// Calls visit(before, here, after, count) for runs of values that have the same neighbours along one axis: offsets of the
/// run before, of the run itself and of the run after. Beyond the lattice a value is its own neighbour.
template <typename Visit>
void for_each_run(const std::array<int, 3>& size, std::size_t axis, const Visit& visit) {
  const auto ni = static_cast<std::size_t>(size[0]), rows = static_cast<std::size_t>(size[1]) * static_cast<std::size_t>(size[2]);
  if (axis == 0) {
    for (std::size_t row = 0; row < rows * ni; row += ni) {
      if (ni > 2) visit(row, row + 1, row + 2, ni - 2);
      visit(row, row, row + (ni > 1 ? 1 : 0), std::size_t{1});
      if (ni > 1) visit(row + ni - 2, row + ni - 1, row + ni - 1, std::size_t{1});
    }
    return;
  }
  const std::size_t run = axis == 1 ? ni : ni * static_cast<std::size_t>(size[1]), count = static_cast<std::size_t>(size[axis]);
  for (std::size_t n = 0; n < ni * rows / run; ++n) {
    const std::size_t at = n % count, here = n * run;
    visit(at > 0 ? here - run : here, here, at + 1 < count ? here + run : here, run);
  }
}

/// A direction of the sheaf shifts the core's middle by up to this much across, as a share of a step.
void widen(const Sheaf& sheaf, const Lattice& lattice, double throw_mm, std::vector<float>& values) {
  std::vector<float> from(values.size());
  for (std::size_t axis = 0; axis < 2; ++axis) {
    const auto share = static_cast<float>(std::min(1.0, sheaf.slope()[axis] * throw_mm / 2 / lattice.step[axis].norm()));
    std::swap(from, values);
    for_each_run(lattice.size, axis, [&](std::size_t before, std::size_t here, std::size_t after, std::size_t count) {
      const float *b = from.data() + before, *h = from.data() + here, *a = from.data() + after;
      float* out = values.data() + here;
      for (std::size_t n = 0; n < count; ++n) out[n] = h[n] + share * (std::max(h[n], std::max(b[n], a[n])) - h[n]);
    });
  }
}

/// A lattice along a sheaf that covers a box and reaches beyond it.
Lattice lattice_about(const Sheaf& sheaf, const TipBox& box, double step_mm, const Vec3& before_mm, const Vec3& beyond_mm) {
  const std::array<Vec3, 3> axes{sheaf.first(), sheaf.second(), sheaf.middle()};
  Lattice lattice;
  lattice.origin = box.low + box.size_mm() / 2;
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    const double half = axes[a].cwiseAbs().dot(box.size_mm()) / 2;
    lattice.step[a] = step_mm * axes[a];
    const int before = static_cast<int>(std::ceil((half + before_mm[e]) / step_mm)), beyond = static_cast<int>(std::ceil((half + beyond_mm[e]) / step_mm));
    lattice.size[a] = before + beyond + 1;
    lattice.origin -= before * lattice.step[a];
  }
  return lattice;
}

}  // namespace

Vec3 TipBox::low_of(std::size_t cube) const {
  const int n = static_cast<int>(cube);
  return low + cube_mm * Vec3(n % cubes[0], n / cubes[0] % cubes[1], n / (cubes[0] * cubes[1]));
}

OffMidline off_midline(const SearchScene& scene, const TipBox& box, int side) {
  OffMidline off{std::numeric_limits<double>::infinity(), -std::numeric_limits<double>::infinity()};
  for (int c = 0; c < 8; ++c) {
    const Vec3 corner = box.low + box.size_mm().cwiseProduct(Vec3(c & 1, (c >> 1) & 1, c >> 2));
    const double mm = side * scene.left_mm(scene.from_box(corner)).value_or(0);
    off = {std::min(off.least, mm), std::max(off.most, mm)};
  }
  return off;
}

std::vector<std::uint8_t> border_of(const std::array<int, 3>& size, const std::vector<float>& values, float limit) {
  std::vector<std::uint8_t> some(values.size()), all(values.size());
  for (std::size_t n = 0; n < values.size(); ++n) some[n] = values[n] >= limit ? 1 : 0;
  if (std::ranges::none_of(some, [](std::uint8_t s) { return s != 0; })) return some;
  all = some;
  std::vector<std::uint8_t> from_some(values.size()), from_all(values.size());
  for (std::size_t axis = 0; axis < 3; ++axis) {
    std::swap(from_some, some);
    std::swap(from_all, all);
    for_each_run(size, axis, [&](std::size_t before, std::size_t here, std::size_t after, std::size_t count) {
      const auto gather = [&](const std::vector<std::uint8_t>& from, std::vector<std::uint8_t>& to, const auto& join) {
        const std::uint8_t *b = from.data() + before, *h = from.data() + here, *a = from.data() + after;
        std::uint8_t* out = to.data() + here;
        for (std::size_t n = 0; n < count; ++n) out[n] = join(h[n], join(b[n], a[n]));
      };
      gather(from_some, some, [](std::uint8_t x, std::uint8_t y) { return static_cast<std::uint8_t>(x | y); });
      gather(from_all, all, [](std::uint8_t x, std::uint8_t y) { return static_cast<std::uint8_t>(x & y); });
    });
  }
  for (std::size_t n = 0; n < some.size(); ++n) some[n] &= static_cast<std::uint8_t>(1 - all[n]);
  return some;
}

void TipChances::at_row(const Vec3& from, double step_mm, std::span<float> out) const {
  std::ranges::fill(out, 0.0f);
  std::array<double, 3> x;
  for (std::size_t a = 0; a < 3; ++a) x[a] = (from - lattice.origin).dot(lattice.step[a]) / lattice.step[a].squaredNorm();
  for (std::size_t a = 1; a < 3; ++a)
    if (!(x[a] >= 0) || x[a] > lattice.size[a] - 1) return;
  const int j = std::min(static_cast<int>(x[1]), lattice.size[1] - 2), k = std::min(static_cast<int>(x[2]), lattice.size[2] - 2);
  const auto fj = static_cast<float>(x[1] - j), fk = static_cast<float>(x[2] - k);
  const std::array<const float*, 4> rows{chance.data() + lattice.offset(0, j, k), chance.data() + lattice.offset(0, j + 1, k),
                                         chance.data() + lattice.offset(0, j, k + 1), chance.data() + lattice.offset(0, j + 1, k + 1)};
  const std::array<float, 4> weights{(1 - fj) * (1 - fk), fj * (1 - fk), (1 - fj) * fk, fj * fk};
  const double step = step_mm / lattice.step[0].norm();
  for (std::size_t n = 0; n < out.size(); ++n) {
    const double at = x[0] + static_cast<double>(n) * step;
    if (!(at >= 0) || at > lattice.size[0] - 1) continue;
    const int i = std::min(static_cast<int>(at), lattice.size[0] - 2);
    const auto f = static_cast<float>(at - i);
    for (std::size_t r = 0; r < 4; ++r) out[n] += weights[r] * (rows[r][i] + f * (rows[r][i + 1] - rows[r][i]));
  }
}

TipChances tip_chances(const SearchScene& scene, const Ask& ask, const Sheaf& sheaf, const TipBox& box, double step_mm, double least) {
  const Placement& placement = scene.file().placement;
  const Needle& needle = *ask.needle;
  // The turn about the hub makes the error at the core's middle a little smaller than at the tip.
  const double own = std::sqrt(std::max(0.0, placement.placement_mm * placement.placement_mm - placement.shared_mm * placement.shared_mm));
  const double lateral = std::hypot(placement.shared_mm, own * (1 - needle.throw_mm / 2 / (needle.usable_mm - needle.dead_tip_mm)));
  const double across = kReach_sd * lateral + 3 * step_mm, along = kReach_sd * placement.depth_mm + 3 * step_mm;
  TipChances chances;
  chances.lattice = lattice_about(sheaf, box, step_mm, {across, across, along + needle.throw_mm}, {across, across, along});
  const Lattice& lattice = chances.lattice;
  std::vector<float>& values = chances.chance;
  values.resize(lattice.count());
  const std::size_t row = static_cast<std::size_t>(lattice.size[0]);
  for (int k = 0; k < lattice.size[2]; ++k)
    for (int j = 0; j < lattice.size[1]; ++j)
      ask.yield.at_row(lattice.at(0, j, k) - ask.core_offset, lattice.step[0], {values.data() + lattice.offset(0, j, k), row});
  const auto below = [&](float limit) { return std::ranges::all_of(values, [&](float v) { return v <= limit; }); };
  if (below(0)) return chances;
  chances_of_cores(ask, lattice, values);
  if (below(static_cast<float>(least) - kBeyond)) return chances;
  blur(lattice, values, 0, lateral);
  blur(lattice, values, 1, lateral);
  blur(lattice, values, 2, placement.depth_mm);
  widen(sheaf, lattice, needle.throw_mm, values);
  for (float& value : values)
    if (value != 0) value = std::min(1.0f, value + kBeyond);
  // Only where a line first comes to enough: farther on it only costs more.
  const std::vector<std::uint8_t> border = border_of(lattice.size, values, static_cast<float>(least));
  const Vec3 low = box.low - Vec3::Constant(1.8 * step_mm), high = box.low + box.size_mm() + Vec3::Constant(1.8 * step_mm);
  chances.low = Vec3::Constant(1e9);
  chances.high = Vec3::Constant(-1e9);
  for (int k = 0; k < lattice.size[2]; ++k)
    for (int j = 0; j < lattice.size[1]; ++j)
      for (int i = 0; i < lattice.size[0]; ++i) {
        if (border[lattice.offset(i, j, k)] == 0) continue;
        const Vec3 p = lattice.at(i, j, k);
        if ((p.array() < low.array()).any() || (p.array() > high.array()).any()) continue;
        chances.any = true;
        chances.low = chances.low.cwiseMin(Vec3(i, j, k));
        chances.high = chances.high.cwiseMax(Vec3(i, j, k));
      }
  return chances;
}

}  // namespace leastharm

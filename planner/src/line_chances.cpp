#include "line_chances.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "planner/cylinder.h"
#include "planner/placement.h"

namespace leastharm {
namespace {

constexpr std::size_t kLines = 96;
constexpr double kStep_mm = 2;

/// Gauss-Hermite points of fifth order, in standard deviations (Abramowitz and Stegun, table 25.10, times the root of 2).
struct DepthError {
  double sd, weight;
};
constexpr std::array<DepthError, 5> kDepthErrors{{{-2.8569700, 0.0112574},
                                                  {-1.3556262, 0.2220759},
                                                  {0, 0.5333333},
                                                  {1.3556262, 0.2220759},
                                                  {2.8569700, 0.0112574}}};

/// A normal error in two dimensions as points of equal chance on a spiral.
std::array<std::array<double, 2>, kLines> spread_errors() {
  const double golden_angle = std::numbers::pi * (3 - std::sqrt(5.0));
  std::array<std::array<double, 2>, kLines> points;
  for (std::size_t n = 0; n < kLines; ++n) {
    const double beyond = (static_cast<double>(n) + 0.5) / kLines, turn = static_cast<double>(n) * golden_angle;
    const double r = std::sqrt(-2 * std::log(beyond));   // Rayleigh's law
    points[n] = {r * std::cos(turn), r * std::sin(turn)};
  }
  return points;
}

}  // namespace

LineChances::LineChances(const SearchScene& scene, const Route& route, double first_mm, double need_factor)
    : ask_(scene.asks()[route.ask]), need_factor_(need_factor), depth_sd_mm_(scene.file().placement.depth_mm),
      begin_mm_(first_mm - ask_.needle->throw_mm + kDepthErrors.front().sd * depth_sd_mm_), direction_(route.direction), sums_(kLines, 0) {
  static const auto errors = spread_errors();
  const double sd = lateral_sd_mm(scene.file().placement, track_of(scene, route), route.depth_mm - ask_.needle->throw_mm / 2);
  const auto [e1, e2] = across(direction_);
  const Vec3 entry = scene.in_box(route.entry) - ask_.core_offset;
  for (const auto& [x, y] : errors) lines_.push_back(entry + sd * (x * e1 + y * e2));
}

double LineChances::at(double depth_mm) {
  look_as_deep_as(depth_mm + kDepthErrors.back().sd * depth_sd_mm_);
  double chance = 0;
  std::array<float, kLines> mass;
  for (const DepthError& error : kDepthErrors) {
    mass.fill(0);
    const auto add_sums = [&](double depth, float sign) {   // from the beginning to that depth
      const double steps = std::max(0.0, (depth - begin_mm_) / kStep_mm);
      const auto whole = static_cast<std::size_t>(steps);
      const float rest = static_cast<float>(steps - static_cast<double>(whole));
      const float *below = sums_.data() + whole * kLines, *above = below + kLines;
      for (std::size_t n = 0; n < kLines; ++n) mass[n] += sign * (below[n] + rest * (above[n] - below[n]));
    };
    const double tip = depth_mm + error.sd * depth_sd_mm_;
    add_sums(tip, 1);
    add_sums(tip - ask_.needle->throw_mm, -1);
    double sum = 0;
    for (const float mg : mass) sum += static_cast<double>(ask_.enough.of(mg / static_cast<float>(need_factor_)));
    chance += error.weight * sum / kLines;
  }
  return std::min(1.0, chance);
}

/// One step farther than asked, for what lies between two steps.
void LineChances::look_as_deep_as(double depth_mm) {
  while (begin_mm_ + (static_cast<double>(sums_.size() / kLines) - 2) * kStep_mm < depth_mm) {
    const std::size_t from = sums_.size() - kLines;
    const double middle = begin_mm_ + (static_cast<double>(from / kLines) + 0.5) * kStep_mm;
    for (std::size_t n = 0; n < kLines; ++n)
      sums_.push_back(sums_[from + n] + static_cast<float>(kStep_mm) * ask_.yield.at(lines_[n] + middle * direction_));
  }
}

double estimated_p_enough(const SearchScene& scene, const Route& route, double need_factor) {
  return LineChances(scene, route, route.depth_mm, need_factor).at(route.depth_mm);
}

}  // namespace leastharm

#include "wandering_costs.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>

namespace leastharm {
namespace {

constexpr int kWide = 40, kLayers = 60;
constexpr double kAlong_mm = 0.75, kAcross_mm = 0.5;

using Layer = std::vector<float>;

std::size_t at(int i, int j) { return static_cast<std::size_t>(i + kWide * j); }

/// Weights half-way between layers.
struct Field {
  std::vector<Layer> layers{kLayers, Layer(kWide * kWide, 0.0f)};

  /// Linear between points.
  [[nodiscard]] double between(int layer, double x, double y) const {
    const int i = static_cast<int>(x), j = static_cast<int>(y);
    const double u = x - i, v = y - j;
    const Layer& w = layers[static_cast<std::size_t>(layer)];
    return (1 - v) * ((1 - u) * w[at(i, j)] + u * w[at(i + 1, j)]) + v * ((1 - u) * w[at(i, j + 1)] + u * w[at(i + 1, j + 1)]);
  }
};

/// Blobs and holes a few points wide.
Field random_field(unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<float> even(0, 1);
  Field field;
  for (Layer& layer : field.layers) {
    if (even(random) < 0.3f) continue;   // nothing here
    for (float& w : layer) w = even(random) < 0.5f ? 0.0f : 4 * even(random);
  }
  return field;
}

WanderingCosts::Setting setting(double slope, Spacing spacing = Spacing::fine) {
  return {.size = {kWide, kWide}, .slope = {slope, slope / 2}, .along_mm = kAlong_mm, .across_mm = kAcross_mm, .most_touch_mm = 1e6, .cap_mm = 1e6f, .spacing = spacing};
}

/// Costs in the last layer of needles that are inside from the first on.
Layer costs_through(const Field& field, const WanderingCosts::Setting& setting) {
  const std::size_t plane = kWide * kWide;
  WanderingCosts costs(setting, LayerFlags(plane, 1));
  costs.enter(Layer(plane, 0.0f));
  for (const Layer& layer : field.layers) {
    Layer weights = layer;
    const bool any = std::ranges::any_of(layer, [](float w) { return w != 0; });
    costs.advance(weights, any);
  }
  return costs.costs();
}

// The law that the bound rests on: no straight axis of the sheaf costs less than the least at the four points around its end.
void expect_no_straight_axis_costs_less(double slope, const Layer& costs, const std::function<double(int layer, double x, double y)>& weight, double at_best) {
  std::mt19937 random(4);
  std::uniform_real_distribution<double> even(0, 1);
  double nearest = 0;
  for (int axis = 0; axis < 2000; ++axis) {
    const double a = slope * (2 * even(random) - 1) * kAlong_mm / kAcross_mm, b = slope / 2 * (2 * even(random) - 1) * kAlong_mm / kAcross_mm;
    const double x = 14 + 11 * even(random), y = 14 + 11 * even(random);   // at the end
    double cost = 0;
    for (int k = 0; k < kLayers; ++k) cost += kAlong_mm * weight(k, x + a * (k + 0.5 - kLayers), y + b * (k + 0.5 - kLayers));
    const int i = static_cast<int>(x), j = static_cast<int>(y);
    const double least = static_cast<double>(std::min({costs[at(i, j)], costs[at(i + 1, j)], costs[at(i, j + 1)], costs[at(i + 1, j + 1)]}));
    ASSERT_LE(least, cost + 1e-3) << "slope " << slope;
    nearest = std::max(nearest, least / cost);
  }
  EXPECT_GT(nearest, at_best) << "it is no bound of nothing";
}

TEST(WanderingCosts, NoStraightAxisCostsLess) {
  for (const auto& [slope, at_best] : {std::pair{0.003, 0.6}, {0.02, 0.0}, {0.07, 0.0}}) {
    const Field field = random_field(static_cast<unsigned>(1000 * slope));
    expect_no_straight_axis_costs_less(slope, costs_through(field, setting(slope)),
                                       [&](int layer, double x, double y) { return field.between(layer, x, y); }, at_best);
  }
}

// Weights may do anything within a cell where its least is given.
TEST(WanderingCosts, NoStraightAxisCostsLessThroughCells) {
  constexpr int kParts = 4;   // of a cell along either axis, each with a weight of its own
  for (const double slope : {0.003, 0.02, 0.07}) {
    std::mt19937 random(static_cast<unsigned>(1000 * slope));
    std::uniform_real_distribution<float> even(0, 1);
    std::vector<Layer> parts(kLayers, Layer(kParts * kParts * kWide * kWide));
    Field least;
    for (int k = 0; k < kLayers; ++k)
      for (int j = 0; j < kParts * kWide; ++j)
        for (int i = 0; i < kParts * kWide; ++i) {
          const float w = 1 + even(random) * (even(random) < 0.2f ? 3.0f : 0.5f);
          parts[static_cast<std::size_t>(k)][static_cast<std::size_t>(i + kParts * kWide * j)] = w;
          float& of_cell = least.layers[static_cast<std::size_t>(k)][at(i / kParts, j / kParts)];
          of_cell = of_cell == 0 ? w : std::min(of_cell, w);
        }
    const auto weight = [&](int layer, double x, double y) {   // a cell's point lies in its middle
      const auto part = [](double at) { return static_cast<std::size_t>(std::floor(kParts * (at + 0.5))); };
      return static_cast<double>(parts[static_cast<std::size_t>(layer)][part(x) + kParts * kWide * part(y)]);
    };
    expect_no_straight_axis_costs_less(slope, costs_through(least, setting(slope, Spacing::coarse)), weight, 0.7);
  }
}

// A slot that a needle of 3 mm just fits, between two bones: along its middle it costs nothing, whatever the places of the points.
TEST(WanderingCosts, SeeASlotBetweenPoints) {
  constexpr double kRadius_mm = 1.5;
  const auto beyond = [](double x) {   // the share of a ball's kernel, seen along an axis, that lies beyond x of its middle
    const double t = std::clamp(x / kRadius_mm, -1.0, 1.0);
    return (std::acos(t) - t * std::sqrt(1 - t * t)) / std::numbers::pi;
  };
  for (const auto& [apart_mm, spacing] : {std::pair{1.0, Spacing::fine}, {1.5, Spacing::middling}, {2.0, Spacing::middling}})
    for (const double place : {0.0, 0.1, 0.25, 0.4, 0.5}) {
      WanderingCosts costs({.size = {kWide, kWide}, .slope = {0.001, 0.001}, .along_mm = kAlong_mm, .across_mm = apart_mm, .most_touch_mm = 1e6, .cap_mm = 1e6f, .spacing = spacing},
                           LayerFlags(kWide * kWide, 1));
      costs.enter(Layer(kWide * kWide, 0.0f));
      for (int k = 0; k < 20; ++k) {
        Layer weights(kWide * kWide);
        for (int j = 0; j < kWide; ++j)
          for (int i = 0; i < kWide; ++i) {
            const double x = (i - 20 + place) * apart_mm;
            weights[at(i, j)] = static_cast<float>(4 * (beyond(kRadius_mm - x) + beyond(kRadius_mm + x)));
          }
        costs.advance(weights, true);
      }
      const Layer ends = costs.costs();
      EXPECT_LT(std::min(ends[at(20, 20)], ends[at(19, 20)]), 0.05f * 4 * 20 * static_cast<float>(kAlong_mm)) << place << ", points " << apart_mm << " mm apart";
    }
}

// Round blobs and holes of all sizes as a disc averages them, the same in all layers: a middling lattice sees no more of them than there is.
TEST(WanderingCosts, SeeNoMoreThanThereIsBetweenPointsFartherApart) {
  constexpr double kApart_mm = 2, kRadius_mm = 1.5, kLeastRadius_mm = 0.5, kMostRadius_mm = 4;
  constexpr int kNodes = 120;
  std::mt19937 random(9);
  std::uniform_real_distribution<double> even(0, 1);
  for (int world = 0; world < 12; ++world) {
    struct Blob {
      double x, y, square, weight;
    };
    std::vector<Blob> blobs;
    for (int n = 0; n < 150; ++n) {
      const double radius = kLeastRadius_mm + (kMostRadius_mm - kLeastRadius_mm) * even(random);
      blobs.push_back({kWide * kApart_mm * even(random), kWide * kApart_mm * even(random), radius * radius, even(random) < 0.5 ? 0.0 : 4 * even(random)});
    }
    const auto averaged = [&](double x, double y) {   // over the disc
      const double golden_angle = std::numbers::pi * (3 - std::sqrt(5.0));
      double sum = 0;
      for (int n = 0; n < kNodes; ++n) {
        const double r = kRadius_mm * std::sqrt((n + 0.5) / kNodes), a = x + r * std::cos(n * golden_angle), b = y + r * std::sin(n * golden_angle);
        double weight = 0.5;
        for (const Blob& blob : blobs)
          if ((a - blob.x) * (a - blob.x) + (b - blob.y) * (b - blob.y) < blob.square) weight = blob.weight;
        sum += weight / kNodes;
      }
      return sum;
    };
    Layer plane(kWide * kWide);
    for (int j = 0; j < kWide; ++j)
      for (int i = 0; i < kWide; ++i) plane[at(i, j)] = static_cast<float>(averaged(i * kApart_mm, j * kApart_mm));
    const double slope = world % 2 == 0 ? 0.0005 : 0.05;
    WanderingCosts costs({.size = {kWide, kWide}, .slope = {slope, slope}, .along_mm = kAlong_mm, .across_mm = kApart_mm, .most_touch_mm = 1e6, .cap_mm = 1e6f, .spacing = Spacing::middling},
                         LayerFlags(kWide * kWide, 1));
    costs.enter(Layer(kWide * kWide, 0.0f));
    for (int k = 0; k < kLayers; ++k) {
      Layer weights = plane;
      costs.advance(weights, true);
    }
    const Layer ends = costs.costs();
    for (int axis = 0; axis < 150; ++axis) {
      const double x = 10 + 18 * even(random), y = 10 + 18 * even(random);   // at the end, in points
      const double a = slope * (2 * even(random) - 1) * kAlong_mm, b = slope * (2 * even(random) - 1) * kAlong_mm;
      double cost = 0;
      for (int k = 0; k < kLayers; ++k) cost += kAlong_mm * averaged(x * kApart_mm + a * (k + 0.5 - kLayers), y * kApart_mm + b * (k + 0.5 - kLayers));
      const int i = static_cast<int>(x), j = static_cast<int>(y);
      ASSERT_LE(std::min({ends[at(i, j)], ends[at(i + 1, j)], ends[at(i, j + 1)], ends[at(i + 1, j + 1)]}), cost + 1e-3) << "world " << world;
    }
  }
}

TEST(WanderingCosts, AddUpWhatIsEven) {
  Field field;
  for (Layer& layer : field.layers) std::ranges::fill(layer, 2.0f);
  const Layer costs = costs_through(field, setting(0.02));
  EXPECT_NEAR(costs[at(20, 20)], 2 * kAlong_mm * kLayers, 1e-3);
  EXPECT_EQ(costs[at(0, 0)], 0) << "what comes in from the border is not known";
}

// A channel that turns aside by three points: a sheaf that wide goes along it for nothing, a narrower one does not.
TEST(WanderingCosts, StepAsideNoOftenerThanTheSlopeAllows) {
  Field field;
  for (int k = 0; k < kLayers; ++k) {
    std::ranges::fill(field.layers[static_cast<std::size_t>(k)], 1.0f);
    const int channel = 18 + std::min(3, k * 4 / kLayers);
    for (int j = 0; j < kWide; ++j) field.layers[static_cast<std::size_t>(k)][at(channel, j)] = 0;
  }
  // A step every 15 layers of 0.75 mm: a slope of 0.5 / 11.25.
  EXPECT_EQ(costs_through(field, setting(0.05))[at(21, 20)], 0);
  EXPECT_GT(costs_through(field, setting(0.02))[at(21, 20)], 10 * kAlong_mm);
}

TEST(WanderingCosts, AreNoneWhereNoHandHasRoomOrNothingEnters) {
  const std::size_t plane = kWide * kWide;
  LayerFlags free(plane, 1);
  for (int j = 0; j < kWide; ++j)
    for (int i = 0; i < 20; ++i) free[at(i, j)] = 0;
  WanderingCosts costs(setting(0.001), free);
  Layer entered(plane, 0.0f);
  entered[at(30, 20)] = WanderingCosts::kNoEntry;
  costs.enter(entered);
  EXPECT_EQ(costs.costs()[at(25, 20)], 0);
  EXPECT_EQ(costs.costs()[at(5, 20)], 1e6f);
  EXPECT_EQ(costs.costs()[at(30, 20)], 1e6f);
}

}  // namespace
}  // namespace leastharm

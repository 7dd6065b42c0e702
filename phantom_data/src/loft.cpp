#include <algorithm>
#include <numbers>

#include "shape.h"

namespace leastharm::phantom {
namespace {

// Cubic through four values at four levels (Catmull and Rom 1974, uneven spacing), between the middle two.
double cubic(double before, double a, double b, double after, double h_before, double h,
             double h_after, double t) {
  const double slope_a = (b - before) / (h_before + h) * h, slope_b = (after - a) / (h + h_after) * h;
  const double t2 = t * t, t3 = t2 * t;
  return (2 * t3 - 3 * t2 + 1) * a + (t3 - 2 * t2 + t) * slope_a + (3 * t2 - 2 * t3) * b +
         (t3 - t2) * slope_b;
}

Station between(const std::vector<Station>& s, double z) {
  const std::size_t last = s.size() - 1;
  std::size_t n = 0;
  while (n + 2 < s.size() && s[n + 1].z < z) ++n;
  const Station &a = s[n], &b = s[n + 1], &before = s[n ? n - 1 : 0], &after = s[std::min(n + 2, last)];
  const double h = b.z - a.z, t = (z - a.z) / h;
  const auto smooth = [&](double Station::*m, double least) {
    return std::max(least, cubic(before.*m, a.*m, b.*m, after.*m, a.z - before.z, h, after.z - b.z, t));
  };
  return {z,
          smooth(&Station::centre_y, -1e9),
          smooth(&Station::side, 1),
          smooth(&Station::front, 1),
          smooth(&Station::back, 1),
          smooth(&Station::exponent, 1.5)};
}

}  // namespace

Loft::Loft(const std::vector<Station>& stations) {
  const double low = stations.front().z, high = stations.back().z;
  box_ = {{0, 0, low}, {0, 0, high}};
  for (double z = low; z <= high; z += 1) {
    const Station s = between(stations, z);
    table_.push_back(s);
    box_ = box_.with({{-s.side, s.centre_y - s.front, z}, {s.side, s.centre_y + s.back, z}});
  }
}

Station Loft::section(double z) const {
  const double row = std::clamp(z - table_.front().z, 0.0, static_cast<double>(table_.size()) - 1.001);
  const auto n = static_cast<std::size_t>(row);
  const double t = row - static_cast<double>(n);
  const Station &a = table_[n], &b = table_[n + 1];
  const auto mid = [&](double Station::*m) { return a.*m + t * (b.*m - a.*m); };
  return {z, mid(&Station::centre_y), mid(&Station::side), mid(&Station::front), mid(&Station::back),
          mid(&Station::exponent)};
}

double Loft::at(const Vec3& p) const {
  const Station s = section(p.z());
  const double y = p.y() - s.centre_y, depth = y < 0 ? s.front : s.back;
  const double u = std::abs(p.x()) / s.side, v = std::abs(y) / depth;
  const double size = std::pow(std::pow(u, s.exponent) + std::pow(v, s.exponent), 1 / s.exponent);
  // Sections that widen quickly with z make the surface oblique; 0.6 keeps the step safe there.
  const double round = 0.6 * (size - 1) * std::min({s.side, s.front, s.back});
  return std::max({round, table_.front().z - p.z(), p.z() - table_.back().z});
}

Vec3 Loft::surface(double angle, double z, double inset_mm) const {
  const Station s = section(z);
  const double c = std::cos(angle), sn = std::sin(angle);
  const double depth = (c < 0 ? s.front : s.back) - inset_mm, side = s.side - inset_mm;
  const double size = std::pow(std::pow(std::abs(sn), s.exponent) + std::pow(std::abs(c), s.exponent),
                               1 / s.exponent);
  return {side * sn / size, s.centre_y + depth * c / size, z};
}

}  // namespace leastharm::phantom

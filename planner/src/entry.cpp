#include "planner/entry.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "planner/crossing.h"
#include "planner/voxel_walk.h"

namespace leastharm {

namespace {

constexpr double kSmoothing_mm = 2.5;
constexpr int kHoleNodes = 256;
constexpr int kShaftNodes = 48;
constexpr double kRadian = 180 / std::numbers::pi;

bool object_at_clamped(const Body& body, VoxelIndex v) {
  const auto& size = body.grid.size;
  const VoxelIndex inside{std::clamp(v.i, 0, size[0] - 1), std::clamp(v.j, 0, size[1] - 1),
                          std::clamp(v.k, 0, size[2] - 1)};
  return is_object(body.material_at(inside));
}

/// Calls visit(start of the line at depth 0) for lines spread over the outer cylinder, its axis and rim included.
template <typename Visit>
void for_lines_of(const Track& track, double radius, int nodes, Visit&& visit) {
  const auto [e1, e2] = across(axis_of(track));
  visit(track.entry_lps_mm);
  for (const DiscNode& node : disc_nodes(radius, nodes)) visit(Vec3(track.entry_lps_mm + node.x_mm * e1 + node.y_mm * e2));
  for (int n = 0; n < nodes; ++n) {
    const double angle = 2 * std::numbers::pi * n / nodes;
    visit(Vec3(track.entry_lps_mm + radius * (std::cos(angle) * e1 + std::sin(angle) * e2)));
  }
}

struct Contact {
  bool given_inside = false;
  double depth_mm = 0;
  Vec3 point_lps_mm{0, 0, 0};
};

std::optional<Contact> first_contact(const Body& body, const Vec3& entry_lps_mm, const Vec3& tip_lps_mm) {
  const Vec3 axis = (tip_lps_mm - entry_lps_mm).normalized();
  const double length = (tip_lps_mm - entry_lps_mm).norm();
  const double tolerance = body.grid.spacing_mm.minCoeff() / 2;
  const bool inside = is_object(body.material_at(body.grid.voxel_at(entry_lps_mm - tolerance * axis)));
  const auto depth = first_object_mm(body, entry_lps_mm, axis, inside ? 0 : -tolerance, length);
  if (!depth) return std::nullopt;
  return Contact{inside, *depth, inside ? entry_lps_mm : entry_lps_mm + *depth * axis};
}

}  // namespace

std::optional<Vec3> find_entry_point(const Body& body, const Vec3& entry_lps_mm, const Vec3& tip_lps_mm) {
  const auto contact = first_contact(body, entry_lps_mm, tip_lps_mm);
  return contact ? std::optional(contact->point_lps_mm) : std::nullopt;
}

std::optional<EntrySite> find_entry(const Body& body, const Vec3& entry_lps_mm, const Vec3& tip_lps_mm) {
  const auto contact = first_contact(body, entry_lps_mm, tip_lps_mm);
  if (!contact) return std::nullopt;
  const Vec3 axis = (tip_lps_mm - entry_lps_mm).normalized();
  EntrySite site;
  site.given_inside = contact->given_inside;
  site.point_lps_mm = contact->point_lps_mm;
  site.behind_support = length_in(crossings_along(body, entry_lps_mm, axis, 0, contact->depth_mm), Material::support) > 0;
  site.outward = outward_normal(body, site.point_lps_mm).value_or(-axis);
  site.angle_deg = kRadian * std::acos(std::clamp(-axis.dot(site.outward), -1.0, 1.0));
  return site;
}

std::optional<Vec3> outward_normal(const Body& body, const Vec3& point_lps_mm) {
  const Grid& grid = body.grid;
  const double sigma = std::max(kSmoothing_mm, grid.spacing_mm.maxCoeff());
  const Vec3 centre = grid.index_from_lps(point_lps_mm);
  const Vec3 reach = Vec3::Constant(3 * sigma).cwiseQuotient(grid.spacing_mm);
  const Eigen::Vector3i low = (centre - reach).array().ceil().cast<int>();
  const Eigen::Vector3i high = (centre + reach).array().floor().cast<int>();
  // What a voxel weighs is a product of one factor along each axis.
  std::array<std::vector<std::pair<double, double>>, 3> along;   // how far off, and the factor
  for (int a = 0; a < 3; ++a)
    for (int n = low[a]; n <= high[a]; ++n) {
      const double off = (n - centre[a]) * grid.spacing_mm[a];
      along[static_cast<std::size_t>(a)].emplace_back(off, std::exp(-off * off / (2 * sigma * sigma)));
    }
  Vec3 inward = Vec3::Zero();   // in the grid's own axes
  for (int k = low[2]; k <= high[2]; ++k)
    for (int j = low[1]; j <= high[1]; ++j) {
      const auto [z, of_z] = along[2][static_cast<std::size_t>(k - low[2])];
      const auto [y, of_y] = along[1][static_cast<std::size_t>(j - low[1])];
      for (int i = low[0]; i <= high[0]; ++i) {
        const auto [x, of_x] = along[0][static_cast<std::size_t>(i - low[0])];
        const Vec3 r(x, y, z);
        if (r.squaredNorm() < 9 * sigma * sigma && object_at_clamped(body, {i, j, k})) inward += of_x * of_y * of_z * r;
      }
    }
  if (inward.norm() < 1e-9) return std::nullopt;
  return Vec3(-(grid.direction * inward).normalized());
}

double hole_area_mm2(double outer_mm, double angle_deg) {
  return std::numbers::pi / 4 * outer_mm * outer_mm / std::cos(std::min(angle_deg, 88.0) / kRadian);
}

double slant_reach_mm(double radius_mm, double angle_deg, const Grid& grid) {
  return radius_mm * std::tan(std::min(angle_deg, 80.0) / kRadian) + grid.spacing_mm.norm();
}

double entry_reach_mm(double radius_mm, double angle_deg, const Grid& grid) {
  constexpr double kHumpsDeg = 20;
  return slant_reach_mm(radius_mm, angle_deg + kHumpsDeg, grid) + radius_mm;
}

std::vector<HoleNode> hole_nodes(const Body& body, const Track& track, const EntrySite& site) {
  const Vec3 axis = axis_of(track);
  const auto [e1, e2] = across(axis);
  const double cosine = std::max(-axis.dot(site.outward), std::cos(88 / kRadian));
  const double reach = slant_reach_mm(track.needle.outer_mm / 2, site.angle_deg, body.grid);
  std::vector<HoleNode> nodes;
  for (const DiscNode& node : disc_nodes(track.needle.outer_mm / 2, kHoleNodes)) {
    const Vec3 start = track.entry_lps_mm + node.x_mm * e1 + node.y_mm * e2;
    HoleNode hole;
    hole.on_surface_lps_mm = start + (start - track.entry_lps_mm).dot(site.outward) / cosine * axis;
    walk_voxels(body.grid, start, axis, -reach, reach, [&](std::size_t offset, VoxelIndex v, double, double) {
      if (is_object(static_cast<Material>(body.materials[offset]))) hole.contact = v;
      return !hole.contact;
    });
    nodes.push_back(hole);
  }
  return nodes;
}

bool in_zone(const Mask& zone, const HoleNode& node) {
  return (node.contact && zone.contains(*node.contact)) || zone.contains(zone.grid.voxel_at(node.on_surface_lps_mm));
}

bool enters_through(const Mask& opening, const Body& body, const Track& track, const EntrySite& site) {
  const Vec3 axis = axis_of(track);
  const double radius = track.needle.outer_mm / 2;
  const double behind = std::max(track.needle.usable_mm - path_length_mm(track), 0.0) + slant_reach_mm(radius, site.angle_deg, body.grid);
  bool all = true;
  for_lines_of(track, radius, kShaftNodes, [&](const Vec3& start) {
    bool in_mark = false, met = false;
    if (all)
      walk_voxels(body.grid, start, axis, -behind, path_length_mm(track), [&](std::size_t offset, VoxelIndex v, double, double) {
        in_mark = in_mark || opening.contains(v);
        met = is_object(static_cast<Material>(body.materials[offset]));
        return !met && !in_mark;
      });
    all = all && in_mark;
  });
  return all;
}

namespace {

/// Voxels i of row (j, k) whose centres lie in a cylinder: first and last, empty where last < first.
std::pair<int, int> row_in_cylinder(const Grid& grid, const Cylinder& cylinder, int j, int k) {
  const Vec3 origin = grid.lps_from_index(Vec3(0, j, k)) - cylinder.start, step = grid.direction.col(0) * grid.spacing_mm.x();
  double low = 0, high = grid.size[0] - 1.0;
  const double along = origin.dot(cylinder.axis), forward = step.dot(cylinder.axis);
  if (std::abs(forward) < 1e-12) {
    if (along < 0 || along > cylinder.length_mm) return {0, -1};
  } else {
    const double a = -along / forward, b = (cylinder.length_mm - along) / forward;
    low = std::max(low, std::min(a, b));
    high = std::min(high, std::max(a, b));
  }
  const Vec3 aside = origin - along * cylinder.axis, sideways = step - forward * cylinder.axis;
  const double a = sideways.squaredNorm(), b = aside.dot(sideways), c = aside.squaredNorm() - cylinder.radius_mm * cylinder.radius_mm;
  if (a < 1e-12) {
    if (c > 0) return {0, -1};
  } else {
    const double root = b * b - a * c;
    if (root < 0) return {0, -1};
    low = std::max(low, (-b - std::sqrt(root)) / a);
    high = std::min(high, (-b + std::sqrt(root)) / a);
  }
  return {static_cast<int>(std::ceil(low)), static_cast<int>(std::floor(high))};
}

/// The farthest along a cylinder's axis that the centre of a voxel other than air lies in it, mm from its start.
std::optional<double> farthest_solid_mm(const Body& body, const Cylinder& cylinder) {
  const Grid& grid = body.grid;
  const Vec3 a = grid.index_from_lps(cylinder.start), b = grid.index_from_lps(cylinder.at(cylinder.length_mm));
  const Vec3 room = Vec3::Constant(cylinder.radius_mm).cwiseQuotient(grid.spacing_mm);
  const Eigen::Vector3i low = (a.cwiseMin(b) - room).array().floor().cast<int>().max(0);
  const Eigen::Vector3i high = (a.cwiseMax(b) + room).array().ceil().cast<int>();
  std::optional<double> farthest;
  for (int k = low[2]; k <= std::min(high[2], grid.size[2] - 1); ++k)
    for (int j = low[1]; j <= std::min(high[1], grid.size[1] - 1); ++j) {
      const auto [first, last] = row_in_cylinder(grid, cylinder, j, k);
      for (int i = first; i <= last; ++i) {
        if (body.materials[grid.offset(i, j, k)] == 0) continue;
        const double along = (grid.lps_from_index(Vec3(i, j, k)) - cylinder.start).dot(cylinder.axis);
        farthest = std::max(farthest.value_or(0), along);
      }
    }
  return farthest;
}

}  // namespace

std::optional<double> shaft_meets_mm(const Body& body, const Track& track, const EntrySite& site) {
  const Vec3 axis = axis_of(track);
  const double radius = track.needle.outer_mm / 2, near = entry_reach_mm(radius, site.angle_deg, body.grid);
  const double hub = std::max(near, track.needle.usable_mm - path_length_mm(track) - track.needle.dead_tip_mm);
  std::optional<double> met;
  for_lines_of(track, radius, kShaftNodes, [&](const Vec3& start) {
    walk_voxels(body.grid, start, axis, -hub, -near, [&](std::size_t offset, VoxelIndex, double, double leave) {
      if (body.materials[offset] != 0) met = std::max(met.value_or(-1e9), leave);
    });
  });
  if (met) return met;
  const Vec3 behind = track.entry_lps_mm - (hub + kHandLengthMm) * axis;
  if (const auto solid = farthest_solid_mm(body, {behind, axis, kHandLengthMm, kHandRadiusMm})) return *solid - hub - kHandLengthMm;
  return std::nullopt;
}

}  // namespace leastharm

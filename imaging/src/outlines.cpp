// The region between outlines that a person drew on sparse slices.
#include <algorithm>
#include <cmath>
#include <map>
#include <string>

#include "imaging/error.h"
#include "imaging/mask.h"

namespace leastharm {
namespace {

using Vec2 = Eigen::Vector2d;
using Polygon = std::vector<Vec2>;

constexpr double kFlatWithinMm = 0.5;
constexpr double kWideSpacingMm = 15;

/// All outlines of one plane, in the plane's own two axes.
struct Slice {
  double height_mm = 0;
  std::vector<Polygon> polygons{};
  Vec2 centre{0, 0};
};

/// Newell's normal: robust for any flat polygon, its length twice the area.
Vec3 newell_normal(const Outline& outline) {
  Vec3 normal = Vec3::Zero();
  for (std::size_t a = 0; a < outline.size(); ++a)
    normal += outline[a].cross(outline[(a + 1) % outline.size()]);
  return normal;
}

/// Negative inside (even-odd), mm.
double signed_distance_mm(const std::vector<Polygon>& polygons, const Vec2& p) {
  double nearest2 = 1e300;
  bool inside = false;
  for (const Polygon& polygon : polygons)
    for (std::size_t a = 0; a < polygon.size(); ++a) {
      const Vec2& from = polygon[a];
      const Vec2& to = polygon[(a + 1) % polygon.size()];
      const Vec2 edge = to - from;
      const double length2 = edge.squaredNorm();
      const double t = length2 > 0 ? std::clamp((p - from).dot(edge) / length2, 0.0, 1.0) : 0.0;
      nearest2 = std::min(nearest2, (p - from - t * edge).squaredNorm());
      if ((from.y() > p.y()) != (to.y() > p.y()) &&
          p.x() < from.x() + (p.y() - from.y()) / (to.y() - from.y()) * edge.x())
        inside = !inside;
    }
  return inside ? -std::sqrt(nearest2) : std::sqrt(nearest2);
}

/// The planes' common frame and the outlines in it.
struct Stack {
  Vec3 normal, across, along;
  std::vector<Slice> slices;   ///< by height
};

Vec2 centre_of(const std::vector<Polygon>& polygons) {
  Vec2 sum = Vec2::Zero();
  double points = 0;
  for (const Polygon& polygon : polygons)
    for (const Vec2& p : polygon) sum += p, ++points;
  return sum / points;
}

Vec3 checked_normal(const std::vector<Outline>& outlines) {
  if (outlines.empty()) throw BadInput("no outlines given: draw at least one closed outline");
  Vec3 normal = Vec3::Zero();
  for (std::size_t n = 0; n < outlines.size(); ++n) {
    const std::string which = "outline " + std::to_string(n + 1);
    if (outlines[n].size() < 3) throw BadInput(which + " has fewer than three points");
    for (const Vec3& p : outlines[n])
      if (!p.allFinite()) throw BadInput(which + " has a point that is not finite");
    Vec3 own = newell_normal(outlines[n]);
    if (own.norm() < 1e-9) throw BadInput(which + " encloses no area");
    own.normalize();
    if (n == 0) normal = own;
    if (std::abs(own.dot(normal)) < std::cos(2 * M_PI / 180))
      throw BadInput(which + " does not lie parallel to the first: draw all outlines on parallel slices");
    const double height = outlines[n].front().dot(normal);
    for (const Vec3& p : outlines[n])
      if (std::abs(p.dot(normal) - height) > kFlatWithinMm)
        throw BadInput(which + " is not flat within " + std::to_string(kFlatWithinMm) + " mm");
  }
  return normal;
}

Stack stack_of(const std::vector<Outline>& outlines) {
  Stack stack;
  stack.normal = checked_normal(outlines);
  stack.across = stack.normal.unitOrthogonal();
  stack.along = stack.normal.cross(stack.across);
  for (const Outline& outline : outlines) {
    const double height = outline.front().dot(stack.normal);
    auto slice = std::ranges::find_if(stack.slices, [&](const Slice& s) {
      return std::abs(s.height_mm - height) < kFlatWithinMm;
    });
    if (slice == stack.slices.end()) slice = stack.slices.insert(slice, Slice{.height_mm = height});
    Polygon polygon;
    for (const Vec3& p : outline) polygon.emplace_back(p.dot(stack.across), p.dot(stack.along));
    slice->polygons.push_back(std::move(polygon));
  }
  std::ranges::sort(stack.slices, {}, &Slice::height_mm);
  for (Slice& slice : stack.slices) slice.centre = centre_of(slice.polygons);
  return stack;
}

/// Inside the stack at a point? Between two slices the shapes are carried along the line of their centres and blended
/// by signed distance, so that a leaning column stays whole. The end slices reach half a voxel outward.
bool inside_stack(const Stack& stack, const Vec3& lps_mm, double half_voxel_mm) {
  const double height = lps_mm.dot(stack.normal);
  const Vec2 p{lps_mm.dot(stack.across), lps_mm.dot(stack.along)};
  const auto& slices = stack.slices;
  if (height < slices.front().height_mm)
    return height >= slices.front().height_mm - half_voxel_mm &&
           signed_distance_mm(slices.front().polygons, p) <= 0;
  if (height >= slices.back().height_mm)
    return height < slices.back().height_mm + half_voxel_mm &&
           signed_distance_mm(slices.back().polygons, p) <= 0;
  const auto above = std::ranges::upper_bound(slices, height, {}, &Slice::height_mm);
  const Slice &a = *std::prev(above), &b = *above;
  const double t = (height - a.height_mm) / (b.height_mm - a.height_mm);
  const Vec2 centre = (1 - t) * a.centre + t * b.centre;
  return (1 - t) * signed_distance_mm(a.polygons, p - centre + a.centre) +
             t * signed_distance_mm(b.polygons, p - centre + b.centre) <=
         0;
}

bool crosses_itself(const Polygon& polygon) {
  const auto side = [](const Vec2& a, const Vec2& b, const Vec2& c) {
    return (b.x() - a.x()) * (c.y() - a.y()) - (b.y() - a.y()) * (c.x() - a.x());
  };
  const std::size_t n = polygon.size();
  for (std::size_t a = 0; a < n; ++a)
    for (std::size_t b = a + 2; b < n; ++b) {
      if (a == 0 && b == n - 1) continue;   // neighbours share a point
      const Vec2 &p = polygon[a], &q = polygon[a + 1], &r = polygon[b], &s = polygon[(b + 1) % n];
      if (side(p, q, r) * side(p, q, s) < 0 && side(r, s, p) * side(r, s, q) < 0) return true;
    }
  return false;
}

}  // namespace

std::vector<Finding> outline_findings(const std::vector<Outline>& outlines) {
  const Stack stack = stack_of(outlines);
  std::vector<Finding> findings;
  for (std::size_t s = 0; s < stack.slices.size(); ++s) {
    for (const Polygon& polygon : stack.slices[s].polygons)
      if (crosses_itself(polygon))
        findings.push_back({Level::note, "an outline crosses itself: what lies inside it may not be what was meant"});
    const double gap_mm = s == 0 ? 0 : stack.slices[s].height_mm - stack.slices[s - 1].height_mm;
    if (gap_mm > kWideSpacingMm)
      findings.push_back({Level::note, "outlines lie " + std::to_string(static_cast<int>(gap_mm)) +
                                           " mm apart: what is filled in between is a guess beyond 15 mm"});
  }
  return findings;
}

Mask contours_mask(const Grid& grid, const std::vector<Outline>& outlines) {
  const Stack stack = stack_of(outlines);
  const double half_voxel_mm =
      0.5 * (grid.direction.transpose() * stack.normal).cwiseAbs().dot(grid.spacing_mm);
  Vec3 low = Vec3::Constant(1e300), high = -low;
  for (const Outline& outline : outlines)
    for (const Vec3& p : outline) {
      low = low.cwiseMin(grid.index_from_lps(p));
      high = high.cwiseMax(grid.index_from_lps(p));
    }
  const auto clamp_index = [&](double v, int axis) {
    return static_cast<int>(std::clamp(v, -1.0, grid.size[static_cast<std::size_t>(axis)] + 0.0));
  };
  Volume<std::uint8_t> labels{grid, std::vector<std::uint8_t>(grid.voxel_count(), 0)};
  bool any = false;
  for (int k = std::max(0, clamp_index(low.z() - 1, 2)); k < clamp_index(high.z() + 2, 2); ++k)
    for (int j = std::max(0, clamp_index(low.y() - 1, 1)); j < clamp_index(high.y() + 2, 1); ++j)
      for (int i = std::max(0, clamp_index(low.x() - 1, 0)); i < clamp_index(high.x() + 2, 0); ++i)
        if (inside_stack(stack, grid.lps_from_index(Vec3(i, j, k)), half_voxel_mm)) {
          labels.values[grid.offset(i, j, k)] = 1;
          any = true;
        }
  if (!any) throw BadInput("the outlines hold no voxel of the CT: points are LPS in mm");
  return mask_from_labels(labels, grid);
}

}  // namespace leastharm

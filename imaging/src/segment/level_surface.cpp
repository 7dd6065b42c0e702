#include "level_surface.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <iterator>
#include <optional>
#include <utility>

#include "denoise.h"
#include "eight.h"
#include "parallel.h"
#include "regions.h"

namespace leastharm::segment_detail {
namespace {

constexpr double kMostTurn = 0.94;        ///< cosine between a piece's normal and the plane's
constexpr double kMostLower = 0.08, kMostLowerOfFlat = 0.2;   ///< of the places around a level surface: those that lie lower,
constexpr double kMostAlike = 0.6;       ///< and those that face nearly the same way: a vessel's wall rises, a wide bowl goes on
constexpr double kMostLowerOfOther = 0.5, kMostAlikeOfOther = 0.8;   ///< the same where HU bear witness, too
constexpr double kMostRough = 0.36;       ///< the places' standard deviation over the tolerance: through a bowl they fill it evenly (0.58);
constexpr double kFlat = 0.22;            ///< what is so flat hardly grew
constexpr double kFlatPart = 0.1;         ///< of a part of what lies on a plane, where the whole is not flat enough
constexpr double kAlike = 0.8;            ///< cosine
constexpr double kMostAlong = 0.8;        ///< cosine between the normal and the body's length: nobody pours into a standing body
constexpr std::size_t kMostSurfaces = 4, kMostPlanes = 8;
constexpr std::size_t kLeastPlaces = 12;

/// The tissue's surface within a block: where it lies on average, and which way it faces.
struct Element {
  Vec3 at{0, 0, 0}, normal{0, 0, 0};
  int voxels = 0;
  std::size_t block = 0;
};

std::uint8_t material(std::uint8_t c) { return c & code::kMaterial; }

class Surveyor {
 public:
  Surveyor(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes)
      : levels_(levels), codes_(codes), stride_(levels.grid.strides()) {}

  void look(int i, int j, int k, Element& element) const {
    const std::size_t v = levels_.grid.offset(i, j, k);
    const std::array<int, 3> at{i, j, k};
    for (std::size_t a = 0; a < 3; ++a)
      if (at[a] == 0 || at[a] + 1 == levels_.grid.size[a]) return;
    const std::uint8_t* const c = codes_.values.data() + v;
    const std::uint8_t* const level = levels_.values.data() + v;
    bool open = false;
    for (const std::ptrdiff_t s : stride_) open = open || inside(c[-s]) || inside(c[s]);
    if (!open) return;
    Vec3 slope;
    for (std::size_t a = 0; a < 3; ++a)
      slope[static_cast<Eigen::Index>(a)] = (level[-stride_[a]] - level[stride_[a]]) / levels_.grid.spacing_mm[static_cast<Eigen::Index>(a)];
    if (slope.squaredNorm() == 0) return;
    element.at += Vec3(i, j, k).cwiseProduct(levels_.grid.spacing_mm) + to_surface(v, slope);
    element.normal += slope.normalized();
    ++element.voxels;
  }

 private:
  /// From a voxel's centre to where HU pass half way between air and tissue, along the axis on which they fall most.
  [[nodiscard]] Vec3 to_surface(std::size_t v, const Vec3& slope) const {
    constexpr int kHalfWay = level_of(-500);
    Eigen::Index axis = 0;
    slope.cwiseProduct(levels_.grid.spacing_mm).cwiseAbs().maxCoeff(&axis);
    const std::ptrdiff_t step = slope[axis] > 0 ? stride_[static_cast<std::size_t>(axis)] : -stride_[static_cast<std::size_t>(axis)];
    const int here = levels_.values[v], there = levels_.values[static_cast<std::size_t>(static_cast<std::ptrdiff_t>(v) + step)];
    if (here == there) return Vec3::Zero();
    const double share = std::clamp(static_cast<double>(here - kHalfWay) / (here - there), -1.0, 1.0);
    return (slope[axis] > 0 ? share : -share) * levels_.grid.spacing_mm[axis] * Vec3::Unit(axis);
  }

  static bool inside(std::uint8_t c) { return (c & code::kInside) && material(c) <= label(Material::wrapping); }

  const Volume<std::uint8_t>& levels_;
  const Volume<std::uint8_t>& codes_;
  std::array<std::ptrdiff_t, 3> stride_;
};

std::vector<Element> elements_of(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes, const Coarse& coarse, int threads) {
  const Surveyor surveyor(levels, codes);
  std::vector<std::vector<Element>> parts(static_cast<std::size_t>(coarse.size[2]));
  for_chunks(coarse.size[2], 1, threads, [&](int c, int, int) {
    std::vector<Element> row(static_cast<std::size_t>(coarse.size[0]));
    const auto end = [&](int index, std::size_t a) { return std::min((index + 1) * coarse.factor[a], levels.grid.size[a]); };
    for (int b = 0; b < coarse.size[1]; ++b) {
      std::fill(row.begin(), row.end(), Element{});
      for (int k = c * coarse.factor[2]; k < end(c, 2); ++k)
        for (int j = b * coarse.factor[1]; j < end(b, 1); ++j)
          for (const Material soft : {Material::body, Material::resin})
            for_each_of(codes.values.data() + levels.grid.offset(0, j, k), levels.grid.size[0], code::kMaterial, label(soft),
                        [&](int i) { surveyor.look(i, j, k, row[static_cast<std::size_t>(i / coarse.factor[0])]); });
      for (int i = 0; i < coarse.size[0]; ++i) {
        Element& e = row[static_cast<std::size_t>(i)];
        if (e.voxels == 0 || e.normal.norm() < 0.7 * e.voxels) continue;
        e.at /= e.voxels;
        e.normal.normalize();
        e.block = coarse.offset(i, b, c);
        parts[static_cast<std::size_t>(c)].push_back(e);
      }
    }
  });
  std::vector<Element> all;
  for (const auto& part : parts) all.insert(all.end(), part.begin(), part.end());
  return all;
}

struct Plane {
  Vec3 point, normal;
  [[nodiscard]] double height(const Vec3& p) const { return normal.dot(p - point); }
  /// How far places may lie off the plane, mm.
  [[nodiscard]] double tolerance(const Vec3& spacing_mm) const { return 0.7 * normal.cwiseProduct(spacing_mm).norm(); }
  [[nodiscard]] bool holds(const Element& e, double within_mm) const {
    return std::abs(height(e.at)) < within_mm && normal.dot(e.normal) > kMostTurn;
  }
};

/// The plane through some places, facing as a guess does.
Plane through(const std::vector<Vec3>& places, const Vec3& facing) {
  Vec3 centre = Vec3::Zero();
  for (const Vec3& p : places) centre += p;
  centre /= static_cast<double>(places.size());
  Mat3 spread = Mat3::Zero();
  for (const Vec3& p : places) spread += (p - centre) * (p - centre).transpose();
  const Vec3 normal = Eigen::SelfAdjointEigenSolver<Mat3>(spread).eigenvectors().col(0);
  return {centre, normal.dot(facing) < 0 ? Vec3(-normal) : normal};
}

std::vector<Element> on(const Plane& plane, double within_mm, const std::vector<Element>& elements) {
  std::vector<Element> held;
  std::copy_if(elements.begin(), elements.end(), std::back_inserter(held), [&](const Element& e) { return plane.holds(e, within_mm); });
  return held;
}

std::vector<Vec3> places_of(const std::vector<Element>& elements) {
  std::vector<Vec3> places;
  for (const Element& e : elements) places.push_back(e.at);
  return places;
}

/// The plane through those elements that an earlier guess holds.
std::optional<Plane> refitted(const std::vector<Element>& elements, const Plane& guess, double within_mm) {
  const std::vector<Element> held = on(guess, within_mm, elements);
  if (held.size() < kLeastPlaces) return std::nullopt;
  return through(places_of(held), guess.normal);
}

/// The plane that most elements lie on, of those proposed by some of them.
std::optional<Plane> fullest_plane(const std::vector<Element>& elements, const Vec3& spacing_mm, int threads) {
  constexpr std::size_t kTries = 200, kCounted = 4000;
  const std::size_t step = elements.size() / kTries + 1, each = elements.size() / kCounted + 1;
  const auto tried = [&](std::size_t n) { return Plane{elements[n * step].at, elements[n * step].normal}; };
  std::vector<int> counts((elements.size() + step - 1) / step);
  for_chunks(static_cast<int>(counts.size()), 8, threads, [&](int, int first, int last) {
    for (auto n = static_cast<std::size_t>(first); n < static_cast<std::size_t>(last); ++n) {
      const Plane plane = tried(n);
      const double within = 2 * plane.tolerance(spacing_mm);
      for (std::size_t e = 0; e < elements.size(); e += each) counts[n] += plane.holds(elements[e], within);
    }
  });
  const auto most = std::ranges::max_element(counts);
  if (most == counts.end() || *most == 0) return std::nullopt;
  std::optional<Plane> best = tried(static_cast<std::size_t>(most - counts.begin()));
  for (int round = 0; best && round < 4; ++round) best = refitted(elements, *best, (round < 2 ? 2 : 1) * best->tolerance(spacing_mm));
  return best;
}

/// Elements (by rising block) that lie apart, largest part first: a plane runs on through the body, and meets other surfaces there.
std::vector<std::vector<Element>> parts_of(const std::vector<Element>& elements, const Coarse& coarse) {
  std::vector<std::uint8_t> taken(elements.size());
  std::vector<std::vector<Element>> parts;
  for (std::size_t first = 0; first < elements.size(); ++first) {
    if (std::exchange(taken[first], std::uint8_t{1})) continue;
    std::vector<Element> part{elements[first]};
    for (std::size_t n = 0; n < part.size(); ++n)
      for (const std::size_t block : ring_of(coarse, part[n].block)) {
        const auto beside = std::ranges::lower_bound(elements, block, {}, &Element::block);
        if (beside == elements.end() || beside->block != block || std::exchange(taken[static_cast<std::size_t>(beside - elements.begin())], std::uint8_t{1})) continue;
        part.push_back(*beside);
      }
    parts.push_back(std::move(part));
  }
  std::ranges::stable_sort(parts, std::greater{}, &std::vector<Element>::size);
  return parts;
}

/// Half widths both ways over which some places spread: for an even disc, its radius.
Eigen::Vector2d half_widths(const std::vector<Vec3>& places, const Plane& plane) {
  Vec3 centre = Vec3::Zero();
  for (const Vec3& p : places) centre += p;
  centre /= static_cast<double>(places.size());
  Mat3 spread = Mat3::Zero();
  for (const Vec3& p : places) {
    const Vec3 d = (p - centre) - plane.normal.dot(p - centre) * plane.normal;
    spread += d * d.transpose();
  }
  const Eigen::SelfAdjointEigenSolver<Mat3> solver(spread / static_cast<double>(places.size()));
  return {2 * std::sqrt(std::max(0.0, solver.eigenvalues()[1])), 2 * std::sqrt(std::max(0.0, solver.eigenvalues()[2]))};
}

/// Whether a flat piece of surface is that of a liquid: flat through and through, `least_mm` wide, and in a vessel whose walls rise at its
/// edge; says of it how plain that is. A part must be flatter where the `whole` of what lies on its plane is no level surface, for there are more chances.
bool is_level(const Plane& plane, const std::vector<Element>& all, const Vec3& spacing_mm, double block_mm, double least_mm, bool whole, LevelSurface& surface) {
  const double tolerance = plane.tolerance(spacing_mm);
  double squares = 0;
  for (const Vec3& p : surface.places) squares += plane.height(p) * plane.height(p);
  const double rough = std::sqrt(squares / static_cast<double>(surface.places.size())) / tolerance;
  if (rough > kMostRough || half_widths(surface.places, plane)[0] < least_mm) return false;
  int around = 0, lower = 0, alike = 0;
  for (const Element& e : all) {
    const double height = plane.height(e.at);
    if (std::abs(height) > 3 * block_mm || plane.holds(e, tolerance)) continue;
    const bool beside = std::any_of(surface.places.begin(), surface.places.end(), [&](const Vec3& p) {
      const Vec3 d = e.at - p;
      return (d - plane.normal.dot(d) * plane.normal).norm() < 1.8 * block_mm;
    });
    if (!beside) continue;
    ++around;
    lower += height < -1.5 * tolerance;
    alike += e.normal.dot(plane.normal) > kAlike;
  }
  const bool steep = alike <= kMostAlike * around;
  const double most_lower = rough < kFlat ? kMostLowerOfFlat : kMostLower;
  surface.evidence = !steep || (!whole && rough > kFlatPart) || lower > most_lower * around ? Evidence::slight : lower > kMostLower * around ? Evidence::fair : Evidence::plain;
  return surface.evidence != Evidence::slight || (rough < kFlat && lower <= kMostLowerOfOther * around && alike <= kMostAlikeOfOther * around);
}

}  // namespace

Vec3 length_of(const Coarse& coarse, const Shares& shares) {
  constexpr double kMuchMore = 1.6;   // standard deviation
  Vec3 centre = Vec3::Zero();
  Mat3 spread = Mat3::Zero();
  double weight = 0;
  const auto place = [&](std::size_t v) -> Vec3 {
    const VoxelIndex b = coarse.index(v);
    return Vec3(b.i, b.j, b.k).cwiseProduct(coarse.spacing_mm);
  };
  for (std::size_t v = 0; v < coarse.count(); ++v)
    if (shares.tissue[v] > 128) centre += place(v), ++weight;
  if (weight == 0) return Vec3::UnitZ();
  centre /= weight;
  for (std::size_t v = 0; v < coarse.count(); ++v)
    if (shares.tissue[v] > 128) spread += (place(v) - centre) * (place(v) - centre).transpose();
  const Eigen::SelfAdjointEigenSolver<Mat3> solver(spread / weight);
  const Vec3 squares = solver.eigenvalues();
  return squares[2] > kMuchMore * kMuchMore * squares[1] ? Vec3(solver.eigenvectors().col(2)) : Vec3(Vec3::UnitZ());
}

std::vector<LevelSurface> level_surfaces(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes,
                                         const Coarse& coarse, const Lying& lying, int threads) {
  const Vec3& spacing = levels.grid.spacing_mm;
  const std::vector<Element> all = elements_of(levels, codes, coarse, threads);
  std::vector<Element> left = all;
  std::vector<LevelSurface> surfaces;
  for (std::size_t n = 0; n < kMostPlanes && surfaces.size() < kMostSurfaces; ++n) {
    const auto plane = fullest_plane(left, spacing, threads);
    if (!plane) break;
    const std::vector<Element> held = on(*plane, 2 * plane->tolerance(spacing), left);
    if (held.size() < kLeastPlaces) break;
    std::erase_if(left, [&](const Element& e) { return plane->holds(e, 2 * plane->tolerance(spacing)); });
    if (std::abs(plane->normal.dot(lying.length)) > kMostAlong) continue;
    const std::vector<Element> close = on(*plane, plane->tolerance(spacing), held);
    LevelSurface whole{plane->point, plane->normal, places_of(close)};
    if (is_level(*plane, all, spacing, coarse.spacing_mm.maxCoeff(), lying.least_mm, true, whole) && whole.evidence != Evidence::slight) {
      surfaces.push_back(std::move(whole));
      continue;
    }
    for (const std::vector<Element>& part : parts_of(close, coarse)) {
      if (part.size() < kLeastPlaces) break;
      const Plane own = through(places_of(part), plane->normal);   // what else lay on the common plane drew it off
      LevelSurface surface{own.point, own.normal, places_of(on(own, own.tolerance(spacing), part))};
      if (surface.places.size() >= kLeastPlaces && is_level(own, all, spacing, coarse.spacing_mm.maxCoeff(), lying.least_mm, false, surface)) surfaces.push_back(std::move(surface));
    }
  }
  return surfaces;
}

}  // namespace leastharm::segment_detail

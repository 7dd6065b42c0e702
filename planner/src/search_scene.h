#pragma once

#include <cmath>
#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "enough_chance.h"
#include "line_field.h"
#include "planner/body.h"
#include "planner/request.h"
#include "refined_field.h"
#include "surface_normals.h"

namespace leastharm {

/// The axes in which the search works: mm along the grid's own i, j, k, with voxel (0, 0, 0) at the origin.
struct GridFrame {
  explicit GridFrame(const Grid& g) : grid(g) {}
  Grid grid;

  [[nodiscard]] Vec3 point(const Vec3& lps_mm) const { return grid.direction.transpose() * (lps_mm - grid.origin_lps_mm); }
  [[nodiscard]] Vec3 direction(const Vec3& lps) const { return grid.direction.transpose() * lps; }
  [[nodiscard]] Vec3 lps(const Vec3& p) const { return grid.origin_lps_mm + grid.direction * p; }
  [[nodiscard]] Vec3 lps_direction(const Vec3& d) const { return grid.direction * d; }
  [[nodiscard]] VoxelIndex voxel(const Vec3& p) const {
    return {static_cast<int>(std::floor(p.x() / grid.spacing_mm.x() + 0.5)),
            static_cast<int>(std::floor(p.y() / grid.spacing_mm.y() + 0.5)),
            static_cast<int>(std::floor(p.z() / grid.spacing_mm.z() + 0.5))};
  }
};

/// A place where a needle may enter: the centre of an outer voxel of the object.
struct EntryVoxel {
  VoxelIndex voxel;
  Vec3 point{0, 0, 0};     ///< in the frame
  Vec3 outward{0, 0, 1};   ///< in the frame
};

/// A box of the body's grid.
struct Box {
  VoxelIndex low{}, high{};   ///< both inside
  [[nodiscard]] std::array<int, 3> size() const { return {high.i - low.i + 1, high.j - low.j + 1, high.k - low.k + 1}; }
  [[nodiscard]] bool contains(VoxelIndex v) const {
    return v.i >= low.i && v.j >= low.j && v.k >= low.k && v.i <= high.i && v.j <= high.j && v.k <= high.k;
  }
};

/// What one request asks of one needle, as fields.
struct Ask {
  const Request* request = nullptr;
  const Needle* needle = nullptr;
  std::shared_ptr<const RefinedField> cost;   ///< weight averaged over the needle's disc
  Vec3 core_offset{0, 0, 0};   ///< of the fields below in the scene's box, mm
  LineField yield;         ///< recovered mg per mm of core at the middle of the recovery range
  LineField depth_inside;  ///< mm from the border of what is requested, 0 outside; only where a margin is asked
  EnoughChance enough;     ///< of one core, from its mass at the middle of the recovery range
  double need_mg = 0;      ///< of one core
  double least_need_mg = 0;   ///< what every core must hold whatever the others of a pooled request bring
};

/// A body made ready for searching: fields cropped to what needles can reach.
class SearchScene {
 public:
  SearchScene(const Body& body, const RequestFile& file);

  [[nodiscard]] const Body& body() const { return body_; }
  [[nodiscard]] const RequestFile& file() const { return file_; }
  [[nodiscard]] const GridFrame& frame() const { return frame_; }
  [[nodiscard]] const std::vector<EntryVoxel>& entries() const { return entries_; }
  [[nodiscard]] const std::vector<Ask>& asks() const { return asks_; }
  /// Whether a voxel is air that is joined to the air at the border of the scene's box, or lies beyond the grid.
  [[nodiscard]] bool is_outside(VoxelIndex v) const {
    if (!body_.grid.contains(v)) return true;
    if (!box_.contains(v)) return body_.material_at(v) == Material::air;
    return outside_[box_grid_.offset(v.i - box_.low.i, v.j - box_.low.j, v.k - box_.low.k)] != 0;
  }
  [[nodiscard]] const Box& box() const { return box_; }
  /// The box as a grid of its own: voxel (0, 0, 0) at the origin, no rotation.
  [[nodiscard]] const Grid& box_grid() const { return box_grid_; }
  [[nodiscard]] Material material_at(const Vec3& p) const { return body_.material_at(frame_.voxel(p)); }
  /// From the nearest keep-out voxel's centre, mm; large where there is none near.
  [[nodiscard]] double keep_out_distance_mm(const Vec3& p) const {
    return has_keep_outs_ ? keep_out_distance_.at(p - offset_) + keep_out_far_mm_ : 1e9;
  }
  /// p moved into the frame of the cropped fields.
  [[nodiscard]] Vec3 in_box(const Vec3& p) const { return p - offset_; }
  [[nodiscard]] Vec3 from_box(const Vec3& p) const { return p + offset_; }
  /// Signed distance to the object's midline, mm, positive on its left; empty before a frame is confirmed.
  [[nodiscard]] std::optional<double> left_mm(const Vec3& p) const;
  [[nodiscard]] const Box& target() const { return target_; }
  [[nodiscard]] const SurfaceNormals& normals() const { return normals_; }
  /// The weights that `cost` averages: those of the materials, and on voxels that no admissible track can sweep (the
  /// support, what lies deep within the clearance of a keep-out) one that keeps tracks out.
  [[nodiscard]] const Volume<float>& weights() const { return weights_; }
  [[nodiscard]] bool has_keep_outs() const { return has_keep_outs_; }
  /// What a hole costs at least, per mm2: nothing where there is an opening.
  [[nodiscard]] double least_hole_mm() const;
  /// g/cm3 of what a request counts, 0 elsewhere, in a box of its own; `offset_mm` is where that box begins in this one.
  [[nodiscard]] Volume<float> requested_density(const Request& request, Vec3& offset_mm) const;

 private:
  void find_box();
  void find_entries();
  void make_keep_out_distance();
  void make_weights();
  void make_asks();

  const Body& body_;
  const RequestFile& file_;
  GridFrame frame_;
  Box box_, target_;
  Vec3 offset_{0, 0, 0};
  Grid box_grid_;
  std::vector<std::uint8_t> outside_;   // one a voxel of the box
  std::vector<EntryVoxel> entries_;
  std::vector<Ask> asks_;
  SurfaceNormals normals_;
  Volume<float> weights_;
  bool has_keep_outs_ = false;
  double keep_out_far_mm_ = 0;
  LineField keep_out_distance_;   // minus the farthest distance kept, so that zero beyond the box means far
};

/// The materials along a line, found without a division a step.
class MaterialLine {
 public:
  MaterialLine(const SearchScene& scene, const Vec3& start, const Vec3& direction)
      : body_(scene.body()), start_(start.cwiseQuotient(body_.grid.spacing_mm) + Vec3::Constant(0.5)),
        way_(direction.cwiseQuotient(body_.grid.spacing_mm)) {}
  [[nodiscard]] Material at(double mm) const {
    const Vec3 c = start_ + mm * way_;
    return body_.material_at(VoxelIndex{static_cast<int>(std::floor(c.x())), static_cast<int>(std::floor(c.y())),
                                        static_cast<int>(std::floor(c.z()))});
  }

 private:
  const Body& body_;
  Vec3 start_, way_;
};

/// The mark in which a request wants its core; null where it may be anywhere. Throws BadInput where no such cavity is marked.
[[nodiscard]] const Mark* cavity_of(const Body& body, const Request& request);

/// Whether a voxel counts toward a request: requested material in the requested cavity.
[[nodiscard]] bool is_wanted(const Body& body, const Request& request, const Mark* cavity, VoxelIndex v);

}  // namespace leastharm

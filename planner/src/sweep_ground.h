#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "entry_patches.h"
#include "tip_chances.h"

namespace leastharm {

/// What sweeps ask of a scene for one needle, whatever their directions and sides. Points are in the scene's box, mm.
class SweepGround {
 public:
  /// `scene` and its `patches` outlive this.
  SweepGround(const SearchScene& scene, std::size_t ask, const EntryPatches& patches);

  [[nodiscard]] const SearchScene& scene() const { return scene_; }
  [[nodiscard]] const Ask& ask() const { return ask_; }
  /// Whether anything of weight may be within the needle's reach of a point or of others up to kBlock_mm / 2 away.
  [[nodiscard]] bool is_solid(const Vec3& p) const;
  /// Whether a core that ends in the box may hold anything wanted.
  [[nodiscard]] bool may_hold_wanted(const TipBox& box) const;
  [[nodiscard]] bool has_openings() const { return !opening_.empty(); }
  /// False where no opening lies within `room_mm` of a point, along each axis.
  [[nodiscard]] bool opening_near(const Vec3& p, double room_mm) const {
    return ((p - opening_low_).array() >= -room_mm).all() && ((p - opening_high_).array() <= room_mm).all();
  }
  /// Whether a point lies within a voxel of an opening.
  [[nodiscard]] bool in_opening(const Vec3& p) const;
  /// The least weight in what a needle that ends near a point displaces with the last radius of its length, or less.
  [[nodiscard]] float least_weight_at(const Vec3& p) const { return value_at(least_weight_, p); }
  /// The largest weight within a needle's radius of a point, or more.
  [[nodiscard]] float most_weight_at(const Vec3& p) const { return value_at(most_weight_, p); }
  [[nodiscard]] const EntryPatches& patches() const { return patches_; }
  /// Of what is wanted, per mm3: what a needle displaces at least on the way through it.
  [[nodiscard]] double weight_of_wanted() const { return weight_of_wanted_; }

  static constexpr double kBlock_mm = 8;

 private:
  void make_blocks();
  void make_openings();
  void make_extremes();
  [[nodiscard]] float value_at(const std::vector<float>& values, const Vec3& p) const {
    const VoxelIndex v = voxels_.voxel(p);
    return voxels_.grid.contains(v) ? values[voxels_.grid.offset(v)] : 0.0f;
  }

  const SearchScene& scene_;
  const Ask& ask_;
  GridFrame voxels_;                           ///< of the scene's box
  const EntryPatches& patches_;
  double weight_of_wanted_ = 0;
  Grid blocks_;                                ///< coarse blocks ...
  std::vector<std::uint8_t> solid_;            ///< ... 1 where anything of weight is within reach of a point in the block
  std::vector<std::uint8_t> wanted_;           ///< ... 1 where a core that ends in the block may hold what is wanted
  std::vector<std::uint8_t> opening_;          ///< by voxel: within a voxel of an opening; empty without openings
  Vec3 opening_low_{0, 0, 0}, opening_high_{0, 0, 0};   ///< the box around those, mm
  std::vector<float> least_weight_, most_weight_;   ///< by voxel
};

/// The grounds of a scene's asks, each made when it is first asked for.
class SweepGrounds {
 public:
  explicit SweepGrounds(const SearchScene& scene) : scene_(scene), patches_(scene), of_ask_(scene.asks().size()) {}   ///< `scene` outlives this

  [[nodiscard]] const SearchScene& scene() const { return scene_; }
  [[nodiscard]] const SweepGround& of(std::size_t ask) {
    if (!of_ask_[ask]) of_ask_[ask] = std::make_unique<SweepGround>(scene_, ask, patches_);
    return *of_ask_[ask];
  }

 private:
  const SearchScene& scene_;
  EntryPatches patches_;
  std::vector<std::unique_ptr<SweepGround>> of_ask_;
};

}  // namespace leastharm

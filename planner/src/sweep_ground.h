#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <span>
#include <vector>

#include "entry_patches.h"
#include "least_field.h"
#include "tip_chances.h"
#include "wandering_costs.h"

namespace leastharm {

[[nodiscard]] Spacing spacing_of(double step_mm, const Needle& needle);

/// Layers of a lattice lie so far apart: a whole number on the needle's radius, for weights are averaged over millimetres.
[[nodiscard]] double layer_mm(double step_mm, const Needle& needle);

/// The averaged weights of a needle and, for each step of a lattice that is too coarse for them, their least in a cell of that lattice.
class SweepWeights {
 public:
  /// `needle` outlives this.
  SweepWeights(std::shared_ptr<const RefinedField> averaged, const Needle& needle);
  /// At from, from + apart, ...: for a lattice of this step, at most the widest.
  void at_row(double step_mm, const Vec3& from, const Vec3& apart, std::span<float> out) const;

  static constexpr double kWidestSlope = 0.2, kWidestStep_mm = 3;   ///< of sheaves that are swept, or more, and of their lattices

 private:
  std::shared_ptr<const RefinedField> averaged_;
  const Needle& needle_;
  std::vector<LeastField> least_;   // of the widest step, half of it, ...
};

/// What sweeps ask of a scene for one needle, whatever their directions and sides. Points are in the scene's box, mm.
class SweepGround {
 public:
  /// All of these outlive this.
  SweepGround(const SearchScene& scene, std::size_t ask, const EntryPatches& patches, const SweepWeights& weights);

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
  [[nodiscard]] const SweepWeights& weights() const { return weights_; }
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
  const SweepWeights& weights_;
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
  [[nodiscard]] const SweepGround& of(std::size_t ask);

 private:
  const SearchScene& scene_;
  EntryPatches patches_;
  std::map<const RefinedField*, SweepWeights> weights_;   // asks for needles of one diameter share them
  std::vector<std::unique_ptr<SweepGround>> of_ask_;
};

}  // namespace leastharm

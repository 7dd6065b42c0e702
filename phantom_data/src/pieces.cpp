#include "pieces.h"

#include "surroundings.h"

namespace leastharm::phantom {
namespace {

std::shared_ptr<const NoiseTile> fracture_tile(std::uint64_t seed) {
  return std::make_shared<NoiseTile>(mix(seed ^ 0x627265616bULL));
}

}  // namespace

void break_apart(Human& human, double z, const Move& carry, std::uint64_t seed) {
  const Box all = kWholeHuman.grown(50);
  const ShapePtr lower = rough(half_space({0, 0, z}, {0, 0, 1}, all), fracture_tile(seed), 4, 12);
  const ShapePtr upper = cut(block(all.centre(), 0.5 * (all.high - all.low)), lower);
  const ShapePtr rest = common(human.outside, lower);
  const Vec3 hinge(0, spine_at(z).y(), z);
  Move move{carry.turn, hinge + carry.shift - carry.turn * hinge, 1};
  const ShapePtr piece = common(human.outside, upper);
  move.shift.y() += lowest_y(*rest, all) - lowest_y(*moved(piece, move), all);

  Parts parts = clipped(human.parts, lower);
  append(parts, moved(clipped(human.parts, upper), move));
  human.parts = std::move(parts);
  human.outside = united({rest, moved(piece, move)});
  for (auto& [name, p] : human.points)
    if (lower->at(p) > 0) p = move.apply(p);
  for (Vec3& p : human.midline)
    if (p.z() > z) p = move.apply(p);
}

void lose(Human& human, const Vec3& centre, const Vec3& radii, std::uint64_t seed) {
  const Box all = kWholeHuman.grown(120);
  const ShapePtr lost = rough(ellipsoid(centre, radii), fracture_tile(seed), 6, 17);
  const ShapePtr kept = cut(block(all.centre(), 0.5 * (all.high - all.low)), lost);
  human.parts = clipped(human.parts, kept);
  human.outside = common(human.outside, kept);
}

}  // namespace leastharm::phantom

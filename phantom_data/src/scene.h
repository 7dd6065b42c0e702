#pragma once

#include <map>
#include <string>
#include <vector>

#include "imaging/body_frame.h"
#include "imaging/material.h"
#include "shape.h"

namespace leastharm::phantom {

/// Layers of cloth round a surface, with thin air gaps between them that open and close.
struct Layers {
  ShapePtr outside;          ///< the outermost layer's surface; its `height` counts the layers
  double pitch_mm = 2.5;     ///< from one gap to the next
  double gap_mm = 0.5;       ///< widest gap near the surface
  double loosening = 0.1;    ///< gap growth per mm of depth from 12 to 20 mm: padding in hollows is loose
};

/// How HU vary inside one material: mean, broad variation, fine variation (standard deviations on the noise
/// lattice, see NoiseTile) and their scales.
struct Texture {
  double mean_hu = 0;
  double broad_hu = 0;
  Vec3 broad_mm{20, 20, 20};
  double fine_hu = 0;
  Vec3 fine_mm{1, 1, 1};
  double cleft_hu = 0;      ///< change in the thin sheets that part muscle from muscle
  Vec3 cleft_mm{1, 1, 1};   ///< about how far they are apart
  std::shared_ptr<const Layers> layers = nullptr;   ///< of cloth alone
};

/// Something painted into the scene. Later parts cover earlier ones.
struct Part {
  ShapePtr shape;
  Material material = Material::air;
  Texture texture;
};
using Parts = std::vector<Part>;

/// A body in its own frame (mm; x to its left, y to its back, z to its head) with what supports it.
struct Scene {
  Parts parts;
  std::vector<Vec3> midline;              ///< feet to head
  std::map<std::string, Vec3> points;
};

void append(Parts& parts, Parts more);
/// The parts carried elsewhere.
[[nodiscard]] Parts moved(const Parts& parts, const Move& move);
/// Only what lies inside `keep`.
[[nodiscard]] Parts clipped(const Parts& parts, const ShapePtr& keep);

/// Textures by physics at about 68 keV (120 kVp). Densities and the HU that follow from them stand in README.md.
namespace texture {
[[nodiscard]] Texture air();
[[nodiscard]] Texture linen(const Layers& layers);
[[nodiscard]] Texture sawdust();
[[nodiscard]] Texture sand();
[[nodiscard]] Texture mud();
[[nodiscard]] Texture dried_skin();
[[nodiscard]] Texture dried_tissue();
[[nodiscard]] Texture dried_organ();
[[nodiscard]] Texture cortical_bone();
[[nodiscard]] Texture spongy_bone();
[[nodiscard]] Texture marrow_space();
[[nodiscard]] Texture tooth();
[[nodiscard]] Texture resin();
[[nodiscard]] Texture faience();
[[nodiscard]] Texture metal();
[[nodiscard]] Texture wood();
[[nodiscard]] Texture fat();
[[nodiscard]] Texture muscle();
[[nodiscard]] Texture skin();
[[nodiscard]] Texture brain();
[[nodiscard]] Texture lung();
[[nodiscard]] Texture carbon_skin();
[[nodiscard]] Texture foam();
}  // namespace texture

}  // namespace leastharm::phantom

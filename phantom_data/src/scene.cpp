#include "scene.h"

#include <iterator>
#include <utility>

namespace leastharm::phantom {

void append(Parts& parts, Parts more) {
  parts.insert(parts.end(), std::make_move_iterator(more.begin()), std::make_move_iterator(more.end()));
}

Parts moved(const Parts& parts, const Move& move) {
  Parts out = parts;
  for (Part& part : out) {
    part.shape = moved(part.shape, move);
    if (!part.texture.layers) continue;
    Layers layers = *part.texture.layers;
    layers.outside = moved(layers.outside, move);
    layers.pitch_mm *= move.scale;
    part.texture.layers = std::make_shared<Layers>(layers);
  }
  return out;
}

Parts clipped(const Parts& parts, const ShapePtr& keep) {
  Parts out;
  for (const Part& part : parts) {
    const Box box = part.shape->box().within(keep->box());
    if ((box.low.array() > box.high.array()).any()) continue;
    out.push_back({common(part.shape, keep), part.material, part.texture});
  }
  return out;
}

namespace texture {
namespace {
Texture even(double mean, double broad, double broad_mm, double fine, double fine_mm) {
  return {mean, broad, Vec3::Constant(broad_mm), fine, Vec3::Constant(fine_mm)};
}
}  // namespace

Texture air() { return {.mean_hu = -1000}; }
Texture linen(const Layers& layers) {
  Texture t = even(-640, 35, 40, 55, 1.3);
  t.layers = std::make_shared<Layers>(layers);
  return t;
}
Texture sawdust() { return even(-765, 25, 18, 85, 1.9); }
Texture sand() { return even(680, 45, 22, 90, 1.1); }
Texture mud() { return even(375, 40, 25, 60, 2.2); }
Texture dried_skin() { return even(140, 40, 20, 40, 2.0); }
Texture dried_tissue() {
  Texture t = even(95, 80, 13, 60, 2.2);
  t.cleft_hu = -190;
  t.cleft_mm = Vec3(15, 15, 55);   // muscles run along the body
  return t;
}
Texture dried_organ() { return even(40, 80, 10, 70, 2.0); }
Texture cortical_bone() { return even(1180, 110, 25, 90, 1.2); }
Texture spongy_bone() { return even(300, 90, 12, 140, 1.4); }
Texture marrow_space() { return even(120, 60, 15, 60, 1.6); }
Texture tooth() { return even(1900, 150, 6, 100, 1.0); }
Texture resin() { return even(25, 14, 15, 8, 2.0); }
Texture faience() { return even(1550, 90, 6, 70, 1.2); }
Texture metal() { return even(6500, 0, 10, 0, 1); }
Texture wood() {
  // Growth rings run along the board, so both scales are long in z.
  return {-560, 30, Vec3(60, 14, 150), 45, Vec3(9, 1.8, 60)};
}
Texture fat() { return even(-100, 12, 20, 12, 2.0); }
Texture muscle() { return even(52, 12, 18, 14, 2.0); }
Texture skin() { return even(25, 15, 15, 12, 1.5); }
Texture brain() { return even(34, 6, 15, 8, 2.0); }
Texture lung() { return even(-850, 30, 25, 60, 1.8); }
Texture carbon_skin() { return even(120, 20, 30, 20, 1.5); }
Texture foam() { return even(-930, 8, 30, 10, 2.0); }

}  // namespace texture
}  // namespace leastharm::phantom

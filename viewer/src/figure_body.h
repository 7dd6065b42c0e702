#pragma once

#include <string>
#include <vector>

#include "body_view.h"
#include "directions.h"
#include "viewer/print.h"

namespace leastharm {

/// The whole object from two sides, made once a paper. A long body lies, its head to the left; a
/// squat one stands.
struct BodyPictures {
  bool lying = true;
  BodyView front, side;
};
[[nodiscard]] BodyPictures picture_body(const Paper& paper);

/// Both views, or the front alone, with every track, hole and label, as large as `where` allows.
/// Returns the height used.
double draw_body(cairo_t* cairo, const Rect& where, const BodyPictures& pictures,
                 const Paper& paper, bool both = true);

/// Labels of width `width` as near to where they are wanted as they can stand side by side between
/// `low` and `high`.
[[nodiscard]] std::vector<double> spread_labels(const std::vector<double>& wanted, double width,
                                                double low, double high);

}  // namespace leastharm

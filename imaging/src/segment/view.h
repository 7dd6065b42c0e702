#pragma once

#include <cstdint>
#include <limits>
#include <optional>
#include <vector>

#include "coarse.h"

namespace leastharm::segment_detail {

inline constexpr double kNothing = std::numeric_limits<double>::infinity();

/// What is seen from one end of a grid axis: the depth of the first matter in every column of blocks. Depth counts
/// in mm from the volume's outer face at that end; u and v are the other two axes in rising order.
struct View {
  int axis = 0;
  bool from_end = false;
  int u_axis = 0, v_axis = 0, columns = 0, rows = 0, layers = 0;
  double u_mm = 1, v_mm = 1, layer_mm = 1;   ///< block edges
  std::vector<double> depth;                 ///< u fastest; kNothing where there is no matter

  [[nodiscard]] std::size_t cell(int u, int v) const {
    return static_cast<std::size_t>(u) + static_cast<std::size_t>(columns) * static_cast<std::size_t>(v);
  }
  [[nodiscard]] std::size_t block(const Coarse& coarse, int u, int v, int layer) const;
  [[nodiscard]] int seen() const;
};

[[nodiscard]] View make_view(const Coarse& coarse, const Shares& shares, const std::vector<std::uint8_t>& peeled,
                             int axis, bool from_end);

/// A surface in a view whose depth is a profile over u, rising evenly with v.
struct Face {
  std::vector<double> profile_mm;   ///< for each column; kNothing where it has none
  double slope_v = 0;

  [[nodiscard]] double at(const View& view, int u, int v) const {
    return profile_mm[static_cast<std::size_t>(u)] + slope_v * (v * view.v_mm);
  }
};

/// The plane that most of the view lies on.
[[nodiscard]] std::optional<Face> flat_face(const View& view);
/// The profile that does not change along v: a curved table top seen from below.
[[nodiscard]] std::optional<Face> drawn_out_face(const View& view);

}  // namespace leastharm::segment_detail

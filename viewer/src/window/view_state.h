#pragma once

#include <string>

#include "slice.h"

namespace leastharm {

/// Where a person was looking. Kept with the case, bound by no approval.
struct ViewState {
  std::string track;     ///< id of the one shown
  double depth_mm = 20;  ///< of the depth line
  int slices_off = 0;    ///< from the scanner's slice through the line's point to the one shown
  GreyScale grey;
  bool hatches = false, confidence = false, words = true;
};

[[nodiscard]] std::string to_json_text(const ViewState& state);
/// The defaults where the text is not a view: a view is never worth refusing a case for.
[[nodiscard]] ViewState parse_view_state(const std::string& text);

}  // namespace leastharm

#include "window/view_state.h"

#include <cmath>
#include <nlohmann/json.hpp>

namespace leastharm {

using nlohmann::json;

std::string to_json_text(const ViewState& s) {
  return json{{"track", s.track},
              {"depth_mm", s.depth_mm},
              {"slices_off", s.slices_off},
              {"black_hu", s.grey.black_hu},
              {"white_hu", s.grey.white_hu},
              {"hatches", s.hatches},
              {"confidence", s.confidence},
              {"words", s.words}}
             .dump(1) +
         "\n";
}

ViewState parse_view_state(const std::string& text) {
  ViewState state;
  try {
    const json j = json::parse(text);
    ViewState read;
    read.track = j.value("track", read.track);
    read.depth_mm = j.value("depth_mm", read.depth_mm);
    read.slices_off = j.value("slices_off", read.slices_off);
    read.grey.black_hu = j.value("black_hu", read.grey.black_hu);
    read.grey.white_hu = j.value("white_hu", read.grey.white_hu);
    read.hatches = j.value("hatches", read.hatches);
    read.confidence = j.value("confidence", read.confidence);
    read.words = j.value("words", read.words);
    if (std::isfinite(read.depth_mm) && read.grey.white_hu > read.grey.black_hu) state = read;
  } catch (const json::exception&) {  // cut off, or from elsewhere: the defaults serve
  }
  return state;
}

}  // namespace leastharm

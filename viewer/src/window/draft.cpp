#include "window/draft.h"

namespace leastharm {

using nlohmann::json;

std::string outlines_text(const std::vector<Outline>& outlines) {
  json list = json::array();
  for (const Outline& outline : outlines) {
    json points = json::array();
    for (const Vec3& p : outline) points.push_back({p.x(), p.y(), p.z()});
    list.push_back(std::move(points));
  }
  json whole = json::object();
  whole["outlines_lps_mm"] = std::move(list);
  return whole.dump(1) + "\n";
}

std::vector<Outline> parse_outlines(const std::string& text) {
  try {
    std::vector<Outline> outlines;
    const json whole = json::parse(text);
    for (const json& points : whole.at("outlines_lps_mm")) {
      Outline outline;
      for (const json& p : points)
        outline.push_back({p.at(0).get<double>(), p.at(1).get<double>(), p.at(2).get<double>()});
      outlines.push_back(std::move(outline));
    }
    return outlines;
  } catch (const json::exception&) {
    return {};
  }
}

}  // namespace leastharm

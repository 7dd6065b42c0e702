#include <sstream>

#include "commands.h"

namespace leastharm {
namespace {

std::string quoted(const std::string& text) {
  std::string inside = text;
  for (std::size_t at = 0; (at = inside.find('"', at)) != std::string::npos; at += 2) inside.insert(at, 1, '"');
  return '"' + inside + '"';
}

}  // namespace

std::string tracks_csv(const Assessment& assessment) {
  std::ostringstream csv;
  csv << "id,request,side,admissible,needle,outer_mm,bore_mm,entry_x_lps_mm,entry_y_lps_mm,entry_z_lps_mm,tip_x_lps_mm,"
         "tip_y_lps_mm,tip_z_lps_mm,path_length_mm,entry_angle_deg,tilt_deg,hole_area_mm2,mass_mg,mass_mg_p05,mass_mg_p95,"
         "p_enough,p_reach,score";
  for (const std::string_view material : kMaterialNames)
    if (material != "air") csv << ",swept_" << material << "_mm3";
  csv << "\n";
  for (const TrackAssessment& t : assessment.tracks) {
    csv << quoted(t.track.id) << ',' << quoted(t.track.request) << ',' << quoted(t.side) << ',' << (t.admissible ? "yes" : "no")
        << ',' << quoted(t.track.needle.name) << ',' << t.track.needle.outer_mm << ',' << t.track.needle.bore_mm;
    for (const Vec3& p : {t.track.entry_lps_mm, t.track.tip_lps_mm})
      for (int n = 0; n < 3; ++n) csv << ',' << fixed(p[n], 2);
    csv << ',' << fixed(t.path_length_mm, 2) << ',' << fixed(t.entry_angle_deg, 2) << ',' << fixed(t.tilt_deg, 2) << ','
        << fixed(t.hole_area_mm2, 2) << ',' << fixed(t.core.mass_mg, 2) << ',' << fixed(t.core.mass_mg_p05, 2) << ','
        << fixed(t.core.mass_mg_p95, 2) << ',' << (t.core.p_enough ? fixed(*t.core.p_enough, 4) : "") << ','
        << fixed(t.p_reach, 4) << ',' << fixed(t.damage.score, 3);
    for (std::size_t m = 1; m < kMaterialCount; ++m) csv << ',' << fixed(t.swept_mm3[m], 3);
    csv << "\n";
  }
  return csv.str();
}

}  // namespace leastharm

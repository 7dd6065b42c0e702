#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "imaging/mask.h"
#include "viewer/print.h"

/// A paper about a body made from formulas, with figures made up by hand: it tests how a plan is
/// printed, never how it is worked out.
namespace leastharm::made {

inline constexpr double kCentreX = 14, kCentreY = -172, kFeetZ = 310;

/// The object's own coordinates: left, front, head, mm from the middle of the feet.
inline Vec3 own_of(const Vec3& lps) {
  return {lps.x() - kCentreX, kCentreY - lps.y(), lps.z() - kFeetZ};
}
inline Vec3 lps_of(const Vec3& own) {
  return {own.x() + kCentreX, kCentreY - own.y(), own.z() + kFeetZ};
}

/// Half width and half depth of the body at a height, mm.
inline std::array<double, 2> girth(double w) {
  static constexpr std::array<std::array<double, 3>, 12> knots{{{-12, 2, 2},
                                                                {8, 42, 46},
                                                                {60, 46, 44},
                                                                {250, 62, 50},
                                                                {400, 104, 70},
                                                                {520, 92, 64},
                                                                {640, 112, 74},
                                                                {700, 118, 64},
                                                                {728, 46, 46},
                                                                {765, 58, 68},
                                                                {830, 66, 78},
                                                                {880, 3, 3}}};
  if (w <= knots.front()[0]) return {0, 0};
  for (std::size_t n = 1; n < knots.size(); ++n)
    if (w < knots[n][0]) {
      const double t = (w - knots[n - 1][0]) / (knots[n][0] - knots[n - 1][0]);
      const bool first = n == 1, last = n + 1 == knots.size();  // round ends
      const double s = first  ? std::sqrt(1 - (1 - t) * (1 - t))
                       : last ? 1 - std::sqrt(1 - t * t)
                              : t * t * (3 - 2 * t);
      return {knots[n - 1][1] + s * (knots[n][1] - knots[n - 1][1]),
              knots[n - 1][2] + s * (knots[n][2] - knots[n - 1][2])};
    }
  return {0, 0};
}

inline bool within(double u, double v, double a, double b) {
  return a > 0 && b > 0 && u * u / (a * a) + v * v / (b * b) <= 1;
}

inline Material inside_trunk(const Vec3& p, double a, double b) {
  const double u = p.x(), v = p.y(), w = p.z();
  const double spine = std::hypot(u, v + b - 34);
  if (spine < 15) return std::fmod(w, 27) < 21 ? Material::bone : Material::body;
  if (w > 500 && within(u, v, a - 6, b - 6) && !within(u, v, a - 12, b - 11) &&
      std::fmod(w + 0.25 * std::abs(u), 25) < 9)
    return Material::bone;
  if (w < 415 || w > 645 || !within(u, v, a - 17, b - 14) || spine < 20 || std::abs(u) < 6)
    return Material::body;
  if (std::abs(u - 44) < 6 && std::abs(v - 20) < 8 && std::abs(w - 556) < 11)
    return Material::dense;
  if (v < -(b - 26)) return Material::resin;
  return v < 24 + 6 * std::sin(w / 30) ? Material::packing : Material::air;
}

inline Material material_of(const Vec3& p) {
  const double u = p.x(), v = p.y(), w = p.z();
  if (v < -92 && v > -112 && std::abs(u) < 135 && w > -20 && w < 905) return Material::support;
  const auto [a, b] = girth(w);
  if (a <= 0) return Material::air;
  const double wave = 0.9 * std::sin(w / 7.0) + 0.8 * std::sin(w / 5 + u / 9);
  if (!within(u, v, a + 11 + wave, b + 11 + wave)) return Material::air;
  if (!within(u, v, a, b)) return Material::wrapping;
  if (w > 395 && w < 690) return inside_trunk(p, a, b);
  if (w <= 395) {
    if (w < 380 && std::abs(u) < 3.5) return Material::wrapping;
    return std::hypot(std::abs(u) - a * 0.5, v + 4) < 9 + 4 * (std::abs(w - 190) > 160)
               ? Material::bone
               : Material::body;
  }
  if (w > 745 && within(u, v, a - 8, b - 8))
    return within(u, v, a - 14, b - 14) ? (v < -20 ? Material::body : Material::air)
                                        : Material::bone;
  return std::hypot(u, v + 12) < 12 ? Material::bone : Material::body;
}

inline double mean_hu(Material material) {
  static constexpr PerMaterial<double> hu{-1000, -700, 130, -775, 980, 20, 2600, -480};
  return hu[static_cast<std::size_t>(material)];
}

/// Everything a Paper refers to.
struct MadeCase {
  CaseFile file;
  OpenedCase volumes;
  Assessment assessment;
  std::vector<Alternative> alternatives;
  std::vector<Price> prices;

  [[nodiscard]] Paper paper() const {
    std::map<std::string, std::string> parts;
    for (const char* part : {"CT", "materials", "marks", "frame", "request", "weights", "needles",
                             "limits", "tracks", "waivers"})
      parts[part] = std::string(60, 'b') + std::string(part).substr(0, 2) + "00";
    return {file,  volumes, assessment, alternatives, prices, "3f2a91c0" + std::string(56, 'a'),
            parts, "test"};
  }
};

inline Grid made_grid() {
  Grid grid;
  grid.size = {158, 128, 320};
  grid.spacing_mm = {2.0, 1.9, 3.0};
  const double turn = 4 * M_PI / 180;
  grid.direction << std::cos(turn), -std::sin(turn), 0, std::sin(turn), std::cos(turn), 0, 0, 0, 1;
  grid.origin_lps_mm = Vec3(kCentreX, kCentreY, kFeetZ) + grid.direction * Vec3(-157, -105, -34);
  return grid;
}

inline void fill_volumes(OpenedCase& volumes) {
  const Grid grid = made_grid();
  volumes.ct.hu = {grid, std::vector<std::int16_t>(grid.voxel_count())};
  volumes.materials = {grid, std::vector<std::uint8_t>(grid.voxel_count())};
  volumes.confidence = {grid, std::vector<std::uint8_t>(grid.voxel_count(), 240)};
  std::uint32_t random = 12345;
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i) {
        const std::size_t n = grid.offset(i, j, k);
        const Material m = material_of(own_of(grid.lps_from_index(Vec3(i, j, k))));
        random = random * 1664525u + 1013904223u;
        const double noise = (random >> 16) % 121 - 60.0;
        volumes.materials.values[n] = static_cast<std::uint8_t>(m);
        volumes.ct.hu.values[n] = static_cast<std::int16_t>(std::max(-1024.0, mean_hu(m) + noise));
        if (n > 0 && volumes.materials.values[n - 1] != volumes.materials.values[n])
          volumes.confidence.values[n] = 140;
      }
  Body& body = volumes.body;
  body.grid = grid;
  body.hu = volumes.ct.hu.values;
  body.materials = volumes.materials.values;
  body.confidence = volumes.confidence.values;
}

/// A mask of the voxels where `inside` holds for the object's own coordinates.
template <typename Inside>
Mask mask_where(const Grid& grid, Inside inside) {
  Mask mask{grid, {0, 0, 0}, grid.size, std::vector<std::uint8_t>(grid.voxel_count(), 0)};
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i)
        mask.inside[grid.offset(i, j, k)] = inside(own_of(grid.lps_from_index(Vec3(i, j, k))));
  return mask;
}

inline void add_mark(MadeCase& made, const std::string& name, MarkKind kind, bool automatic,
                     Mask mask) {
  const double count =
      static_cast<double>(std::count(mask.inside.begin(), mask.inside.end(), std::uint8_t{1}));
  MarkRecord record{name,
                    kind,
                    0,
                    {{automatic ? "automatic" : "outlines", true}},
                    "marks/" + name + ".nrrd",
                    "",
                    count * mask.grid.voxel_volume_mm3()};
  made.file.marks.push_back(record);
  made.volumes.body.marks.push_back({name, kind, 0, automatic, std::move(mask)});
}

/// A track toward `tip` (own coordinates), coming from `degrees` above the object's left-to-right
/// line. Every number of the assessment is made up but for the crossings.
inline TrackAssessment made_track(const MadeCase& made, const std::string& id,
                                  const std::string& request, const Vec3& tip, double degrees) {
  const double angle = degrees * M_PI / 180;
  const Vec3 out(tip.x() > 0 ? std::cos(angle) : -std::cos(angle), std::sin(angle), 0);
  double length = 0;
  for (double s = 0; s < 250; s += 0.1)
    if (const Material m = material_of(tip + s * out); m != Material::air && m != Material::support)
      length = s;
  TrackAssessment t;
  t.track = {id, lps_of(tip + length * out), lps_of(tip), {}, request};
  t.track.needle.name = "8 G end-cut, 20 mm";
  t.track.needle.outer_mm = 4.19;
  t.track.needle.bore_mm = 3.43;
  t.track.needle.throw_mm = 20;
  t.track.needle.usable_mm = 150;
  t.path_length_mm = length;
  t.entry_angle_deg = 6 + std::abs(degrees) / 3;
  t.tilt_deg = 0.4;
  t.admissible = true;
  for (double s = 0; s < length; s += 0.1) {
    const Material m = material_of(tip + (length - s) * out);
    if (t.crossings.empty() || t.crossings.back().material != m) t.crossings.push_back({m, s, s});
    t.crossings.back().to_mm = s + 0.1;
  }
  std::map<std::string, double> harm;
  for (const Crossing& c : t.crossings) {
    const double volume = M_PI / 4 * 4.19 * 4.19 * (c.to_mm - c.from_mm);
    t.swept_mm3[static_cast<std::size_t>(c.material)] += volume;
    if (c.material != Material::air) {
      const PerMaterial<double> weight{0, 0.5, 1, 0.2, 4, 0.5, 20, 0};
      harm[std::string(name_of(c.material))] +=
          volume * weight[static_cast<std::size_t>(c.material)];
    }
  }
  t.damage.parts.assign(harm.begin(), harm.end());
  t.hole_area_mm2 = M_PI / 4 * 4.19 * 4.19 / std::cos(t.entry_angle_deg * M_PI / 180);
  t.damage.parts.emplace_back("hole", 2 * t.hole_area_mm2);
  for (const auto& part : t.damage.parts) t.damage.score += part.second;
  t.core.volume_mm3 = 184.8;
  t.core.mass_mg = 29.1;
  t.core.mass_mg_p05 = 22.4;
  t.core.mass_mg_p95 = 36.3;
  t.core.all_mass_mg = 29.4;
  t.core.p_enough = 0.972;
  t.p_reach = 0.993;
  for (const Mark& mark : made.volumes.body.marks)
    if (mark.kind == MarkKind::keep_out) {
      const Vec3 amulet(44, 20, 556);
      const double along = std::clamp((amulet - tip).dot(out), 0.0, length);
      t.clearance_mm[mark.name] = (tip + along * out - amulet).norm() - 9 - 2.1;
      t.p_touch[mark.name] = 0.0004;
      t.p_touch_se[mark.name] = 0.0001;
    }
  t.side = tip.x() > 0 ? "left" : "right";
  return t;
}

inline Assessment together(std::vector<TrackAssessment> tracks) {
  Assessment assessment;
  for (const TrackAssessment& t : tracks) {
    assessment.programme.score += t.damage.score;
    assessment.programme.mass_mg += t.core.mass_mg;
  }
  assessment.programme.mass_mg_p05 = 0.86 * assessment.programme.mass_mg;
  assessment.programme.mass_mg_p95 = 1.15 * assessment.programme.mass_mg;
  assessment.programme.p_enough["P"] = 0.91;
  assessment.programme.holes = static_cast<int>(tracks.size());
  assessment.tracks = std::move(tracks);
  return assessment;
}

inline RequestFile made_request() {
  RequestFile file;
  Request request;
  request.id = "P";
  request.cavity = "trunk packing";
  request.material = Material::packing;
  request.assays = {
      {"light microscopy", 0}, {"infrared spectroscopy", 1}, {"gas chromatography", 14}};
  request.retain_mg = 5;
  request.replicates = 4;
  request.sides = Sides::both;
  request.largest_particle_mm = 1.1;
  file.requests = {request};
  file.dossier.answers = {
      {"object",
       "A wrapped child of about seven years, on a wooden board. Invented for tests: no such "
       "object exists."},
      {"owner", "An invented collection"},
      {"question",
       "Was the same packing used on both sides of the spine? If so, one batch of plant matter and "
       "resin was made for "
       "this body. The answer tells how the child was cared for, and how the body must be kept "
       "from now on."},
      {"why not less",
       "The CT shows loose packing, but not what it is. Nothing can be seen from outside."},
      {"loose material", "None was found under the body or on the board."},
      {"smaller mass", "Below 14 mg the laboratory cannot tell the oils apart."},
      {"condition", "Stable. The outer wrapping is brittle at the feet."},
      {"stop rules", "Anyone in the room may stop the work at any time. They need not say why."},
      {"remains", "What the tests do not use goes back to the collection in glass."}};
  return file;
}

/// Tracks on both sides of the spine, in pairs from waist to chest.
inline std::vector<TrackAssessment> made_tracks(const MadeCase& made, int count,
                                                const std::string& prefix = "T") {
  std::vector<TrackAssessment> tracks;
  for (int n = 0; n < count; ++n) {
    const double side = n % 2 == 0 ? 1 : -1;
    tracks.push_back(made_track(
        made, prefix + std::to_string(n + 1), "P",
        Vec3(side * (34 + 3 * (n % 3)), -8, 450 + 82 * (n / 2) / std::max(1.0, count / 4.0)),
        24 + 9 * (n % 3)));
  }
  return tracks;
}

inline std::unique_ptr<MadeCase> make_case(int tracks = 4, const std::string& prefix = "T") {
  auto made = std::make_unique<MadeCase>();
  fill_volumes(made->volumes);
  const Grid& grid = made->volumes.body.grid;
  add_mark(*made, "trunk packing", MarkKind::cavity, false,
           mask_where(grid, [](const Vec3& p) { return material_of(p) == Material::packing; }));
  add_mark(*made, "dense-1", MarkKind::keep_out, true,
           mask_where(grid, [](const Vec3& p) { return material_of(p) == Material::dense; }));
  CaseFile& file = made->file;
  file.object_id = "Invented child 7";
  file.ct.series_uid = "2.25.1234567890";
  file.ct.frame_of_reference_uid = "2.25.987654321";
  file.ct.sha256 = std::string(64, 'c');
  file.ct.facts = {{"kVp", "120"}, {"kernel", "B30f"}, {"slice thickness mm", "3.0"}};
  file.ct.grid = grid;
  file.ct.air_check_hu = -998;
  file.ct.noise_hu = 35;
  file.materials_sha256 = std::string(64, 'd');
  for (const std::uint8_t m : made->volumes.materials.values)
    file.volume_mm3[m] += grid.voxel_volume_mm3();
  BodyFrame frame;
  frame.midline_lps_mm = {lps_of({0, -30, 400}), lps_of({0, -30, 690})};
  file.proposed_frame = frame;
  file.frame = frame;
  file.frame_by = "R. Invented, radiologist";
  file.frame_at = "2026-02-03T10:00:00Z";
  file.request = made_request();
  file.plan_version = 2;
  file.plan.certificate = Certificate{0, 1, "straight tracks, the listed needles", "none yet"};
  made->assessment = together(made_tracks(*made, tracks, prefix));
  for (const TrackAssessment& t : made->assessment.tracks) file.plan.tracks.push_back(t.track);
  const auto price = [&](LesserChoice choice, int cores) {
    return Price{choice, true, cores > 0 ? together(made_tracks(*made, cores, prefix)) : Assessment{},
                 conclusion_lost(*file.request, choice)};
  };
  made->prices = {price(LesserChoice::nothing, 0), price(LesserChoice::archived_material, 0),
                  price(LesserChoice::one_core, 1), price(LesserChoice::half_the_mass, 2)};
  Assessment exchanged = made->assessment;
  const std::string replaced = exchanged.tracks.front().track.id;
  exchanged.tracks.front().track.id = "A1";
  made->alternatives = {{"A1", "certainty", replaced, exchanged}};
  return made;
}

}  // namespace leastharm::made

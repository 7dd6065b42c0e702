#pragma once

#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "imaging/material.h"
#include "planner/density.h"
#include "planner/needle.h"

namespace leastharm {

struct Assay {
  std::string name;
  double uses_mg = 0;   ///< 0 for one that leaves the sample whole
};

enum class Sides { any, left, right, both };

/// What the laboratory asks.
struct Request {
  std::string id;
  std::string cavity;                    ///< mark name; empty = anywhere
  std::optional<Material> material;      ///< empty = packing or resin inside the cavity
  Filling filling = Filling::not_stated; ///< what the packing consists of: by it the packing is weighed
  std::vector<Assay> assays;
  double retain_mg = 0;                  ///< stays in the archive, of each replicate
  bool pooled = false;                   ///< the need is one total over the replicates
  int replicates = 1;
  double spacing_mm = 15;                ///< least distance between any two points of two core axes
  Sides sides = Sides::any;
  double largest_particle_mm = 0;        ///< 95 % sieve size; 0 = not known

  /// Of one replicate (or of all where pooled): what the assays use and what must remain, mg.
  [[nodiscard]] double need_mg() const;
  [[nodiscard]] bool wants(Material m) const {
    return material ? m == *material : m == Material::packing || m == Material::resin;
  }
};

/// Weights of the damage score. The team's to set; printed with every score.
struct Weights {
  PerMaterial<double> material;          ///< per mm3 displaced; body is 1 by definition of the scale; air 0
  double hole_mm = 2;                    ///< per mm2 of hole in the plain surface
  double protected_per_mm3 = 50;         ///< per mm3 of expected intrusion into a keep-out
  Weights();                             ///< starting values, reasons in DEVELOPERS.md
};

/// What a track must keep to.
struct Limits {
  double entry_angle_deg = 45, clearance_mm = 5, tilt_deg = 30, margin_mm = 0, bone_mm = 0,
         hole_spacing_mm = 20, p_enough_min = 0.9, p_touch_max = 0.01;
};

/// How far the needle lands from where it was aimed.
struct Placement {
  double placement_mm = 3;   ///< per-axis lateral standard deviation at the tip
  double depth_mm = 2;       ///< standard deviation along the track
  double shared_mm = 0;      ///< lateral part common to all tracks (registration)
};

/// The topics a dossier may answer.
[[nodiscard]] const std::vector<std::string>& dossier_topics();

/// What the committee is told about the object and the decision; free text by topic.
/// Absent topics print "not answered".
struct Dossier {
  std::map<std::string, std::string> answers;
};

/// A request file.
struct RequestFile {
  std::vector<Request> requests;
  std::vector<Needle> needles;
  Weights weights;
  Limits limits;
  Placement placement;
  Dossier dossier;
  double gap = 0.05;
  double time_s = 60;   ///< ceiling on the search for the bound; every direction is looked at once in any case
};

/// Reads a request file's JSON. Throws BadInput with the key's path, what is wrong and the allowed range or nearest
/// known name; nothing is guessed.
[[nodiscard]] RequestFile parse_request_file(const nlohmann::json& json);
[[nodiscard]] RequestFile read_request_file(const std::filesystem::path& path);
/// Every value, defaults included, as JSON: printed with every answer and kept in the case. Reads back to the same.
[[nodiscard]] nlohmann::json to_json(const RequestFile& file);

[[nodiscard]] Needle parse_needle(const nlohmann::json& json, const std::string& where);
[[nodiscard]] nlohmann::json to_json(const Needle& needle);
/// {"needles": [...]}: the catalogue, as the `needles` command prints it.
[[nodiscard]] nlohmann::json needles_json();
[[nodiscard]] nlohmann::json to_json(const Weights& weights);
[[nodiscard]] nlohmann::json to_json(const Limits& limits);
[[nodiscard]] nlohmann::json to_json(const Placement& placement);

}  // namespace leastharm

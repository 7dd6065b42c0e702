#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "planner/case.h"

namespace leastharm {

/// Voxels that a person gave another material, with what stood there before.
struct Stroke {
  struct Change {
    std::size_t offset = 0;
    std::uint8_t material = 0, confidence = 0, correction = 0;  ///< before the stroke
  };
  std::vector<Change> changes;
  Material to = Material::air;
};

/// All of a case that a person can change: what undo takes back, and what is kept after every
/// change.
struct Draft {
  CaseFile file;
  std::map<std::string, std::shared_ptr<const Mask>>
      masks;  ///< of the marks, by the hash of their voxels
  std::vector<std::shared_ptr<const Stroke>> strokes;  ///< since the case was opened, oldest first
  std::vector<Outline> outlines;  ///< drawn so far, for a mark in the making
  /// What a search proved for the request, marks and map as they stand; holds however the tracks
  /// are moved.
  std::optional<Certificate> bound;

  [[nodiscard]] const Mask* mask_of(const MarkRecord& record) const {
    const auto found = masks.find(record.sha256);
    return found == masks.end() ? nullptr : found->second.get();
  }
};

/// Outlines as the case folder keeps them until they have become a mark.
[[nodiscard]] std::string outlines_text(const std::vector<Outline>& outlines);
/// The inverse; none where the text is not such a list: they are not worth refusing a case for.
[[nodiscard]] std::vector<Outline> parse_outlines(const std::string& text);

/// What was done, and the draft before it.
struct Step {
  std::string what;
  Draft before;
};

}  // namespace leastharm

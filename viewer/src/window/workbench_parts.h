#pragma once

#include <memory>
#include <string>
#include <vector>

#include "window/workbench.h"

namespace leastharm {

/// "T1", "T2", ...: the first that no track has.
[[nodiscard]] std::string free_id(const std::vector<Track>& tracks);

/// What a case is when it has been read.
struct Workbench::Opened {
  std::unique_ptr<CaseFolder> folder;
  Draft draft;
  Volumes volumes;
  std::shared_ptr<const Volume<std::uint8_t>> corrections;
  std::shared_ptr<const Ground> ground;
  std::shared_ptr<const BodyViews> body_views;
  ViewState view;
};

/// A map with people's corrections in it, and what became of one more change.
struct Workbench::MapWork {
  Volumes volumes;
  std::shared_ptr<const Volume<std::uint8_t>>
      corrections;                       ///< null where nothing was ever corrected
  std::shared_ptr<const Stroke> stroke;  ///< the newest
  std::string materials_sha256, confidence_sha256;
  PerMaterial<double> volume_mm3{};
  /// Set where the dense objects may have changed: what is protected from now on.
  std::vector<std::pair<MarkRecord, std::shared_ptr<const Mask>>> dense;
  bool dense_changed = false;

  void take(std::shared_ptr<const Volume<std::uint8_t>> materials,
            std::shared_ptr<const Volume<std::uint8_t>> confidence,
            std::shared_ptr<const Volume<std::uint8_t>> kept);
  void find_dense();
};

}  // namespace leastharm

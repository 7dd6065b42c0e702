#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

namespace leastharm {

/// What a voxel of the material map holds. The numbers are the label values in files.
enum class Material : std::uint8_t { air, wrapping, body, packing, bone, resin, dense, support };

inline constexpr std::size_t kMaterialCount = 8;
inline constexpr std::array<std::string_view, kMaterialCount> kMaterialNames{
    "air", "wrapping", "body", "packing", "bone", "resin", "dense", "support"};

[[nodiscard]] constexpr std::string_view name_of(Material m) {
  return kMaterialNames[static_cast<std::size_t>(m)];
}

[[nodiscard]] constexpr std::optional<Material> material_named(std::string_view name) {
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    if (kMaterialNames[m] == name) return static_cast<Material>(m);
  return std::nullopt;
}

/// One number for each material, indexed by its label.
template <typename T>
using PerMaterial = std::array<T, kMaterialCount>;

}  // namespace leastharm

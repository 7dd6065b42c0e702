#include "dense.h"

#include <algorithm>
#include <array>
#include <vector>

#include "denoise.h"
#include "runs.h"

namespace leastharm::segment_detail {
namespace {

constexpr double kLargestInclusion_mm3 = 60000, kLeastInclusion_mm3 = 8;
constexpr int kBright_hu = 1250;       ///< of the brightest tenth of a piece anywhere,
constexpr double kOverBone = 1.15;     ///< and this many times the HU of the body's compact bone
constexpr int kBrightApart_hu = 950;   ///< the same of a compact piece that hardly touches tissue
constexpr double kLeastCompact = 0.3;  ///< share of the box around it that a compact piece fills: a skull or a rib fills less
constexpr double kSolidShare = 0.45, kSolidApart = 0.3;   ///< of a piece's voxels above 0.6 of that; of a small piece apart from tissue much is rim
constexpr double kMostTissue = 0.4;    ///< share of the surface of a piece that hardly touches tissue
constexpr int kMetal_hu = 2700, kMetalRim_hu = 2100;

struct PieceOfMineral {
  std::array<std::int64_t, 256> levels{};
  std::int64_t voxels = 0, tissue_faces = 0, other_faces = 0;
  std::array<int, 3> low{1 << 30, 1 << 30, 1 << 30}, high{-1, -1, -1};

  [[nodiscard]] bool compact() const {
    double box = 1;
    for (std::size_t a = 0; a < 3; ++a) box *= high[a] - low[a] + 1;
    return static_cast<double>(voxels) >= kLeastCompact * box;
  }
};

/// The level that the densest tenth exceeds.
int bright_level(const std::array<std::int64_t, 256>& levels, std::int64_t voxels) {
  std::int64_t above = 0;
  int bright = 255;
  while (bright > 0 && (above += levels[static_cast<std::size_t>(bright)]) * 10 < voxels) --bright;
  return bright;
}

std::uint8_t material(std::uint8_t c) { return c & code::kMaterial; }

void count_faces(const Run& run, const Volume<std::uint8_t>& codes, PieceOfMineral& piece) {
  const auto& n = codes.grid.size;
  const std::ptrdiff_t row = n[0], slice = row * n[1];
  const std::uint8_t* c = codes.values.data() + codes.grid.offset(run.first, run.j, run.k);
  const auto look = [&](const std::uint8_t* v) {
    if (material(*v) == label(Material::body)) ++piece.tissue_faces;
    else if (material(*v) != label(Material::bone)) ++piece.other_faces;
  };
  for (int i = run.first; i <= run.last; ++i, ++c) {
    if (i > 0) look(c - 1);
    if (i + 1 < n[0]) look(c + 1);
    if (run.j > 0) look(c - row);
    if (run.j + 1 < n[1]) look(c + row);
    if (run.k > 0) look(c - slice);
    if (run.k + 1 < n[2]) look(c + slice);
  }
}

bool is_inclusion(const PieceOfMineral& piece, double voxel_mm3, int compact_bone_hu) {
  const double volume = static_cast<double>(piece.voxels) * voxel_mm3;
  if (volume < kLeastInclusion_mm3 || volume > kLargestInclusion_mm3) return false;
  const int bright = bright_level(piece.levels, piece.voxels);
  const int solid_from = level_of(static_cast<int>(0.6 * hu_of(bright)));
  std::int64_t solid = 0;
  for (int b = solid_from; b < 256; ++b) solid += piece.levels[static_cast<std::size_t>(b)];
  const double tissue = static_cast<double>(piece.tissue_faces);
  const bool apart = tissue <= kMostTissue * (tissue + static_cast<double>(piece.other_faces));
  if (static_cast<double>(solid) < (apart ? kSolidApart : kSolidShare) * static_cast<double>(piece.voxels)) return false;
  if (apart && piece.compact() && hu_of(bright) >= kBrightApart_hu) return true;
  if (!apart && !piece.compact()) return false;   // a limb's bones may be denser than all the others
  return hu_of(bright) >= std::max<double>(kBright_hu, kOverBone * compact_bone_hu);
}

void relabel(const Run& run, Volume<std::uint8_t>& codes) {
  std::fill_n(codes.values.begin() + static_cast<std::ptrdiff_t>(codes.grid.offset(run.first, run.j, run.k)), run.length(),
              label(Material::dense));
}

void find_metal(const Volume<std::uint8_t>& levels, int threads, Volume<std::uint8_t>& codes) {
  ByteSet bright{};
  for (std::size_t b = static_cast<std::size_t>(level_of(kMetalRim_hu)); b < 256; ++b) bright[b] = true;
  const RunPieces pieces = pieces_of(levels.grid.size, levels.values.data(), bright, true, threads);
  std::vector<std::uint8_t> metal(static_cast<std::size_t>(pieces.pieces));
  for (const Run& run : pieces.runs) {
    const std::uint8_t* v = levels.values.data() + levels.grid.offset(run.first, run.j, run.k);
    for (int n = 0; n < run.length(); ++n)
      if (v[n] >= level_of(kMetal_hu)) metal[static_cast<std::size_t>(run.piece)] = 1;
  }
  for (const Run& run : pieces.runs)
    if (metal[static_cast<std::size_t>(run.piece)]) relabel(run, codes);
}

}  // namespace

void find_dense(const Volume<std::uint8_t>& levels, const LevelCounts& counts, int threads, Volume<std::uint8_t>& codes) {
  if (std::any_of(counts.begin() + level_of(kMetal_hu), counts.end(), [](std::int64_t n) { return n > 0; })) find_metal(levels, threads, codes);
  ByteSet mineral{};
  for (std::size_t c = 0; c < 256; ++c)
    mineral[c] = material(static_cast<std::uint8_t>(c)) == label(Material::bone) ||
                 material(static_cast<std::uint8_t>(c)) == label(Material::dense);
  const RunPieces pieces = pieces_of(codes.grid.size, codes.values.data(), mineral, true, threads);
  std::vector<PieceOfMineral> list(static_cast<std::size_t>(pieces.pieces));
  for (const Run& run : pieces.runs) {
    PieceOfMineral& piece = list[static_cast<std::size_t>(run.piece)];
    piece.voxels += run.length();
    const std::uint8_t* v = levels.values.data() + levels.grid.offset(run.first, run.j, run.k);
    for (int n = 0; n < run.length(); ++n) ++piece.levels[v[n]];
    count_faces(run, codes, piece);
    piece.low = {std::min(piece.low[0], run.first), std::min(piece.low[1], run.j), std::min(piece.low[2], run.k)};
    piece.high = {std::max(piece.high[0], run.last), std::max(piece.high[1], run.j), std::max(piece.high[2], run.k)};
  }
  std::array<std::int64_t, 256> all{};
  std::int64_t voxels = 0;
  for (const PieceOfMineral& piece : list) {
    voxels += piece.voxels;
    for (std::size_t b = 0; b < all.size(); ++b) all[b] += piece.levels[b];
  }
  const int compact_bone_hu = hu_of(bright_level(all, voxels));
  for (const Run& run : pieces.runs)
    if (is_inclusion(list[static_cast<std::size_t>(run.piece)], codes.grid.voxel_volume_mm3(), compact_bone_hu)) relabel(run, codes);
}

}  // namespace leastharm::segment_detail

#include "enclosed.h"

#include <algorithm>
#include <array>
#include <numeric>
#include <vector>

#include "eight.h"
#include "parallel.h"
#include "runs.h"

namespace leastharm::segment_detail {
namespace {

constexpr std::uint8_t kHalfAxis = 0x08;   // steps of the count: bone at one end, air or fibre at the other;
constexpr std::uint8_t kOneAxis = 0x10;    // bone at both
constexpr std::uint8_t kFar = 255;

constexpr std::uint8_t kBone = label(Material::bone), kTissue = label(Material::body);

std::uint8_t material(std::uint8_t c) { return c & code::kMaterial; }

/// Counts an axis for the tissue between bone and bone along lines that run from row to row, where it is no wider than `widest`; and, if
/// `half`, half an axis for what lies between bone and air or fibre.
class LineSet {
 public:
  LineSet(int width, bool half) : half_(half), since_(static_cast<std::size_t>(width)), from_bone_(since_.size()), closed_(since_.size()) {}

  void count(std::uint8_t* first_row, std::ptrdiff_t stride, int rows, int widest) {
    std::ranges::fill(since_, kFar);
    for (int r = 0; r < rows; ++r) {
      std::uint8_t* row = first_row + r * stride;
      half_ ? step_half(row, static_cast<std::uint8_t>(widest)) : step(row, static_cast<std::uint8_t>(widest));
      std::size_t i = 0;
      const auto mark = [&] {
        const std::uint8_t add = half_ && !(from_bone_[i] & kWhole) ? kHalfAxis : kOneAxis;
        for (std::ptrdiff_t n = 1; n < closed_[i]; ++n) {
          std::uint8_t& c = row[static_cast<std::ptrdiff_t>(i) - n * stride];
          c = static_cast<std::uint8_t>(c + add);
        }
      };
      while (i < closed_.size()) {
        if (i + 8 <= closed_.size() && eight_at(&closed_[i]) == 0) i += 8;
        else mark(), ++i;
      }
    }
  }

 private:
  static constexpr std::uint8_t kFromBone = 1, kWhole = 2;   // what a line began with; whether the one just closed has bone at both ends

  /// One row on: steps since bone, through tissue alone; and for bone that closes a gap, the steps across that gap.
  void step(const std::uint8_t* row, std::uint8_t widest) {
    std::uint8_t* const since = since_.data();
    std::uint8_t* const closed = closed_.data();
    const std::size_t width = since_.size();
    for (std::size_t i = 0; i < width; ++i) {
      const auto next = static_cast<std::uint8_t>(since[i] == kFar ? kFar : since[i] + 1);
      const std::uint8_t m = row[i] & code::kMaterial;
      closed[i] = m == kBone && next <= widest ? next : std::uint8_t{0};
      since[i] = m == kBone ? std::uint8_t{0} : m == kTissue ? next : kFar;
    }
  }
  /// The same, where air and fibre end a line, too, if bone is at its other end.
  void step_half(const std::uint8_t* row, std::uint8_t widest) {
    std::uint8_t* const since = since_.data();
    std::uint8_t* const closed = closed_.data();
    std::uint8_t* const from = from_bone_.data();
    const std::size_t width = since_.size();
    for (std::size_t i = 0; i < width; ++i) {
      const auto next = static_cast<std::uint8_t>(since[i] + (since[i] != kFar));
      const std::uint8_t m = row[i] & code::kMaterial, began = from[i] & kFromBone;
      const std::uint8_t bone = m == kBone, tissue = m == kTissue, near = next <= widest;   // 0 or 1, so that no branch is needed
      const auto ends = static_cast<std::uint8_t>((tissue ^ 1) & near & (bone | began));
      closed[i] = static_cast<std::uint8_t>(ends * next);
      since[i] = static_cast<std::uint8_t>(tissue * next);
      from[i] = static_cast<std::uint8_t>((tissue & began) | bone | (bone & began) * kWhole);
    }
  }

  bool half_;
  std::vector<std::uint8_t> since_, from_bone_, closed_;
};

void count_along_row(std::uint8_t* row, int width, int widest, bool half) {
  int end = -kFar;   // the last one, with nothing but tissue since
  bool bone = false;
  for (int i = 0; i < width; ++i) {
    const std::uint8_t m = material(row[i]);
    if (m == kTissue) {
      while (i + 8 < width && eight_at(row + i + 1) == eight_of(row[i])) i += 8;
      continue;
    }
    const bool here = m == kBone;
    if (i - end <= widest && ((here && bone) || (half && (here || bone)))) {
      const std::uint8_t add = here && bone ? kOneAxis : kHalfAxis;
      for (int n = end + 1; n < i; ++n) row[n] = static_cast<std::uint8_t>(row[n] + add);
    }
    end = here || half ? i : -kFar;
    bone = here;
  }
}

/// The part of the grid that holds all bone: first and last voxel along each axis.
struct Extent {
  std::array<int, 3> first{0, 0, 0}, last{-1, -1, -1};

  [[nodiscard]] bool empty() const { return last[0] < first[0]; }
};

/// Marks the columns where a row holds bone; whether it holds any.
bool mark_bone(const std::uint8_t* row, std::size_t width, std::uint8_t* columns) {
  std::uint8_t any = 0;
  for (std::size_t i = 0; i < width; ++i) {
    const std::uint8_t bone = material(row[i]) == kBone ? 1 : 0;
    columns[i] |= bone, any |= bone;
  }
  return any != 0;
}

Extent extent_of_bone(const Volume<std::uint8_t>& codes, int threads) {
  const auto& n = codes.grid.size;
  const auto width = static_cast<std::size_t>(n[0]);
  std::vector<std::vector<std::uint8_t>> columns(static_cast<std::size_t>(n[2]));   // along i, a slice each
  std::vector<std::array<int, 2>> rows(columns.size());
  for_chunks(n[2], 1, threads, [&](int k, int, int) {
    columns[static_cast<std::size_t>(k)].assign(width, 0);
    rows[static_cast<std::size_t>(k)] = {n[1], -1};
    for (int j = 0; j < n[1]; ++j) {
      if (!mark_bone(codes.values.data() + codes.grid.offset(0, j, k), width, columns[static_cast<std::size_t>(k)].data())) continue;
      rows[static_cast<std::size_t>(k)][0] = std::min(rows[static_cast<std::size_t>(k)][0], j);
      rows[static_cast<std::size_t>(k)][1] = j;
    }
  });
  Extent extent{n, {-1, -1, -1}};
  for (int k = 0; k < n[2]; ++k) {
    const auto& [low, high] = rows[static_cast<std::size_t>(k)];
    if (high < 0) continue;
    extent.first = {extent.first[0], std::min(extent.first[1], low), std::min(extent.first[2], k)};
    extent.last = {extent.last[0], std::max(extent.last[1], high), k};
    const auto& column = columns[static_cast<std::size_t>(k)];
    for (int i = 0; i < n[0]; ++i)
      if (column[static_cast<std::size_t>(i)]) extent.first[0] = std::min(extent.first[0], i), extent.last[0] = std::max(extent.last[0], i);
  }
  return extent;
}

constexpr double kMostOpen = 0.04;        ///< share of a piece's surface
constexpr double kMostOpenDense = 0.3;   ///< the same of a piece clearly denser than tissue, or of one that bone encloses along all three axes
constexpr int kClearlyDenser = 5;         ///< levels above tissue's peak

struct Surface {
  std::int64_t open = 0, closed = 0, voxels = 0, level_sum = 0;

  void add(const Surface& other) {
    open += other.open;
    closed += other.closed;
    voxels += other.voxels;
    level_sum += other.level_sum;
  }
};

bool candidate(std::uint8_t c) { return (c & code::kCount) >= 2 * kOneAxis; }

constexpr auto without_count = [](std::uint8_t c) { return static_cast<std::uint8_t>(c & ~code::kCount); };

/// Leaves only what bone encloses along all three axes, at one end of one of them perhaps unseen.
constexpr auto without_tunnel = [](std::uint8_t c) {
  return (c & code::kCount) < 2 * kOneAxis + kHalfAxis ? without_count(c) : c;
};

/// A run's voxels and their faces: to bone (closed), or to tissue that is no candidate (open).
Surface surface_of(const Run& run, const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes) {
  const auto& n = codes.grid.size;
  const std::ptrdiff_t row = n[0], slice = row * n[1];
  const std::uint8_t* level = levels.values.data() + levels.grid.offset(run.first, run.j, run.k);
  Surface surface{.voxels = run.length(), .level_sum = std::accumulate(level, level + run.length(), std::int64_t{0})};
  const auto look = [&](const std::uint8_t* v) {
    if (material(*v) == kBone) ++surface.closed;
    else if (!candidate(*v)) ++surface.open;
  };
  const std::uint8_t* v = codes.values.data() + codes.grid.offset(run.first, run.j, run.k);
  if (run.first > 0) look(v - 1);
  if (run.last + 1 < n[0]) look(v + run.length());
  for (int i = run.first; i <= run.last; ++i, ++v) {
    if (run.j > 0) look(v - row);
    if (run.j + 1 < n[1]) look(v + row);
    if (run.k > 0) look(v - slice);
    if (run.k + 1 < n[2]) look(v + slice);
  }
  return surface;
}

bool is_bone(const Surface& s, int tissue_peak, bool all_round) {
  const double share = static_cast<double>(s.open) / static_cast<double>(std::max<std::int64_t>(1, s.open + s.closed));
  return share <= (all_round || s.level_sum >= s.voxels * (tissue_peak + kClearlyDenser) ? kMostOpenDense : kMostOpen);
}

/// Whether the voxels around one, and itself, are on average at least this dense.
bool dense_around(const Volume<std::uint8_t>& levels, int i, int j, int k, int least) {
  const auto& n = levels.grid.size;
  int sum = 0, voxels = 0;
  for (int c = std::max(0, k - 1); c <= std::min(n[2] - 1, k + 1); ++c)
    for (int b = std::max(0, j - 1); b <= std::min(n[1] - 1, j + 1); ++b)
      for (int a = std::max(0, i - 1); a <= std::min(n[0] - 1, i + 1); ++a) sum += levels.values[levels.grid.offset(a, b, c)], ++voxels;
  return sum >= least * voxels;
}

void drop_light(const Volume<std::uint8_t>& levels, int least, int threads, Volume<std::uint8_t>& codes) {
  const auto& n = codes.grid.size;
  for_chunks(n[2], 1, threads, [&](int k, int, int) {
    for (int j = 0; j < n[1]; ++j) {
      std::uint8_t* row = codes.values.data() + codes.grid.offset(0, j, k);
      for (int i = 0; i < n[0]; ++i)
        if (candidate(row[i]) && !dense_around(levels, i, j, k, least)) row[i] = without_count(row[i]);
    }
  });
}

void fill_closed(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, bool all_round, int threads,
                 Volume<std::uint8_t>& codes) {
  ByteSet set{};
  for (std::size_t c = 0; c < set.size(); ++c) set[c] = candidate(static_cast<std::uint8_t>(c));
  const RunPieces candidates = pieces_of(codes.grid.size, codes.values.data(), set, false, threads);
  std::vector<Surface> of_runs(candidates.runs.size()), surfaces(static_cast<std::size_t>(candidates.pieces));
  for_chunks(static_cast<int>(of_runs.size()), 1024, threads, [&](int, int first, int last) {
    for (auto r = static_cast<std::size_t>(first); r < static_cast<std::size_t>(last); ++r)
      of_runs[r] = surface_of(candidates.runs[r], levels, codes);
  });
  for (std::size_t r = 0; r < of_runs.size(); ++r) surfaces[static_cast<std::size_t>(candidates.runs[r].piece)].add(of_runs[r]);
  for (const Run& run : candidates.runs) {
    if (!is_bone(surfaces[static_cast<std::size_t>(run.piece)], thresholds.tissue_peak, all_round)) continue;
    std::fill_n(codes.values.begin() + static_cast<std::ptrdiff_t>(codes.grid.offset(run.first, run.j, run.k)),
                run.length(), kBone);
  }
  change_codes(threads, without_count, codes);
}

/// Counts for each voxel of tissue along how many axes bone lies both ways.
void count_axes(const Extent& bone, const Filling& filling, int threads, Volume<std::uint8_t>& codes) {
  std::array<int, 3> widest{}, size{};
  for (std::size_t a = 0; a < 3; ++a) {
    widest[a] = std::min(kFar - 1, static_cast<int>(filling.widest_mm / codes.grid.spacing_mm[static_cast<Eigen::Index>(a)]) + 1);
    size[a] = bone.last[a] - bone.first[a] + 1;
  }
  const auto at = [&](int j, int k) { return codes.values.data() + codes.grid.offset(bone.first[0], bone.first[1] + j, bone.first[2] + k); };
  const std::ptrdiff_t row = codes.grid.size[0], slice = row * codes.grid.size[1];
  for_chunks(size[2], 4, threads, [&](int, int first, int last) {
    LineSet lines(size[0], filling.all_round);
    for (int k = first; k < last; ++k) {
      for (int j = 0; j < size[1]; ++j) count_along_row(at(j, k), size[0], widest[0], filling.all_round);
      lines.count(at(0, k), row, size[1], widest[1]);
    }
  });
  for_chunks(size[1], 4, threads, [&](int, int first, int last) {
    LineSet lines(size[0], filling.all_round);
    for (int j = first; j < last; ++j) lines.count(at(j, 0), slice, size[2], widest[2]);
  });
}

}  // namespace

void fill_bone(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, std::initializer_list<Filling> fillings,
               int threads, Volume<std::uint8_t>& codes) {
  const Extent bone = extent_of_bone(codes, threads);   // nothing beyond it can be enclosed
  if (bone.empty()) return;
  for (const Filling& filling : fillings) {
    count_axes(bone, filling, threads, codes);
    if (filling.all_round) change_codes(threads, without_tunnel, codes);
    if (filling.least_level > 0) drop_light(levels, filling.least_level, threads, codes);
    fill_closed(levels, thresholds, filling.all_round, threads, codes);
  }
}

}  // namespace leastharm::segment_detail

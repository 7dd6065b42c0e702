#include "skin.h"

#include <algorithm>
#include <array>
#include <vector>

#include "eight.h"
#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

constexpr int kCell = 16;                  ///< voxels an edge of the places that are judged
constexpr double kOverUsual = 1.6;         ///< so many times as wide as inside the body is linen,
constexpr double kLeastWidth = 0.8;        ///< in voxels; at least this,
constexpr double kOtherwise = 1.4;         ///< and this where the body shows no air inside
constexpr std::int64_t kLeastFaces = 2000; ///< that must be seen inside
constexpr double kFold_mm = 15;            ///< linen so near beyond air makes a fold
constexpr double kThickShare = 0.03;       ///< of the skin: linen that is nowhere thin, even if only there

constexpr std::uint8_t kOut = 1, kInAir = 2, kTissue = 4;

using Table = std::array<std::uint8_t, 256>;

/// What a code is to the skin.
Table kinds() {
  Table table{};
  for (std::size_t c = 0; c < 256; ++c) {
    const auto material = static_cast<std::uint8_t>(c & code::kMaterial);
    if (material == label(Material::body) || material == label(Material::bone)) table[c] = kTissue;
    else if (material <= label(Material::wrapping) && (c & code::kOutside)) table[c] = kOut;
    else if (material == label(Material::air) && (c & code::kInside)) table[c] = kInAir;
  }
  return table;
}

struct Seen {
  std::int64_t faces = 0, between = 0, inner_faces = 0, inner_between = 0, thick = 0;

  void add(const Seen& s) {
    faces += s.faces, between += s.between, inner_faces += s.inner_faces, inner_between += s.inner_between, thick += s.thick;
  }
};

/// The mean width in voxels of what lies between air and tissue: its volume over the area, which is that of the faces by 1.5.
double width(std::int64_t between, std::int64_t faces) {
  return faces > 0 ? 1.5 * static_cast<double>(between) / static_cast<double>(faces) : 0;
}

class Skin {
 public:
  explicit Skin(const Volume<std::uint8_t>& codes) : codes_(codes), table_(kinds()), slice_(static_cast<std::ptrdiff_t>(codes.grid.size[0]) * codes.grid.size[1]) {
    for (std::size_t a = 0; a < 3; ++a) cells_[a] = (codes.grid.size[a] + kCell - 1) / kCell;
    seen_.resize(static_cast<std::size_t>(cells_[0]) * static_cast<std::size_t>(cells_[1]) * static_cast<std::size_t>(cells_[2]));
  }

  void look(int threads) {
    for_chunks(codes_.grid.size[2], kCell, threads, [&](int, int first, int last) {
      std::vector<std::uint8_t> here(static_cast<std::size_t>(slice_)), above(here);
      fill(first, here);
      for (int k = first; k < last; ++k) {
        if (k + 1 < codes_.grid.size[2]) fill(k + 1, above);
        for (int j = 0; j < codes_.grid.size[1]; ++j) look_along(j, k, here, above);
        std::swap(here, above);
      }
    });
  }
  [[nodiscard]] Seen all() const {
    Seen sum;
    for (const Seen& s : seen_) sum.add(s);
    return sum;
  }
  [[nodiscard]] Seen around(int a, int b, int c) const {
    Seen sum;
    for (int z = std::max(0, c - 1); z <= std::min(cells_[2] - 1, c + 1); ++z)
      for (int y = std::max(0, b - 1); y <= std::min(cells_[1] - 1, b + 1); ++y)
        for (int x = std::max(0, a - 1); x <= std::min(cells_[0] - 1, a + 1); ++x) sum.add(seen_[cell(x, y, z)]);
    return sum;
  }
  [[nodiscard]] const std::array<int, 3>& cells() const { return cells_; }
  /// Whether a mixed voxel lies outside: it is air there, or tissue's outermost layer.
  [[nodiscard]] bool mixed_outside(int i, int j, int k) const { return mixed_at(i, j, k, kOut); }

  /// Whether fibre lies beyond some air from a mixed voxel, along any axis: then the skin is bare under a fold.
  [[nodiscard]] bool under_fold(int i, int j, int k) const {
    const std::array<int, 3> at{i, j, k};
    const std::uint8_t* c = codes_.values.data() + codes_.grid.offset(i, j, k);
    const auto stride = codes_.grid.strides();
    for (std::size_t a = 0; a < 3; ++a)
      for (const int sign : {-1, 1}) {
        const int reach = static_cast<int>(kFold_mm / codes_.grid.spacing_mm[static_cast<Eigen::Index>(a)]) + 1;
        const int room = std::min(reach, sign < 0 ? at[a] : codes_.grid.size[a] - 1 - at[a]);
        bool air = false;
        for (int n = 1; n <= room; ++n) {
          const std::uint8_t there = c[sign * n * stride[a]];
          if (table_[there] != kOut) break;
          const bool fibre = (there & code::kMaterial) == label(Material::wrapping);
          if (air && fibre) return true;
          air = air || (!fibre && !(there & code::kMixed));
          if (!air && n > 2) break;
        }
      }
    return false;
  }

 private:
  void fill(int k, std::vector<std::uint8_t>& kinds_of) const {
    const std::uint8_t* c = codes_.values.data() + slice_ * k;
    for (std::size_t v = 0; v < kinds_of.size(); ++v) kinds_of[v] = table_[c[v]];
  }
  [[nodiscard]] std::size_t cell(int a, int b, int c) const {
    return static_cast<std::size_t>(a) + static_cast<std::size_t>(cells_[0]) * (static_cast<std::size_t>(b) + static_cast<std::size_t>(cells_[1]) * static_cast<std::size_t>(c));
  }
  static void count(const std::uint8_t* a, const std::uint8_t* b, int n, Seen& seen) {
    int out = 0, in = 0;
    for (int i = 0; i < n; ++i) out += (a[i] | b[i]) == (kOut | kTissue), in += (a[i] | b[i]) == (kInAir | kTissue);
    seen.faces += out, seen.inner_faces += in;
  }
  void look_along(int j, int k, const std::vector<std::uint8_t>& here, const std::vector<std::uint8_t>& above) {
    const auto [w, h, d] = codes_.grid.size;
    const std::uint8_t* row = here.data() + static_cast<std::ptrdiff_t>(w) * j;
    const std::uint8_t* over = above.data() + static_cast<std::ptrdiff_t>(w) * j;
    const std::uint8_t* c = codes_.values.data() + codes_.grid.offset(0, j, k);
    for (int a = 0; a < cells_[0]; ++a) {
      const int first = a * kCell, last = std::min(w, first + kCell);
      int any = 0;
      for (int i = first; i < last; ++i) any |= row[i];
      int marked = 0;
      for (int i = first; i < last; ++i) marked |= (c[i] & code::kMixed) | (c[i] & code::kMaterial) * 2;
      if (marked == 0 && !(any & kTissue)) continue;
      Seen& seen = seen_[cell(a, j / kCell, k / kCell)];
      count(row + first, row + first + 1, std::min(w - 1, last) - first, seen);
      if (j + 1 < h) count(row + first, row + w + first, last - first, seen);
      if (k + 1 < d) count(row + first, over + first, last - first, seen);
      for (int i = first; i < last; ++i) {
        if (c[i] & code::kMixed) {
          seen.between += mixed_at(i, j, k, kOut);
          seen.inner_between += mixed_at(i, j, k, kInAir);
        } else if ((c[i] & code::kMaterial) == label(Material::wrapping) && row[i] == kOut) {
          ++seen.between;
          seen.thick += thick(i, j, k);
        }
      }
    }
  }
  /// Fibre with fibre on all six sides.
  [[nodiscard]] bool thick(int i, int j, int k) const {
    const auto [w, h, d] = codes_.grid.size;
    if (i == 0 || j == 0 || k == 0 || i + 1 == w || j + 1 == h || k + 1 == d) return false;
    const std::uint8_t* c = codes_.values.data() + codes_.grid.offset(i, j, k);
    for (const std::ptrdiff_t step : {std::ptrdiff_t{1}, std::ptrdiff_t{w}, slice_})
      if ((c[step] & code::kMaterial) != label(Material::wrapping) || (c[-step] & code::kMaterial) != label(Material::wrapping)) return false;
    return true;
  }
  [[nodiscard]] bool mixed_at(int i, int j, int k, std::uint8_t kind) const {
    const auto [w, h, d] = codes_.grid.size;
    const std::uint8_t* c = codes_.values.data() + codes_.grid.offset(i, j, k);
    if (table_[*c] != kTissue) return table_[*c] == kind;
    return (i > 0 && table_[c[-1]] == kind) || (i + 1 < w && table_[c[1]] == kind) || (j > 0 && table_[c[-w]] == kind) ||
           (j + 1 < h && table_[c[w]] == kind) || (k > 0 && table_[c[-slice_]] == kind) || (k + 1 < d && table_[c[slice_]] == kind);
  }

  const Volume<std::uint8_t>& codes_;
  Table table_;
  std::ptrdiff_t slice_;
  std::array<int, 3> cells_{};
  std::vector<Seen> seen_;
};

/// Visits the mixed voxels outside, by the cell they lie in.
template <typename Wanted>
void restore(const Skin& skin, const Wanted& wanted, int threads, Volume<std::uint8_t>& codes) {
  const auto& n = codes.grid.size;
  std::vector<std::vector<std::size_t>> found(static_cast<std::size_t>(skin.cells()[2]));
  for_chunks(skin.cells()[2], 1, threads, [&](int c, int, int) {
    for (int b = 0; b < skin.cells()[1]; ++b)
      for (int a = 0; a < skin.cells()[0]; ++a) {
        if (!wanted(skin.around(a, b, c))) continue;
        for (int k = c * kCell; k < std::min(n[2], (c + 1) * kCell); ++k)
          for (int j = b * kCell; j < std::min(n[1], (b + 1) * kCell); ++j) {
            const int first = a * kCell;
            const std::size_t row = codes.grid.offset(first, j, k);
            for_each_of(&codes.values[row], std::min(n[0] - first, kCell), code::kMixed, code::kMixed, [&](int i) {
              if (skin.mixed_outside(first + i, j, k) && !skin.under_fold(first + i, j, k)) found[static_cast<std::size_t>(c)].push_back(row + static_cast<std::size_t>(i));
            });
          }
      }
  });
  for (const auto& voxels : found)
    for (const std::size_t v : voxels) codes.values[v] = code::kOutside | label(Material::wrapping);
}

}  // namespace

bool settle_skin(bool living, int threads, Volume<std::uint8_t>& codes) {
  Skin skin(codes);
  skin.look(threads);
  const Seen all = skin.all();
  const double usual = width(all.inner_between, all.inner_faces);
  const double limit = all.inner_faces >= kLeastFaces ? std::max(kLeastWidth, kOverUsual * usual) : kOtherwise;
  const auto linen = [&](const Seen& s) { return width(s.between, s.faces) > limit; };
  const bool wrapped = !living && (linen(all) || static_cast<double>(all.thick) > kThickShare * static_cast<double>(all.faces));
  if (wrapped) restore(skin, linen, threads, codes);
  change_codes(threads, [](std::uint8_t c) { return static_cast<std::uint8_t>(c & ~code::kMixed); }, codes);
  return wrapped;
}

}  // namespace leastharm::segment_detail

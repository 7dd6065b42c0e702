// Cuts as pixels: grey levels, hatches, specks of doubt, borders.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>

#include "window/plane_cut.h"
#include "window/rows.h"

namespace leastharm {
namespace {

constexpr std::uint32_t kSpeck = 0xF4F1EA;
// No reading: not black, which would mean air.
constexpr std::uint32_t kUnmeasuredGround = 0x2A2A2C, kUnmeasuredStripe = 0x3A3A3C;

std::uint32_t packed(Rgb colour) {
  const auto byte = [](double part) { return static_cast<std::uint32_t>(std::lround(255 * part)); };
  return byte(colour.red) << 16 | byte(colour.green) << 8 | byte(colour.blue);
}

const PerMaterial<std::uint32_t>& packed_colours() {
  static const PerMaterial<std::uint32_t> colours = [] {
    PerMaterial<std::uint32_t> c{};
    for (std::size_t m = 0; m < kMaterialCount; ++m)
      c[m] = packed(colour_of(static_cast<Material>(m)));
    // Black lines vanish on a dark picture.
    c[static_cast<std::size_t>(Material::dense)] = 0xFFFFFF;
    return c;
  }();
  return colours;
}

/// `part` of 256 parts of `over`, the rest of `under`.
std::uint32_t mixed(std::uint32_t under, std::uint32_t over, std::uint32_t part) {
  std::uint32_t out = 0;
  for (int shift = 0; shift <= 16; shift += 8) {
    const std::uint32_t u = (under >> shift) & 255, o = (over >> shift) & 255;
    out |= ((u * (256 - part) + o * part) >> 8) << shift;
  }
  return out;
}

/// The same hatch directions as on paper (ink.cpp), on screen pixels.
bool on_hatch(Material material, int x, int y) {
  switch (material) {
    case Material::wrapping:
      return y % 5 == 0;
    case Material::body:
      return x % 6 == (y / 6 % 2) * 3 && y % 6 == 0;
    case Material::packing:
      return (x + y) % 6 == 0;
    case Material::bone:
      return x % 4 == 0;
    case Material::resin:
      return (x + y) % 6 == 0 || (x - y + 6000) % 6 == 0;
    case Material::support:
      return x % 8 == 0 || y % 8 == 0;
    case Material::air:
    case Material::dense:
      break;
  }
  return false;
}

/// Ordered dither (Bayer 1973): true in as large a part of the pixels as `share` says.
bool speck(int x, int y, double share) {
  static constexpr std::array<int, 16> order{0, 8, 2, 10, 12, 4, 14, 6, 3, 11, 1, 9, 15, 7, 13, 5};
  return (order[static_cast<std::size_t>((y & 3) * 4 + (x & 3))] + 0.5) / 16 < share;
}

/// Which of two neighbours a border is drawn for: the rarer, harder one.
int rank(std::uint8_t material) {
  static constexpr PerMaterial<int> ranks{0, 2, 3, 4, 5, 6, 7, 1};
  return ranks[material];
}


struct Border {
  std::uint32_t* pixels;
  int width, height, thick_px;

  void draw(int column, int row, std::uint32_t colour) const {
    for (int dy = 0; dy < thick_px && row + dy < height; ++dy)
      for (int dx = 0; dx < thick_px && column + dx < width; ++dx)
        pixels[static_cast<std::size_t>(row + dy) * static_cast<std::size_t>(width) +
               static_cast<std::size_t>(column + dx)] = colour;
  }
};

/// Columns of eight at a time whose right and lower neighbours are all of their own material need no look.
bool eight_alike(const std::uint8_t* here, const std::uint8_t* below) {
  std::uint64_t own = 0, right = 0, under = 0;
  std::memcpy(&own, here, 8);
  std::memcpy(&right, here + 1, 8);
  std::memcpy(&under, below, 8);
  return own == right && own == under;
}

void paint_outlines(const PlaneCut& cut, int thick_px, std::span<std::uint32_t> pixels) {
  const int width = cut.plane.width, height = cut.plane.height;
  const Border border{pixels.data(), width, height, thick_px};
  const auto& colours = packed_colours();
  const auto between = [&](std::uint8_t a, std::uint8_t b, int column, int row) {
    if (a != b && a != kUnmeasured && b != kUnmeasured)
      border.draw(column, row, colours[rank(a) > rank(b) ? a : b]);
  };
  for (int row = 0; row + 1 < height; ++row) {
    const std::uint8_t* const own =
        cut.material.data() + static_cast<std::size_t>(row) * static_cast<std::size_t>(width);
    const std::uint8_t* const below = own + width;
    for (int column = 0; column + 1 < width;) {
      if (column + 9 <= width && eight_alike(own + column, below + column)) {
        column += 8;
        continue;
      }
      between(own[column], own[column + 1], column, row);
      between(own[column], below[column], column, row);
      ++column;
    }
  }
}

void paint_overlays(const PlaneCut& cut, const Tone& tone, std::size_t first, int row, std::uint32_t* pixels) {
  const auto& colours = packed_colours();
  for (int column = 0; column < cut.plane.width; ++column) {
    const std::size_t here = first + static_cast<std::size_t>(column);
    const std::uint8_t m = cut.material[here];
    if (m == 0 || m == kUnmeasured) continue;
    std::uint32_t& pixel = pixels[here];
    if (tone.hatches) {
      pixel = mixed(pixel, colours[m], 64);
      if (on_hatch(static_cast<Material>(m), column, row)) pixel = mixed(pixel, colours[m], 170);
    }
    if (tone.confidence && speck(column, row, 1 - cut.confidence[here] / 255.0)) pixel = kSpeck;
  }
}

void paint_unmeasured(const std::uint8_t* materials, int width, int row, std::uint32_t* pixels) {
  const std::uint8_t* const end = materials + width;
  const auto next = [&](const std::uint8_t* from) {
    return static_cast<const std::uint8_t*>(std::memchr(from, kUnmeasured, static_cast<std::size_t>(end - from)));
  };
  for (const std::uint8_t* m = next(materials); m != nullptr; m = m + 1 == end ? nullptr : next(m + 1)) {
    const auto column = static_cast<int>(m - materials);
    pixels[column] = (row + column) % 12 == 0 ? kUnmeasuredStripe : kUnmeasuredGround;
  }
}

}  // namespace

void paint_cut(const PlaneCut& cut, const Tone& tone, std::span<std::uint32_t> pixels) {
  const double range = std::max(1.0, tone.scale.white_hu - tone.scale.black_hu);
  const auto scale = static_cast<float>(255 / range),
             black = static_cast<float>(tone.scale.black_hu);
  const int width = cut.plane.width;
  in_blocks_of_rows(width, cut.plane.height, [&](int from, int to) {
    for (int row = from; row < to; ++row) {
      const std::size_t first = static_cast<std::size_t>(row) * static_cast<std::size_t>(width);
      const float* const hu = cut.hu.data() + first;
      std::uint32_t* const out = pixels.data() + first;
      for (int column = 0; column < width; ++column) {
        const float grey = std::min(std::max((hu[column] - black) * scale, 0.0f), 255.0f);
        const auto level = static_cast<std::uint32_t>(static_cast<std::int32_t>(grey));
        out[column] = level | level << 8 | level << 16;
      }
      paint_unmeasured(cut.material.data() + first, width, row, out);
      if (tone.hatches || tone.confidence) paint_overlays(cut, tone, first, row, pixels.data());
    }
  });
  if (tone.outlines) paint_outlines(cut, tone.outline_px, pixels);
}

void double_pixels(std::span<const std::uint32_t> coarse, int width, std::span<std::uint32_t> pixels) {
  const auto columns = static_cast<std::size_t>(width), pairs = columns / 2, coarse_columns = (columns + 1) / 2;
  const auto rows = pixels.size() / columns;
  in_blocks_of_rows(width, static_cast<int>((rows + 1) / 2), [&](int from, int to) {
    for (auto n = static_cast<std::size_t>(from); n < static_cast<std::size_t>(to); ++n) {
      const std::uint32_t* const source = coarse.data() + n * coarse_columns;
      std::uint32_t* const upper = pixels.data() + 2 * n * columns;
      for (std::size_t pair = 0; pair < pairs; ++pair) upper[2 * pair] = upper[2 * pair + 1] = source[pair];
      if (columns % 2 != 0) upper[columns - 1] = source[pairs];
      if (2 * n + 1 < rows) std::copy_n(upper, columns, upper + columns);
    }
  });
}

}  // namespace leastharm

#include "window/plane_cut.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <thread>

namespace leastharm {
namespace {

constexpr int kThreads = 2;
constexpr int kRowsWorthAThread = 64;

/// What does not change from pixel to pixel.
struct Sampler {
  const Body& body;
  std::array<std::ptrdiff_t, 3> stride;
  Vec3 start, across, down;  ///< continuous index of the first pixel, and per column and row

  Sampler(const Body& b, const SlicePlane& plane)
      : body(b),
        stride{1, b.grid.size[0], static_cast<std::ptrdiff_t>(b.grid.size[0]) * b.grid.size[1]},
        start(b.grid.index_from_lps(plane.corner_lps_mm)),
        across(b.grid.index_from_lps(plane.corner_lps_mm + plane.mm_per_px * plane.right) - start),
        down(b.grid.index_from_lps(plane.corner_lps_mm + plane.mm_per_px * plane.down) - start) {}
};

/// Material with the largest share of the eight corners.
std::uint8_t voted(const std::array<std::uint8_t, 8>& materials,
                   const std::array<float, 8>& share) {
  std::array<float, kMaterialCount> votes{};
  for (std::size_t n = 0; n < 8; ++n) votes[materials[n] % kMaterialCount] += share[n];
  return static_cast<std::uint8_t>(std::max_element(votes.begin(), votes.end()) - votes.begin());
}

struct Pixel {
  float hu = 0;
  std::uint8_t material = kUnmeasured, confidence = 0;
};

Pixel sample(const Sampler& s, const Vec3& index) {
  const Grid& grid = s.body.grid;
  std::array<std::ptrdiff_t, 3> step{};
  std::array<float, 3> part{};
  std::ptrdiff_t base = 0, nearest = 0;
  for (std::size_t axis = 0; axis < 3; ++axis) {
    const double c = index[static_cast<Eigen::Index>(axis)];
    const int last = grid.size[axis] - 1;
    if (!(c > -0.5 && c < last + 0.5)) return {};
    // Half a voxel beyond the outermost centres still belongs to the outermost voxels.
    const double held = std::clamp(c, 0.0, static_cast<double>(last));
    const int low = std::min(static_cast<int>(held), std::max(0, last - 1));
    part[axis] = static_cast<float>(held - low);
    step[axis] = low < last ? s.stride[axis] : 0;
    base += low * s.stride[axis];
    nearest += (part[axis] >= 0.5f ? low + (low < last ? 1 : 0) : low) * s.stride[axis];
  }
  const std::array<std::ptrdiff_t, 8> at{base,
                                         base + step[0],
                                         base + step[1],
                                         base + step[0] + step[1],
                                         base + step[2],
                                         base + step[0] + step[2],
                                         base + step[1] + step[2],
                                         base + step[0] + step[1] + step[2]};
  std::array<float, 8> hu{}, share{};
  std::array<std::uint8_t, 8> materials{};
  bool same = true;
  for (std::size_t n = 0; n < 8; ++n) {
    const std::int16_t value = s.body.hu[static_cast<std::size_t>(at[n])];
    if (value == kNoReadingHu) return {};
    hu[n] = value;
    materials[n] = s.body.materials[static_cast<std::size_t>(at[n])];
    same = same && materials[n] == materials[0];
    share[n] = ((n & 1) ? part[0] : 1 - part[0]) * ((n & 2) ? part[1] : 1 - part[1]) *
               ((n & 4) ? part[2] : 1 - part[2]);
  }
  Pixel pixel;
  for (std::size_t n = 0; n < 8; ++n) pixel.hu += share[n] * hu[n];
  pixel.material = same ? materials[0] : voted(materials, share);
  pixel.confidence =
      s.body.confidence.empty() ? 255 : s.body.confidence[static_cast<std::size_t>(nearest)];
  return pixel;
}

void cut_rows(const Sampler& s, PlaneCut& into, int from, int to) {
  const int width = into.plane.width;
  for (int row = from; row < to; ++row) {
    const Vec3 left = s.start + row * s.down;
    std::size_t here = static_cast<std::size_t>(row) * static_cast<std::size_t>(width);
    for (int column = 0; column < width; ++column, ++here) {
      const Pixel pixel = sample(s, left + column * s.across);
      into.hu[here] = pixel.hu;
      into.material[here] = pixel.material;
      into.confidence[here] = pixel.confidence;
    }
  }
}

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

void paint_outlines(const PlaneCut& cut, int thick_px, std::span<std::uint32_t> pixels) {
  const int width = cut.plane.width, height = cut.plane.height;
  const auto& colours = packed_colours();
  for (int row = 0; row + 1 < height; ++row)
    for (int column = 0; column + 1 < width; ++column) {
      const std::size_t here = static_cast<std::size_t>(row) * static_cast<std::size_t>(width) +
                               static_cast<std::size_t>(column);
      const std::uint8_t a = cut.material[here];
      for (const std::size_t next : {here + 1, here + static_cast<std::size_t>(width)}) {
        const std::uint8_t b = cut.material[next];
        if (a == b || a == kUnmeasured || b == kUnmeasured) continue;
        const std::uint32_t colour = colours[rank(a) > rank(b) ? a : b];
        for (int dy = 0; dy < thick_px && row + dy < height; ++dy)
          for (int dx = 0; dx < thick_px && column + dx < width; ++dx)
            pixels[here + static_cast<std::size_t>(dy * width + dx)] = colour;
      }
    }
}

}  // namespace

void cut_plane(const Body& body, const SlicePlane& plane, PlaneCut& into) {
  into.plane = plane;
  const std::size_t count =
      static_cast<std::size_t>(plane.width) * static_cast<std::size_t>(plane.height);
  into.hu.resize(count);
  into.material.resize(count);
  into.confidence.resize(count);
  const Sampler sampler(body, plane);
  if (plane.height < 2 * kRowsWorthAThread) return cut_rows(sampler, into, 0, plane.height);
  const int half = plane.height / kThreads;
  std::thread helper([&] { cut_rows(sampler, into, 0, half); });
  cut_rows(sampler, into, half, plane.height);
  helper.join();
}

void paint_cut(const PlaneCut& cut, const Tone& tone, std::span<std::uint32_t> pixels) {
  const double range = std::max(1.0, tone.scale.white_hu - tone.scale.black_hu);
  const auto scale = static_cast<float>(255 / range),
             black = static_cast<float>(tone.scale.black_hu);
  const auto& colours = packed_colours();
  const int width = cut.plane.width;
  std::size_t here = 0;
  for (int row = 0; row < cut.plane.height; ++row)
    for (int column = 0; column < width; ++column, ++here) {
      const std::uint8_t m = cut.material[here];
      if (m == kUnmeasured) {
        pixels[here] = (row + column) % 12 == 0
                           ? 0x3A3A3C
                           : 0x2A2A2C;  // no reading: not black, which would mean air
        continue;
      }
      const auto grey =
          static_cast<std::uint32_t>(std::clamp((cut.hu[here] - black) * scale, 0.0f, 255.0f));
      std::uint32_t pixel = grey * 0x010101u;
      if (tone.hatches && m != 0) {
        pixel = mixed(pixel, colours[m], 64);
        if (on_hatch(static_cast<Material>(m), column, row)) pixel = mixed(pixel, colours[m], 170);
      }
      if (tone.confidence && m != 0 && speck(column, row, 1 - cut.confidence[here] / 255.0))
        pixel = 0xF4F1EA;
      pixels[here] = pixel;
    }
  if (tone.outlines) paint_outlines(cut, tone.outline_px, pixels);
}

}  // namespace leastharm

#include "map_picture.h"

#include <cairo.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <vector>

#include "imaging/error.h"

namespace leastharm::test {
namespace {

constexpr double kPanel_px = 420, kGap_px = 26, kTitle_px = 46;

/// Okabe and Ito's colours for colour-blind readers (Color Universal Design, 2002).
constexpr PerMaterial<std::uint32_t> kColours{0xFFFFFF, 0xE69F00, 0xD55E00, 0x009E73, 0x56B4E9, 0xCC79A7, 0x000000, 0x999999};

/// Whether the material's hatch passes through a pixel.
bool hatched(Material m, int x, int y) {
  switch (m) {
    case Material::wrapping: return y % 5 == 0;
    case Material::body: return x % 6 == 0 && y % 6 == 0;
    case Material::packing: return (x + y) % 6 == 0;
    case Material::bone: return x % 4 == 0;
    case Material::resin: return (x + y) % 5 == 0 || (x - y + 5000) % 5 == 0;
    case Material::support: return x % 8 == 0 || y % 8 == 0;
    default: return false;
  }
}

struct Sheet {
  cairo_surface_t* surface;
  cairo_t* cairo;
  Sheet(int width, int height) : surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height)), cairo(cairo_create(surface)) {
    cairo_set_source_rgb(cairo, 1, 1, 1);
    cairo_paint(cairo);
    cairo_select_font_face(cairo, "sans-serif", CAIRO_FONT_SLANT_NORMAL, CAIRO_FONT_WEIGHT_NORMAL);
  }
  Sheet(const Sheet&) = delete;
  Sheet& operator=(const Sheet&) = delete;
  ~Sheet() {
    cairo_destroy(cairo);
    cairo_surface_destroy(surface);
  }
  void text(double x, double y, double size, const std::string& words, double grey = 0) const {
    cairo_set_source_rgb(cairo, grey, grey, grey);
    cairo_set_font_size(cairo, size);
    cairo_move_to(cairo, x, y);
    cairo_show_text(cairo, words.c_str());
  }
};

/// A section of the grid: two axes shown, the third held.
struct Section {
  std::size_t across, down, held;
  bool flip_down;
  int at;
};

std::array<std::pair<int, int>, 3> object_range(const Volume<std::uint8_t>& materials) {
  std::array<std::pair<int, int>, 3> range;
  for (std::size_t a = 0; a < 3; ++a) range[a] = {materials.grid.size[a], -1};
  std::size_t v = 0;
  for (int k = 0; k < materials.grid.size[2]; ++k)
    for (int j = 0; j < materials.grid.size[1]; ++j)
      for (int i = 0; i < materials.grid.size[0]; ++i, ++v) {
        const std::uint8_t m = materials.values[v];
        if (m == 0 || m == static_cast<std::uint8_t>(Material::support)) continue;
        const std::array<int, 3> at{i, j, k};
        for (std::size_t a = 0; a < 3; ++a) range[a] = {std::min(range[a].first, at[a]), std::max(range[a].second, at[a])};
      }
  for (std::size_t a = 0; a < 3; ++a)
    if (range[a].second < 0) range[a] = {0, materials.grid.size[a] - 1};
  return range;
}

using Colour = std::function<std::uint32_t(std::size_t voxel, int x, int y)>;

void paint(const Sheet& sheet, const Grid& grid, const Section& s, double x0, double y0, double mm_per_px, const Colour& colour) {
  const int width = static_cast<int>(grid.size[s.across] * grid.spacing_mm[static_cast<int>(s.across)] / mm_per_px);
  const int height = static_cast<int>(grid.size[s.down] * grid.spacing_mm[static_cast<int>(s.down)] / mm_per_px);
  cairo_surface_flush(sheet.surface);
  auto* pixels = reinterpret_cast<std::uint32_t*>(cairo_image_surface_get_data(sheet.surface));
  const int stride = cairo_image_surface_get_stride(sheet.surface) / 4;
  for (int y = 0; y < height; ++y)
    for (int x = 0; x < width; ++x) {
      std::array<int, 3> at{};
      at[s.held] = s.at;
      at[s.across] = std::min(grid.size[s.across] - 1, static_cast<int>(x * mm_per_px / grid.spacing_mm[static_cast<int>(s.across)]));
      const int d = std::min(grid.size[s.down] - 1, static_cast<int>(y * mm_per_px / grid.spacing_mm[static_cast<int>(s.down)]));
      at[s.down] = s.flip_down ? grid.size[s.down] - 1 - d : d;
      pixels[(static_cast<int>(y0) + y) * stride + static_cast<int>(x0) + x] = colour(grid.offset(at[0], at[1], at[2]), x, y);
    }
  cairo_surface_mark_dirty(sheet.surface);
}

/// The object's direction nearest to a grid direction.
std::string letter(const BodyFrame& frame, const Vec3& direction) {
  const std::array<std::pair<const char*, Vec3>, 6> all{{{"H", frame.head}, {"F", -frame.head}, {"A", frame.front},
                                                         {"P", -frame.front}, {"L", frame.left()}, {"R", -frame.left()}}};
  return std::max_element(all.begin(), all.end(), [&](const auto& a, const auto& b) { return a.second.dot(direction) < b.second.dot(direction); })->first;
}

void write_letters(const Sheet& sheet, const Grid& grid, const BodyFrame& frame, const Section& s, double x, double y, double width, double height) {
  const Vec3 right = grid.direction.col(static_cast<int>(s.across));
  const Vec3 down = (s.flip_down ? -1 : 1) * grid.direction.col(static_cast<int>(s.down));
  sheet.text(x + 2, y + height / 2, 16, letter(frame, -right), 0.5);
  sheet.text(x + width - 14, y + height / 2, 16, letter(frame, right), 0.5);
  sheet.text(x + width / 2, y + 16, 16, letter(frame, -down), 0.5);
  sheet.text(x + width / 2, y + height - 4, 16, letter(frame, down), 0.5);
}

std::uint32_t grey(int value) {
  const auto g = static_cast<std::uint32_t>(std::clamp(value, 0, 255));
  return g << 16 | g << 8 | g;
}

std::uint32_t ink_of(std::uint8_t material, int x, int y) {
  const std::uint32_t c = kColours[material];
  if (!hatched(static_cast<Material>(material), x, y)) return c;
  return (c >> 1) & 0x7F7F7F;
}

void write_key(const Sheet& sheet, double y) {
  double x = 4;
  for (std::size_t m = 1; m < kMaterialCount; ++m, x += 110) {
    for (int row = 0; row < 12; ++row)
      for (int column = 0; column < 24; ++column) {
        const std::uint32_t c = ink_of(static_cast<std::uint8_t>(m), column, row);
        cairo_set_source_rgb(sheet.cairo, ((c >> 16) & 255) / 255.0, ((c >> 8) & 255) / 255.0, (c & 255) / 255.0);
        cairo_rectangle(sheet.cairo, x + column, y - 11 + row, 1, 1);
        cairo_fill(sheet.cairo);
      }
    sheet.text(x + 28, y, 13, std::string(kMaterialNames[m]));
  }
}

}  // namespace

void write_map_picture(const std::filesystem::path& file, const std::string& title, const Volume<std::int16_t>& hu,
                       const Segmentation& map, const Volume<std::uint8_t>* truth) {
  const Grid& grid = hu.grid;
  const auto range = object_range(map.materials);
  const auto middle = [&](std::size_t a) { return (range[a].first + range[a].second) / 2; };
  const std::array<Section, 3> sections{{{0, 1, 2, false, middle(2)}, {0, 2, 1, true, middle(1)}, {1, 2, 0, true, middle(0)}}};
  double longest = 0;
  for (int a = 0; a < 3; ++a) longest = std::max(longest, grid.size[static_cast<std::size_t>(a)] * grid.spacing_mm[a]);
  const double mm_per_px = longest / kPanel_px;
  std::vector<std::pair<std::string, Colour>> panels{
      {"CT, -1000 to 600 HU", [&](std::size_t v, int, int) { return grey((hu.values[v] + 1000) * 255 / 1600); }},
      {"map", [&](std::size_t v, int x, int y) { return ink_of(map.materials.values[v], x, y); }}};
  if (truth) panels.push_back({"truth", [&](std::size_t v, int x, int y) { return ink_of(truth->values[v], x, y); }});
  panels.push_back({"confidence, black 0 to white 1", [&](std::size_t v, int, int) { return grey(map.confidence.values[v]); }});

  const Sheet sheet(static_cast<int>(static_cast<double>(panels.size()) * (kPanel_px + kGap_px)), static_cast<int>(kTitle_px + 3 * (kPanel_px + kGap_px)));
  sheet.text(4, 16, 14, title);
  write_key(sheet, 36);
  for (std::size_t p = 0; p < panels.size(); ++p)
    for (std::size_t s = 0; s < 3; ++s) {
      const double x = static_cast<double>(p) * (kPanel_px + kGap_px), y = kTitle_px + static_cast<double>(s) * (kPanel_px + kGap_px);
      paint(sheet, grid, sections[s], x, y + 14, mm_per_px, panels[p].second);
      sheet.text(x, y + 11, 12, panels[p].first);
      if (p > 0) continue;
      write_letters(sheet, grid, map.proposed_frame, sections[s], x, y + 14,
                    grid.size[sections[s].across] * grid.spacing_mm[static_cast<int>(sections[s].across)] / mm_per_px,
                    grid.size[sections[s].down] * grid.spacing_mm[static_cast<int>(sections[s].down)] / mm_per_px);
    }
  if (cairo_surface_write_to_png(sheet.surface, file.c_str()) != CAIRO_STATUS_SUCCESS)
    throw BadInput("Cannot write " + file.string() + ": is the folder there, and the disk not full?");
}

}  // namespace leastharm::test

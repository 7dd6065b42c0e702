// The body in the round: shapes against closed forms, pictures against baselines. Drawn by software
// under Xvfb.
#include <gtest/gtest.h>
#include <vtkImageData.h>
#include <vtkNew.h>
#include <vtkPNGReader.h>
#include <vtkPNGWriter.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <iostream>
#include <numbers>

#include "planner/cylinder.h"
#include "scene/solid_scene.h"
#include "support/grids.h"
#include "support/made_body.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;

// Two pictures are the same when, over the pixels that either draws something on, their colours
// differ by less than 3 of 255 on average and no more than 3 % of them by more than 40: other versions
// of Mesa draw edges a little otherwise.
constexpr double kMeanTolerance = 3;
constexpr double kStrayTolerance = 0.03;
constexpr int kStrayLevels = 40;

struct World {
  Volume<std::int16_t> hu;
  Volume<std::uint8_t> materials;
  Body body;
  explicit World(Volume<std::int16_t> h, Volume<std::uint8_t> m)
      : hu(std::move(h)), materials(std::move(m)) {
    body.grid = hu.grid;
    body.hu = hu.values;
    body.materials = materials.values;
  }
  World(const World&) = delete;
};

World ball_world(double radius_mm, bool left_handed) {
  Grid grid = test::oblique_grid({60, 50, 44}, {1.1, 1.4, 1.7});
  if (left_handed) grid.direction.col(0) = -grid.direction.col(0);
  Volume<std::int16_t> hu{grid, std::vector<std::int16_t>(grid.voxel_count(), 0)};
  Volume<std::uint8_t> materials{grid, std::vector<std::uint8_t>(grid.voxel_count(), 0)};
  const Vec3 centre = grid.lps_from_index(Vec3(30, 24, 21));
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i)
        if ((grid.lps_from_index(Vec3(i, j, k)) - centre).norm() < radius_mm)
          materials.values[grid.offset(i, j, k)] = static_cast<std::uint8_t>(Material::bone);
  return World(std::move(hu), std::move(materials));
}

/// The made body, packed on its left alone: the two sides differ.
World made_world(bool mirrored) {
  auto made = test::made_body();
  const Grid& grid = made.hu.grid;
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i)
        if (std::uint8_t& m = made.materials.values[grid.offset(i, j, k)];
            m == static_cast<std::uint8_t>(Material::packing) && grid.lps_from_index(Vec3(i, j, k)).x() < 0)
          m = 0;
  if (mirrored) {
    // The same voxels, left for right.
    for (auto* values : {&made.materials.values}) {
      const Grid& g = made.hu.grid;
      for (int k = 0; k < g.size[2]; ++k)
        for (int j = 0; j < g.size[1]; ++j)
          std::reverse(
              values->begin() + static_cast<std::ptrdiff_t>(g.offset(0, j, k)),
              values->begin() + static_cast<std::ptrdiff_t>(g.offset(0, j, k)) + g.size[0]);
    }
  }
  return World(std::move(made.hu), std::move(made.materials));
}

std::vector<SolidScene::ShownTrack> tracks_into(const Vec3& tip) {
  Track track{.id = "T1",
              .entry_lps_mm = tip + Vec3(8, -58, 0),
              .tip_lps_mm = tip,
              .needle = {.outer_mm = 3, .bore_mm = 2.4, .throw_mm = 20, .usable_mm = 150}};
  return {{track, Vec3(0, -1, 0), true}};
}

/// From in front, a little from the left and the head; cut open along the needle on demand.
Picture picture_of(const World& world, bool cut) {
  SolidScene scene;
  scene.set_body(make_solid_body(world.body));
  const Vec3 tip(30, 5, 290);
  scene.set_tracks(tracks_into(tip));
  scene.set_names({{"left", Vec3::UnitX()}, {"head", Vec3::UnitZ()}});
  if (cut) scene.set_clip(std::pair{tip, Vec3(0, 0, 1)});
  scene.look_from(Vec3(0.5, -1, 0.7).normalized(), Vec3::UnitZ());
  return scene.draw(400, 300);
}

struct Difference {
  double mean = 0, stray = 0;
  [[nodiscard]] bool same() const { return mean < kMeanTolerance && stray < kStrayTolerance; }
};

Difference difference(const Picture& a, const Picture& b) {
  Difference d;
  EXPECT_EQ(a.rgb.size(), b.rgb.size());
  if (a.rgb.size() != b.rgb.size()) return {1e9, 1};
  std::size_t stray = 0, drawn = 0;
  const auto is_drawn = [](const Picture& p, std::size_t n) {
    return !std::equal(p.rgb.begin(), p.rgb.begin() + 3, p.rgb.begin() + static_cast<std::ptrdiff_t>(n));
  };
  for (std::size_t n = 0; n < a.rgb.size(); n += 3) {
    if (!is_drawn(a, n) && !is_drawn(b, n)) continue;
    ++drawn;
    int most = 0;
    for (std::size_t part = n; part < n + 3; ++part) {
      const int step = std::abs(a.rgb[part] - b.rgb[part]);
      d.mean += step;
      most = std::max(most, step);
    }
    stray += most > kStrayLevels;
  }
  d.mean /= 3.0 * static_cast<double>(std::max<std::size_t>(1, drawn));
  d.stray = static_cast<double>(stray) / static_cast<double>(std::max<std::size_t>(1, drawn));
  return d;
}

void write_png(const Picture& picture, const fs::path& path) {
  vtkNew<vtkImageData> image;
  image->SetDimensions(picture.width, picture.height, 1);
  image->AllocateScalars(VTK_UNSIGNED_CHAR, 3);
  for (int row = 0; row < picture.height; ++row)
    std::copy_n(picture.rgb.begin() +
                    static_cast<std::ptrdiff_t>(picture.height - 1 - row) * picture.width * 3,
                picture.width * 3, static_cast<std::uint8_t*>(image->GetScalarPointer(0, row, 0)));
  vtkNew<vtkPNGWriter> writer;
  writer->SetInputData(image);
  writer->SetFileName(path.c_str());
  writer->Write();
}

Picture read_png(const fs::path& path) {
  vtkNew<vtkPNGReader> reader;
  reader->SetFileName(path.c_str());
  reader->Update();
  vtkImageData* image = reader->GetOutput();
  Picture picture{image->GetDimensions()[0], image->GetDimensions()[1], {}};
  picture.rgb.resize(static_cast<std::size_t>(picture.width) *
                     static_cast<std::size_t>(picture.height) * 3);
  for (int row = 0; row < picture.height; ++row)
    std::copy_n(static_cast<std::uint8_t*>(image->GetScalarPointer(0, row, 0)), picture.width * 3,
                picture.rgb.begin() +
                    static_cast<std::ptrdiff_t>(picture.height - 1 - row) * picture.width * 3);
  return picture;
}

/// With LEASTHARM_WRITE_BASELINES set, the pictures are written instead of compared.
void expect_baseline(const Picture& picture, const std::string& name) {
  const fs::path path = fs::path(LEASTHARM_BASELINES) / (name + ".png");
  if (std::getenv("LEASTHARM_WRITE_BASELINES") != nullptr) return write_png(picture, path);
  ASSERT_TRUE(fs::exists(path)) << path;
  const Difference d = difference(picture, read_png(path));
  std::cout << name << ": mean difference " << d.mean << " of 255, " << 100 * d.stray
            << " % of the pixels stray\n";
  EXPECT_TRUE(d.same());
  if (!d.same()) write_png(picture, fs::temp_directory_path() / ("leastharm-" + name + "-now.png"));
}

TEST(SolidBody, ABallHasItsVolumeAndPlaceInAnObliqueGrid) {
  for (const bool left_handed : {false, true}) {
    const World world = ball_world(20, left_handed);
    const SolidBody solid = make_solid_body(world.body, 1);
    const SurfaceMeasure m = measure(solid.materials[static_cast<std::size_t>(Material::bone)]);
    // Within half a cell of the border: 20 mm +- 0.7 mm.
    EXPECT_NEAR(std::cbrt(m.volume_mm3 * 3 / (4 * std::numbers::pi)), 20, 0.35)
        << "and not inside out";
    EXPECT_LT((m.centre_lps_mm - world.body.grid.lps_from_index(Vec3(30, 24, 21))).norm(), 0.3);
  }
}

TEST(SolidBody, CoarseCellsMoveNothing) {
  const World world = ball_world(22, false);
  const SurfaceMeasure fine = measure(make_solid_body(world.body, 1).object),
                       coarse = measure(make_solid_body(world.body, 4).object);
  EXPECT_LT((fine.centre_lps_mm - coarse.centre_lps_mm).norm(), 0.3);
  EXPECT_NEAR(coarse.volume_mm3 / fine.volume_mm3, 1, 0.05);
  EXPECT_LT(coarse.triangles, fine.triangles / 4);
}

TEST(SolidBody, KeepsEveryMaterialButAirWrappingAndSupport) {
  const World world = made_world(false);
  const SolidBody solid = make_solid_body(world.body);
  for (const Material m : {Material::body, Material::packing, Material::bone, Material::dense})
    EXPECT_NE(solid.materials[static_cast<std::size_t>(m)], nullptr);
  for (const Material m : {Material::air, Material::wrapping, Material::support, Material::resin})
    EXPECT_EQ(solid.materials[static_cast<std::size_t>(m)], nullptr);
  const SurfaceMeasure amulet = measure(solid.materials[static_cast<std::size_t>(Material::dense)]);
  EXPECT_LT((amulet.centre_lps_mm - Vec3(40, -46, 260)).norm(), 1);
}

TEST(SolidScene, DrawsTheBaselineWholeAndCutOpen) {
  const World world = made_world(false);
  expect_baseline(picture_of(world, false), "solid-whole");
  expect_baseline(picture_of(world, true), "solid-cut");
}

TEST(SolidScene, AMirroredBodyIsNotTheBaseline) {
  const World world = made_world(true);
  const fs::path path = fs::path(LEASTHARM_BASELINES) / "solid-cut.png";
  ASSERT_TRUE(fs::exists(path)) << path;
  const Difference d = difference(picture_of(world, true), read_png(path));
  std::cout << "mirrored: mean difference " << d.mean << " of 255, " << 100 * d.stray
            << " % of the pixels stray\n";
  EXPECT_FALSE(d.same());
}

TEST(SolidScene, TwoDrawingsAreTheSameToTheLastPixel) {
  const World world = made_world(false);
  EXPECT_EQ(picture_of(world, true).rgb, picture_of(world, true).rgb);
}

}  // namespace
}  // namespace leastharm

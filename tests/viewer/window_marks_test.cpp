// Marks, waivers and corrected materials in the window, without the window.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>

#include "support/open_bench.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using WindowMarksTest = test::OpenBench;

TEST_F(WindowMarksTest, MarksByEveryWayAsTheCommandLineDoes) {
  open(made.root());
  const auto made_mask = [&](const MarkRecipe& recipe) {
    bench.make_mark(recipe);
    settle();
    const auto record = std::ranges::find(bench.file().marks, recipe.name, &MarkRecord::name);
    EXPECT_NE(record, bench.file().marks.end());
    return *bench.draft().mask_of(*record);
  };
  const Grid& grid = made.body.hu.grid;
  const Vec3 at = made.body.left_packing_lps_mm;
  EXPECT_EQ(made_mask({.name = "ball", .kind = MarkKind::keep_out, .at_lps_mm = at, .radius_mm = 7})
                .inside,
            ball_mask(grid, at, 7).inside);
  EXPECT_EQ(
      made_mask({.name = "column", .way = MarkRecipe::Way::connected, .at_lps_mm = at}).inside,
      connected_mask(made.body.materials, at).inside);
  EXPECT_EQ(
      made_mask({.name = "bones", .way = MarkRecipe::Way::material, .material = Material::bone})
          .inside,
      material_mask(made.body.materials, Material::bone).inside);
  const auto square = [&](double z) {
    return Outline{at + Vec3(-9, -9, z), at + Vec3(9, -9, z), at + Vec3(9, 9, z),
                   at + Vec3(-9, 9, z)};
  };
  EXPECT_EQ(
      made_mask(
          {.name = "drawn", .way = MarkRecipe::Way::outlines, .outlines = {square(-9), square(9)}})
          .inside,
      contours_mask(grid, {square(-9), square(9)}).inside);
  std::string said;
  for (const Finding& f : bench.take_messages()) said += f.what;
  EXPECT_THAT(said, HasSubstr("15 mm")) << "18 mm between slices is to be remarked on";
  EXPECT_NE(bench.ground().body.find_mark("column"), nullptr) << "figures see the new marks";
}

TEST_F(WindowMarksTest, RefusesAMarkWithoutANameAndSaysSo) {
  open(made.root());
  bench.make_mark({.name = "", .at_lps_mm = made.body.left_packing_lps_mm});
  settle();
  EXPECT_EQ(bench.file().marks.size(), 1u) << "the amulet alone";
  EXPECT_EQ(bench.take_messages().size(), 1u);
  EXPECT_TRUE(bench.undo_text().empty());
}

TEST_F(WindowMarksTest, WaivesAndProtectsAgain) {
  open(made.root());
  settle();
  EXPECT_EQ(bench.figures_of(0)->assessment.clearance_mm.count("dense-1"), 1u);
  bench.waive("dense-1", "", "because");
  EXPECT_TRUE(bench.file().waivers.empty()) << "nobody answers for it";
  bench.waive("dense-1", "C. Example", "a bead that is loose already");
  settle();
  EXPECT_EQ(bench.figures_of(0)->assessment.clearance_mm.count("dense-1"), 0u);
  bench.undo();
  settle();
  EXPECT_EQ(bench.figures_of(0)->assessment.clearance_mm.count("dense-1"), 1u);
}

TEST_F(WindowMarksTest, AStrokeKeepsToTheBorderAndUndoRestoresEveryVoxel) {
  open(made.root());
  settle();
  const std::string before = bench.file().materials_sha256;
  const std::vector<std::uint8_t> map(bench.ground().body.materials.begin(),
                                      bench.ground().body.materials.end());
  const Vec3 at = made.body.left_packing_lps_mm;
  bench.paint({{at, at + Vec3(22, 0, 0)}, 4, Material::resin, true});
  settle();
  std::size_t changed = 0;
  for (std::size_t n = 0; n < map.size(); ++n) {
    if (bench.ground().body.materials[n] == map[n]) continue;
    ++changed;
    EXPECT_EQ(map[n], static_cast<std::uint8_t>(Material::packing))
        << "only the material under the first point";
    EXPECT_EQ(bench.ground().body.materials[n], static_cast<std::uint8_t>(Material::resin));
    EXPECT_EQ(bench.ground().body.confidence[n], 255);
  }
  EXPECT_GT(changed, 20u);
  EXPECT_NE(bench.file().materials_sha256, before);
  EXPECT_EQ(sha256_hex(*bench.ground().volumes.materials), bench.file().materials_sha256);
  bench.undo();
  settle();
  EXPECT_EQ(bench.file().materials_sha256, before);
  EXPECT_TRUE(std::ranges::equal(bench.ground().body.materials, map));
  bench.redo();
  settle();
  bench.close();
  const CaseFolder folder = CaseFolder::open(made.root());
  EXPECT_EQ(sha256_hex(folder.read_materials()), folder.file.materials_sha256);
  const auto corrections = read_labels(made.root() / kCorrectionsFile);
  EXPECT_EQ(std::ranges::count(corrections.values, static_cast<std::uint8_t>(Material::resin)),
            static_cast<std::ptrdiff_t>(changed))
      << "what a person corrected outlives a new segmentation";
}

TEST_F(WindowMarksTest, ADenseObjectPaintedAwayIsProtectedNoMore) {
  open(made.root());
  settle();
  bench.paint({{made.body.amulet_lps_mm}, 9, Material::wrapping, true});
  settle();
  EXPECT_TRUE(bench.file().marks.empty());
  bench.undo();
  settle();
  ASSERT_EQ(bench.file().marks.size(), 1u);
  EXPECT_NE(bench.ground().body.find_mark("dense-1"), nullptr);
}

TEST_F(WindowMarksTest, OutlinesAreKeptUntilTheyHaveBecomeAMark) {
  open(made.root());
  settle();
  const Vec3 at = made.body.left_packing_lps_mm;
  const auto square = [&](double z) {
    return Outline{at + Vec3(-9, -9, z), at + Vec3(9, -9, z), at + Vec3(9, 9, z), at + Vec3(-9, 9, z)};
  };
  bench.add_outline(square(-6));
  bench.add_outline(square(6));
  settle();
  std::ifstream stream(made.root() / kOutlinesFile);
  const std::string kept{std::istreambuf_iterator<char>(stream), {}};
  EXPECT_EQ(parse_outlines(kept), bench.draft().outlines) << "a kill now would lose none";
  bench.close();
  open(made.root());
  ASSERT_EQ(bench.draft().outlines.size(), 2u);
  bench.make_mark({.name = "pocket", .way = MarkRecipe::Way::outlines, .outlines = bench.draft().outlines});
  settle();
  EXPECT_TRUE(bench.draft().outlines.empty());
  EXPECT_FALSE(fs::exists(made.root() / kOutlinesFile));
  bench.undo();
  settle();
  EXPECT_EQ(bench.draft().outlines.size(), 2u) << "and one step brings them back";
  EXPECT_TRUE(parse_outlines("{ cut off").empty());
}

}  // namespace
}  // namespace leastharm

#include "planner/case.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>

#include "imaging/error.h"
#include "imaging/hash.h"
#include "imaging/volume_file.h"
#include "support/grids.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;
using testing::ElementsAre;
using testing::HasSubstr;

std::string message_of(const std::function<void()>& call) {
  try {
    call();
  } catch (const BadInput& fault) {
    return fault.what();
  }
  return "";
}

/// A small body in a case of its own, with a CT that lies in one file.
class Case : public testing::Test {
 protected:
  void SetUp() override {
    base = fs::temp_directory_path() / ("leastharm-case-" + std::to_string(::getpid()));
    fs::remove_all(base);
    fs::create_directories(base);
    const Grid grid = test::oblique_grid({24, 20, 16}, {1.5, 1.5, 3});
    hu = {grid, std::vector<std::int16_t>(grid.voxel_count(), -1000)};
    materials = {grid, std::vector<std::uint8_t>(grid.voxel_count(), 0)};
    confidence = {grid, std::vector<std::uint8_t>(grid.voxel_count(), 255)};
    fill({6, 6, 4}, {18, 14, 12}, Material::packing, -750);
    fill({8, 8, 6}, {11, 11, 8}, Material::dense, 2500);
    write_hu(hu, base / "ct.nrrd");
    CaseFolder folder = CaseFolder::open_or_create(root());
    const CtVolume ct = leastharm::read_ct(base / "ct.nrrd");
    folder.file.object_id = "INVENTED";
    folder.file.ct = {.path = "../ct.nrrd", .series_uid = ct.series_uid, .sha256 = sha256_hex(ct.hu), .grid = ct.hu.grid};
    folder.write_map(materials, confidence);
    (void)folder.protect_dense(materials);
    folder.save();
  }
  void TearDown() override { fs::remove_all(base); }

  void fill(VoxelIndex low, VoxelIndex high, Material material, std::int16_t value) {
    for (int k = low.k; k < high.k; ++k)
      for (int j = low.j; j < high.j; ++j)
        for (int i = low.i; i < high.i; ++i) {
          hu.values[hu.grid.offset(i, j, k)] = value;
          materials.values[hu.grid.offset(i, j, k)] = static_cast<std::uint8_t>(material);
        }
  }
  fs::path root() const { return base / "case"; }

  fs::path base;
  Volume<std::int16_t> hu;
  Volume<std::uint8_t> materials, confidence;
};

TEST_F(Case, ReopensAsItWasSaved) {
  {
    CaseFolder folder = CaseFolder::open(root());
    folder.file.plan.tracks = {{.id = "T1", .entry_lps_mm = {1, 2, 3}, .tip_lps_mm = {4, 5, 6}, .needle = needle_catalogue().front()}};
    folder.file.frame = make_body_frame({0, 0, 1}, {0, -1, 0});
    folder.file.frame->midline_lps_mm = {{0, 0, 0}, {0, 0, 9}};
    folder.save();
  }
  const CaseFolder folder = CaseFolder::open(root());
  EXPECT_EQ(folder.file.object_id, "INVENTED");
  ASSERT_EQ(folder.file.plan.tracks.size(), 1u);
  EXPECT_EQ(folder.file.plan.tracks[0].needle.name, needle_catalogue().front().name);
  EXPECT_EQ(to_json(folder.file), to_json(parse_case_file(to_json(folder.file))));
  const auto volumes = open_volumes(folder);
  EXPECT_EQ(volumes->ct.hu.values, hu.values);
  EXPECT_EQ(volumes->materials.values, materials.values);
}

TEST_F(Case, OpenInTwoProgramsIsRefused) {
  const CaseFolder first = CaseFolder::open(root());
  EXPECT_THAT(message_of([&] { (void)CaseFolder::open(root()); }), HasSubstr("open in another program"));
}

TEST_F(Case, OfANewerSchemaOrDamagedIsRefusedAndLeftAlone) {
  const auto rewrite = [&](const std::string& text) {
    std::ofstream(root() / "case.json") << text;
    const std::string said = message_of([&] { (void)CaseFolder::open(root()); });
    std::ifstream stream(root() / "case.json");
    EXPECT_EQ(std::string(std::istreambuf_iterator<char>(stream), {}), text);
    return said;
  };
  EXPECT_THAT(rewrite(R"({"schema": 99})"), HasSubstr("newer version"));
  EXPECT_THAT(rewrite(R"({"schema": 1, "obj)"), HasSubstr("history"));
  EXPECT_THAT(rewrite(R"({"schema": 1})"), HasSubstr("damaged"));
  EXPECT_THAT(rewrite("{}"), HasSubstr("schema"));
}

TEST_F(Case, KeepsItsFormerStates) {
  CaseFolder folder = CaseFolder::open(root());
  folder.file.object_id = "SECOND";
  folder.save();
  std::ifstream stream(root() / "history" / "case-000001.json");
  EXPECT_EQ(nlohmann::json::parse(stream)["object_id"], "INVENTED");
}

TEST_F(Case, AMapThatNeverReachedTheCaseIsTakenBack) {
  Volume<std::uint8_t> other = materials;
  other.values[0] = 3;
  write_labels(other, root() / "next-materials.nrrd");   // killed before case.json was written
  const CaseFolder folder = CaseFolder::open(root());
  EXPECT_EQ(folder.read_materials().values, materials.values);
  EXPECT_FALSE(fs::exists(root() / "next-materials.nrrd"));
}

TEST_F(Case, AMapThatReachedTheCaseIsCarriedThrough) {
  Volume<std::uint8_t> other = materials;
  other.values[0] = 3;
  {
    CaseFolder folder = CaseFolder::open(root());
    fs::copy_file(root() / "materials.nrrd", base / "old.nrrd");
    folder.write_map(other, confidence);
    folder.save();
  }
  fs::rename(root() / "materials.nrrd", root() / "next-materials.nrrd");   // killed between case.json and the renames
  fs::copy_file(base / "old.nrrd", root() / "materials.nrrd");
  EXPECT_EQ(CaseFolder::open(root()).read_materials().values, other.values);
}

TEST_F(Case, ProtectsDensePiecesUntilTheyAreWaivedByTheirVoxels) {
  CaseFolder folder = CaseFolder::open(root());
  ASSERT_EQ(folder.standing_marks().size(), 1u);
  EXPECT_EQ(folder.standing_marks()[0].name, "dense-1");
  EXPECT_EQ(folder.standing_marks()[0].kind, MarkKind::keep_out);
  folder.file.waivers.push_back({"dense-1", folder.file.marks[0].sha256, "N. N.", "a nail", "2026-01-01T00:00:00Z"});
  EXPECT_TRUE(folder.standing_marks().empty());
  fill({12, 8, 6}, {17, 12, 10}, Material::dense, 2600);   // a larger piece takes the name dense-1
  folder.write_map(materials, confidence);
  EXPECT_TRUE(folder.protect_dense(materials).empty());
  EXPECT_EQ(folder.file.waivers[0].mark, "dense-2");
  ASSERT_EQ(folder.standing_marks().size(), 1u);
  EXPECT_EQ(folder.standing_marks()[0].name, "dense-1");
}

TEST_F(Case, AMarkOrMapChangedOutsideIsNoticed) {
  CaseFolder folder = CaseFolder::open(root());
  const MarkRecord mark = folder.file.marks[0];
  Volume<std::uint8_t> box = read_labels(root() / mark.file);
  box.values[0] ^= 1;
  write_labels(box, root() / mark.file);
  EXPECT_THAT(message_of([&] { (void)folder.read_mark(mark); }), HasSubstr("changed outside"));
  materials.values[5] = 1;
  write_labels(materials, root() / "materials.nrrd");
  EXPECT_THAT(message_of([&] { (void)open_volumes(folder); }), HasSubstr("changed outside"));
}

TEST_F(Case, AnAlteredCtIsNoticed) {
  hu.values[7] = 12;
  write_hu(hu, base / "ct.nrrd");
  const CaseFolder folder = CaseFolder::open(root());
  EXPECT_THAT(message_of([&] { (void)folder.read_ct(); }), HasSubstr("hash differs"));
}

TEST_F(Case, AnApprovalNamesEveryPartThatChanged) {
  CaseFolder folder = CaseFolder::open(root());
  CaseFile& file = folder.file;
  file.request = parse_request_file(
      nlohmann::json::parse(R"({"requests":[{"id":"P","from":{"material":"packing"},"assays":[{"name":"a","uses_mg":1}]}]})"));
  file.plan.tracks = {{.id = "T1", .tip_lps_mm = {4, 5, 6}, .needle = needle_catalogue().front()}};
  const Approval approval{.role = "committee", .parts = plan_parts(file)};
  EXPECT_THAT(changed_since(approval, file), ElementsAre());
  const auto changed_by = [&](const std::function<void(CaseFile&)>& change) {
    CaseFile other = file;
    change(other);
    EXPECT_NE(plan_sha256(other), plan_sha256(file));
    return changed_since(approval, other);
  };
  EXPECT_THAT(changed_by([](CaseFile& f) { f.ct.sha256 = "x"; }), ElementsAre("CT"));
  EXPECT_THAT(changed_by([](CaseFile& f) { f.materials_sha256 = "x"; }), ElementsAre("materials"));
  EXPECT_THAT(changed_by([](CaseFile& f) { f.marks[0].sha256 = "x"; }), ElementsAre("marks"));
  EXPECT_THAT(changed_by([](CaseFile& f) { f.frame = BodyFrame{}; }), ElementsAre("frame"));
  EXPECT_THAT(changed_by([](CaseFile& f) { f.request->requests[0].retain_mg = 2; }), ElementsAre("request"));
  EXPECT_THAT(changed_by([](CaseFile& f) { f.request->weights.hole_mm += 1; }), ElementsAre("weights"));
  EXPECT_THAT(changed_by([](CaseFile& f) { f.request->limits.clearance_mm += 1; }), ElementsAre("limits"));
  EXPECT_THAT(changed_by([](CaseFile& f) { f.request->needles = {needle_catalogue().back()}; }), ElementsAre("needles"));
  EXPECT_THAT(changed_by([](CaseFile& f) { f.plan.tracks[0].tip_lps_mm.x() += 0.5; }), ElementsAre("tracks"));
  EXPECT_THAT(changed_by([](CaseFile& f) { f.waivers.push_back({"dense-1"}); }), ElementsAre("waivers"));
}

TEST_F(Case, ThePlansVersionCountsItsStatesOnly) {
  CaseFolder folder = CaseFolder::open(root());
  const int before = folder.file.plan_version;
  folder.file.printouts.push_back({"printouts/a.pdf", "x", "y"});
  folder.save();
  EXPECT_EQ(folder.file.plan_version, before);
  folder.file.plan.tracks = {{.id = "T1", .tip_lps_mm = {4, 5, 6}, .needle = needle_catalogue().front()}};
  folder.save();
  EXPECT_EQ(folder.file.plan_version, before + 1);
}

}  // namespace
}  // namespace leastharm

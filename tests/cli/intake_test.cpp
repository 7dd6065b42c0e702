// From a scanner's folder to a case, as a person uses it: what is said, what is kept, and what never gets through.
#include <gmock/gmock.h>

#include <sys/resource.h>
#include <sys/stat.h>

#include <chrono>
#include <csignal>

#include "imaging/seg_file.h"
#include "imaging/volume_file.h"
#include "phantom_data/ct_series.h"
#include "support/commands.h"
#include "support/dicom_edit.h"
#include "support/made_body.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using test::Answer;
using test::run;
using testing::HasSubstr;
using testing::Not;

/// A made body as a scanner's folder.
class IntakeCommands : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    base_ = new test::ScratchFolder();
    made_ = new test::MadeBody(test::made_body());
    phantom::write_ct_series(made_->hu, *base_ / "ct");
    ASSERT_EQ(run({"segment", path("ct"), "--case", path("origin"), "--object", "MADE"}).status, 0);
  }
  static void TearDownTestSuite() {
    delete base_;
    delete made_;
  }
  void SetUp() override {
    fs::remove_all(path("case"));
    fs::copy(path("origin"), path("case"), fs::copy_options::recursive);
  }
  static std::string path(const std::string& name) { return (*base_ / name).string(); }
  static test::ScratchFolder* base_;
  static test::MadeBody* made_;
};
test::ScratchFolder* IntakeCommands::base_ = nullptr;
test::MadeBody* IntakeCommands::made_ = nullptr;

TEST_F(IntakeCommands, InspectAnswersByTheContract) {
  const Answer answer = run({"inspect", path("ct"), "--json"});
  ASSERT_EQ(answer.status, 0) << answer.err;
  const json series = answer.json()["series"][0];
  const Grid& grid = made_->hu.grid;
  EXPECT_EQ(series["modality"], "CT");
  EXPECT_EQ(series["slices"], grid.size[2]);
  EXPECT_EQ(series["size"], json(grid.size));
  for (int n = 0; n < 3; ++n) {
    EXPECT_NEAR(series["spacing_mm"][static_cast<std::size_t>(n)].get<double>(), grid.spacing_mm[n], 1e-6);
    EXPECT_NEAR(series["origin_lps_mm"][static_cast<std::size_t>(n)].get<double>(), grid.origin_lps_mm[n], 1e-6);
  }
  for (int n = 0; n < 9; ++n)   // row-major: columns are the axes
    EXPECT_NEAR(series["direction"][static_cast<std::size_t>(n)].get<double>(), grid.direction(n / 3, n % 3), 1e-6);
  EXPECT_EQ(series["tilt_deg"], 0.0);
  EXPECT_EQ(series["usable"], true);
  EXPECT_TRUE(series["findings"].is_array());
}

// A field that shows nothing but a body and its lung: no number is made up, in the answer, in the case or on paper.
TEST_F(IntakeCommands, RoomAirThatIsNotThereIsNotMadeUp) {
  Volume<std::int16_t> hu{{.size = {60, 60, 40}, .spacing_mm = {2, 2, 2}}, {}};
  for (std::size_t n = 0; n < hu.grid.voxel_count(); ++n) {
    const bool lung = n % 60 / 20 == 1 && n / 60 % 60 / 20 == 1;
    hu.values.push_back(static_cast<std::int16_t>((lung ? -760 : 60) + static_cast<int>(n * 7919 % 41) - 20));
  }
  write_hu(hu, path("cropped.nrrd"));
  const Answer answer = run({"segment", path("cropped.nrrd"), "--case", path("cropped"), "--json"});
  ASSERT_EQ(answer.status, 0) << answer.err;
  EXPECT_TRUE(answer.json()["air_check_hu"].is_null());
  const Answer again = run({"segment", path("cropped.nrrd"), "--case", path("cropped")});   // the case can be read
  EXPECT_EQ(again.status, 0) << again.err;
  EXPECT_THAT(again.out, HasSubstr("no room air was found"));
}

TEST_F(IntakeCommands, NothingAboutPeopleGetsThrough) {
  const std::string leak = "ZZLEAKZZ";
  for (const auto& file : phantom::write_ct_series(made_->hu, path("named"))) {
    test::set_text(file, 0x0010, 0x0010, "PN", leak + "^PATIENT");
    test::set_text(file, 0x0010, 0x0020, "LO", leak + "-ID");
    test::set_text(file, 0x0008, 0x0090, "PN", leak + "^REFERRER");
    test::replace_element(file, 0x0008, 0x0070,
                          test::element(0x0008, 0x0070, "LO", leak) + test::element(0x0008, 0x0080, "LO", leak) +
                              test::element(0x0008, 0x103e, "LO", leak) + test::element(0x0008, 0x1070, "PN", leak) +
                              test::element(0x0009, 0x0010, "LO", leak) + test::element(0x0009, 0x1001, "LO", leak));
  }
  const Answer inspected = run({"inspect", path("named")}), as_json = run({"inspect", path("named"), "--json"});
  const Answer segmented = run({"segment", path("named"), "--case", path("named-case"), "--object", "MADE", "--json"});
  ASSERT_EQ(segmented.status, 0) << segmented.err;
  ASSERT_EQ(run({"export", "--case", path("named-case"), "--what", "materials", "--as", "dicom-seg", "--output", path("leak.dcm")}).status, 0);
  for (const Answer& a : {inspected, as_json, segmented}) EXPECT_THAT(a.out + a.err, Not(HasSubstr(leak)));
  for (const auto& [name, bytes] : test::snapshot(path("named-case"))) EXPECT_EQ(bytes.find(leak), std::string::npos) << name;
  EXPECT_EQ(test::read_bytes(path("leak.dcm")).find(leak), std::string::npos);
}

TEST_F(IntakeCommands, TextsThatAreNoUtf8DoNoHarm) {
  for (const auto& file : phantom::write_ct_series(made_->hu, path("latin")))
    test::set_text(file, 0x0018, 0x1210, "SH", "Br40\xe9\x1b[31m");
  test::write_bytes(path("latin/caf\xe9"), test::read_bytes(path("latin/IM0000003.dcm")).substr(0, 300));
  const Answer inspected = run({"inspect", path("latin"), "--json"});
  EXPECT_EQ(inspected.status, 0) << inspected.err;
  EXPECT_EQ(run({"segment", path("latin"), "--case", path("latin-case"), "--json"}).status, 0);
  const Answer odd = run({"segment", path("ct"), "--case", path("odd-case"), "--object", "caf\xe9"});
  EXPECT_EQ(odd.status, 2);
  EXPECT_THAT(odd.err, HasSubstr("UTF-8"));
  EXPECT_FALSE(fs::exists(path("odd-case")));
}

TEST_F(IntakeCommands, PipesAndDanglingLinksNeverHang) {
  fs::create_directories(path("pipes"));
  ASSERT_EQ(::mkfifo(path("pipes/fifo").c_str(), 0600), 0);
  ASSERT_EQ(::mkfifo(path("pipes/fifo.nrrd").c_str(), 0600), 0);
  fs::create_symlink("nowhere", path("pipes/dangling"));
  const auto start = std::chrono::steady_clock::now();
  for (const char* name : {"pipes", "pipes/fifo", "pipes/fifo.nrrd", "pipes/dangling"}) {
    const Answer answer = run({"segment", path(name), "--case", path("never")});
    EXPECT_EQ(answer.status, 2) << name;
    EXPECT_LE(std::ranges::count(answer.err, '\n'), 2) << answer.err;
  }
  EXPECT_EQ(run({"mark", "--case", path("case"), "--as", "cavity", "--name", "x", "--mask", path("pipes/fifo.nrrd")}).status, 2);
  EXPECT_EQ(run({"mark", "--case", path("case"), "--as", "cavity", "--name", "x", "--mask", path("pipes/fifo")}).status, 2);
  EXPECT_LT(std::chrono::steady_clock::now() - start, std::chrono::seconds(5));
  EXPECT_FALSE(fs::exists(path("never")));
}

TEST_F(IntakeCommands, RefusalsLeaveNoHalfCase) {
  auto gapped = phantom::CtSeriesOptions{};
  gapped.change = [](int slice, phantom::SliceTags& tags) { tags.skip = slice == 20 || slice == 21; };
  phantom::write_ct_series(made_->hu, path("gapped"), gapped);
  const Answer refused = run({"segment", path("gapped"), "--case", path("half")});
  EXPECT_EQ(refused.status, 2);
  EXPECT_THAT(refused.err, HasSubstr("--allow-gaps"));
  EXPECT_FALSE(fs::exists(path("half")));
  const Answer inspected = run({"inspect", path("gapped"), "--json"});
  EXPECT_EQ(inspected.status, 2);
  EXPECT_EQ(inspected.json()["series"][0]["usable"], false);
  const Answer allowed = run({"segment", path("gapped"), "--case", path("whole"), "--allow-gaps", "--json"});
  EXPECT_EQ(allowed.status, 0) << allowed.err;
}

/// Files cannot grow beyond a few bytes while this lives: what a full disk does to a program.
class FullDisk {
 public:
  FullDisk() {
    ::getrlimit(RLIMIT_FSIZE, &former_);
    handler_ = std::signal(SIGXFSZ, SIG_IGN);
    rlimit tiny = former_;
    tiny.rlim_cur = 4096;
    ::setrlimit(RLIMIT_FSIZE, &tiny);
  }
  ~FullDisk() {
    ::setrlimit(RLIMIT_FSIZE, &former_);
    std::signal(SIGXFSZ, handler_);
  }

 private:
  rlimit former_{};
  void (*handler_)(int) = SIG_DFL;
};

TEST_F(IntakeCommands, AFullDiskLeavesEverythingAsItWas) {
  const auto before = test::snapshot(path("case"));
  const std::string map = path("case/materials.nrrd");
  {
    const FullDisk full;
    EXPECT_EQ(run({"segment", path("ct"), "--case", path("full")}).status, 2);
    EXPECT_EQ(run({"segment", path("ct"), "--case", path("full"), "--materials", map}).status, 2);
    EXPECT_EQ(run({"segment", path("ct"), "--case", path("case")}).status, 2);
    for (const std::string as : {"dicom-seg", "nifti", "nrrd"})
      EXPECT_EQ(run({"export", "--case", path("case"), "--what", "materials", "--as", as, "--output",
                     path("full." + std::string(as == "nifti" ? "nii" : as == "nrrd" ? "nrrd" : "dcm"))}).status, 2) << as;
    EXPECT_EQ(run({"export", "--case", path("case"), "--what", "materials", "--as", "stl", "--output", path("full-stl")}).status, 2);
  }
  EXPECT_FALSE(fs::exists(path("full")));
  for (const char* name : {"full.dcm", "full.nii", "full.nrrd"}) EXPECT_FALSE(fs::exists(path(name))) << name;
  EXPECT_TRUE(fs::is_empty(path("full-stl")));
  EXPECT_EQ(run({"assess", "--case", path("case")}).status, 2);   // opened again, so what was begun is taken back
  EXPECT_EQ(test::snapshot(path("case")), before);
}

TEST_F(IntakeCommands, AMapThatLeavesAsSegComesBackAsOne) {
  const Answer written = run({"export", "--case", path("case"), "--what", "materials", "--as", "dicom-seg", "--output", path("map.dcm")});
  ASSERT_EQ(written.status, 0) << written.err;
  const auto before = read_labels(path("case/materials.nrrd"));
  ASSERT_EQ(run({"segment", path("ct"), "--case", path("from-seg"), "--materials", path("map.dcm")}).status, 0);
  EXPECT_EQ(read_labels(path("from-seg/materials.nrrd")).values, before.values);
}

TEST_F(IntakeCommands, AMarkComesFromASegAndLeavesInEveryFormat) {
  const Grid& grid = made_->hu.grid;
  const Vec3 centre = grid.lps_from_index({grid.size[0] / 2.0, grid.size[1] / 2.0, grid.size[2] / 2.0});
  write_dicom_seg({{"drawn", ball_mask(grid, centre, 9)}}, {.object_id = "MADE", .label = "DRAWN"}, path("drawn.dcm"));
  const Answer marked = run({"mark", "--case", path("case"), "--as", "zone", "--weight", "2", "--name", "place of care",
                             "--mask", path("drawn.dcm"), "--json"});
  ASSERT_EQ(marked.status, 0) << marked.err;
  EXPECT_EQ(marked.json()["voxels"], ball_mask(grid, centre, 9).voxel_count());
  for (const std::string as : {"nrrd", "nifti", "stl"})
    ASSERT_EQ(run({"export", "--case", path("case"), "--what", "marks", "--as", as, "--output", path("marks-" + as)}).status, 0);
  EXPECT_TRUE(fs::exists(path("marks-stl/place-of-care.stl")));
  EXPECT_EQ(read_mask(path("marks-nifti/place-of-care.nii.gz"), grid).voxel_count(), ball_mask(grid, centre, 9).voxel_count());
  ASSERT_EQ(run({"export", "--case", path("case"), "--what", "marks", "--as", "dicom-seg", "--output", path("marks.dcm")}).status, 0);
  EXPECT_GE(read_mask(path("marks.dcm"), grid).voxel_count(), ball_mask(grid, centre, 9).voxel_count());
  EXPECT_EQ(run({"mark", "--case", path("case"), "--remove", "place of care"}).status, 0);
}

TEST_F(IntakeCommands, ExportsToBadPlacesAreRefused) {
  const auto before = test::snapshot(path("case"));
  test::write_bytes(path("file"), "");
  for (const auto& [as, output] : std::vector<std::pair<std::string, std::string>>{
           {"dicom-seg", "no/where/m.dcm"}, {"dicom-seg", "m.nrrd"}, {"stl", "file/x"}, {"stl", "file"}, {"nifti", "no/where/m.nii"}}) {
    const Answer answer = run({"export", "--case", path("case"), "--what", "materials", "--as", as, "--output", path(output)});
    EXPECT_EQ(answer.status, 2) << as << " " << output << answer.err;
  }
  EXPECT_EQ(test::snapshot(path("case")), before);
}

}  // namespace
}  // namespace leastharm

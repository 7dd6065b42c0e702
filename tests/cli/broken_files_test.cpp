// Damaged midlines, outlines, masks and tracks at the command line: taken, or refused with status 2 in words that name the file.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "imaging/volume_file.h"
#include "support/commands.h"
#include "support/damage.h"
#include "support/file_bytes.h"
#include "support/test_volumes.h"

namespace leastharm::test {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using testing::AnyOf;
using testing::Eq;
using testing::HasSubstr;

/// A block of packing in a case of its own.
class BrokenFiles : public testing::Test {
 protected:
  void SetUp() override {
    grid_ = oblique_grid(40, 36, 30);
    Volume<std::int16_t> hu{grid_, std::vector<std::int16_t>(grid_.voxel_count(), -1000)};
    Volume<std::uint8_t> materials{grid_, std::vector<std::uint8_t>(grid_.voxel_count(), 0)};
    for (int k = 8; k < 24; ++k)
      for (int j = 10; j < 28; ++j)
        for (int i = 10; i < 32; ++i) hu.values[grid_.offset(i, j, k)] = -750, materials.values[grid_.offset(i, j, k)] = 3;
    write_hu(hu, folder_ / "ct.nrrd");
    write_labels(materials, folder_ / "truth.nrrd");
    ASSERT_EQ(run({"segment", text("ct.nrrd"), "--case", text("case"), "--materials", text("truth.nrrd")}).status, 0);
  }
  [[nodiscard]] std::string text(const std::string& name) const { return (folder_ / name).string(); }
  [[nodiscard]] json point(double i, double j, double k) const {
    const Vec3 p = grid_.lps_from_index({i, j, k});
    return {p.x(), p.y(), p.z()};
  }

  /// Runs a command on many damaged copies of a file.
  void expect_sound(const std::string& name, const json& good, std::vector<std::string> command, std::uint32_t seed) {
    constexpr int kTrials = 500;
    command.insert(command.begin() + 1, {"--case", text("case")});
    command.push_back(text(name));
    write_bytes(folder_ / name, good.dump(1));
    const Answer answer = run(command);
    ASSERT_EQ(answer.status, 0) << answer.err;
    Damage damage(seed);
    int refused = 0;
    for (int n = 0; n < kTrials; ++n) {
      std::string changed;
      fs::remove(folder_ / name);   // overwriting makes some file systems wait for the disk
      write_bytes(folder_ / name, n % 3 == 0 ? damage.in_bytes(good.dump(1)) : damage.in_keys(good, changed));
      const std::string before = read_bytes(folder_ / "case" / "case.json");
      const Answer said = run(command);
      ASSERT_THAT(said.status, AnyOf(Eq(0), Eq(2))) << n << " " << changed << ": " << said.err;
      if (said.status == 0) continue;
      ++refused;
      EXPECT_THAT(said.err, AnyOf(HasSubstr(name), HasSubstr("Track "))) << n << " " << changed;   // a track that misses is told by its id
      EXPECT_LE(std::ranges::count(said.err, '\n'), 2) << said.err;
      EXPECT_LT(said.err.size(), 1200u);
      EXPECT_EQ(read_bytes(folder_ / "case" / "case.json"), before);
    }
    EXPECT_GT(refused, kTrials / 4);
  }

  ScratchFolder folder_;
  Grid grid_;
};

TEST_F(BrokenFiles, MidlinesAreTakenOrRefusedInWords) {
  const Vec3 head = grid_.direction.col(2), front = -grid_.direction.col(1);
  const auto vector = [](const Vec3& v) { return std::to_string(v.x()) + "," + std::to_string(v.y()) + "," + std::to_string(v.z()); };
  expect_sound("midline.json", {{"midline_lps_mm", {point(20, 25, 2), point(20, 25, 15), point(20, 25, 27)}}},
               {"orient", "--head=" + vector(head), "--front=" + vector(front), "--by", "N. N.", "--midline"}, 1);
}

TEST_F(BrokenFiles, OutlinesAreTakenOrRefusedInWords) {
  json outlines = json::array();
  for (const double k : {10.0, 14.0, 20.0}) outlines.push_back({point(12, 12, k), point(28, 12, k), point(28, 26, k), point(12, 26, k)});
  expect_sound("outlines.json", {{"contours", outlines}}, {"mark", "--as", "cavity", "--name", "drawn", "--contours"}, 2);
}

TEST_F(BrokenFiles, TracksAreAssessedOrRefusedInWords) {
  const json needle{{"outer_mm", 3}, {"bore_mm", 2.4}, {"throw_mm", 5}, {"usable_mm", 150}};
  expect_sound("tracks.json", {{"tracks", {{{"id", "T1"}, {"entry_lps_mm", point(20, 2, 15)}, {"tip_lps_mm", point(20, 22, 15)}, {"needle", needle}}}}},
               {"assess", "--json", "--tracks"}, 3);
}

}  // namespace
}  // namespace leastharm::test

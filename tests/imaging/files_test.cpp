#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <sstream>

#include "imaging/error.h"
#include "imaging/hash.h"
#include "imaging/whole_file.h"
#include "support/grids.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;

std::string content(const fs::path& path) {
  std::ifstream stream(path);
  std::stringstream text;
  text << stream.rdbuf();
  return text.str();
}

class WholeFile : public testing::Test {
 protected:
  void SetUp() override {
    folder = fs::temp_directory_path() / ("leastharm-files-" + std::to_string(::getpid()));
    fs::create_directories(folder);
  }
  void TearDown() override { fs::remove_all(folder); }
  fs::path folder;
};

TEST_F(WholeFile, AFailedWriteLeavesTheOldFileAndNoRubbish) {
  write_whole(folder / "a.txt", std::string_view("old"));
  const auto fail = [](const fs::path& beside) {
    std::ofstream(beside) << "half";
    throw BadInput("the disk is full");
  };
  EXPECT_THROW(write_whole(folder / "a.txt", fail), BadInput);
  EXPECT_EQ(content(folder / "a.txt"), "old");
  EXPECT_EQ(std::distance(fs::directory_iterator(folder), {}), 1);
}

TEST_F(WholeFile, AFolderThatIsNotThereIsBadInput) {
  EXPECT_THROW(write_whole(folder / "none" / "a.txt", std::string_view("x")), BadInput);
}

TEST(Hash, IsSha256) {
  // FIPS 180-4's example, NIST CSRC: SHA-256("abc").
  EXPECT_EQ(sha256_hex(std::string_view("abc")), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

TEST(Hash, OfAVolumeSeesEveryValueAndThePlace) {
  Volume<std::uint8_t> volume{test::oblique_grid({4, 5, 6}, {1, 2, 3}), std::vector<std::uint8_t>(120, 7)};
  const std::string before = sha256_hex(volume);
  EXPECT_EQ(sha256_hex(volume), before);
  volume.values[119] = 8;
  const std::string changed = sha256_hex(volume);
  EXPECT_NE(changed, before);
  volume.grid.origin_lps_mm.x() += 0.01;
  EXPECT_NE(sha256_hex(volume), changed);
}

}  // namespace
}  // namespace leastharm

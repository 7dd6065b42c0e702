// The window's words: each once, each in the guide.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <set>

#include "window/screen_words.h"

namespace leastharm {
namespace {


TEST(ScreenWords, StandInTheGuideWithTheirOrigin) {
  std::ifstream stream(LEASTHARM_GUIDE);
  const std::string guide{std::istreambuf_iterator<char>(stream), {}};
  for (const WordEntry& entry : kWords) {
    const bool is_short = std::ranges::count(entry.english, ' ') < 3 && entry.english.find('%') == std::string_view::npos;
    if (is_short && entry.english.size() > 1) {
      const std::string_view word = entry.english.substr(entry.english.find_first_not_of(' '));
      EXPECT_NE(guide.find(word.substr(0, word.find_last_not_of(' ') + 1)), std::string::npos)
          << entry.english << " is not in the guide's table of words";
    }
  }
}

TEST(ScreenWords, AreEachThereOnceWithTheirOrigin) {
  std::set<std::string_view> keys;
  for (const WordEntry& entry : kWords) EXPECT_TRUE(keys.insert(entry.key).second) << entry.key;
  EXPECT_EQ(say("view.axial", "3", "60"), "Scanner's slice 3 of 60");
  EXPECT_EQ(say("verdict.above", "12"), "at most 12 % above the least possible");
}

}  // namespace
}  // namespace leastharm

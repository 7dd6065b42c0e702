// The archive's folder, held against RFC 8493 by sha256sum and by the rules written out here.
#include "planner/bag.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <set>

#include "imaging/error.h"
#include "support/bag_check.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;

TEST(Bag, KeepsToTheStandard) {
  const test::ScratchFolder scratch;
  Bag bag(scratch / "bag");
  bag.add_text("a guide.txt", "read me\n");
  bag.add_text("deep/down/100%.csv", "x\n");
  bag.add_text("empty", "");
  EXPECT_FALSE(fs::exists(scratch / "bag"));
  bag.finish({{"External-Identifier", "INVENTED\nobject"}});
  EXPECT_EQ(test::bag_faults(scratch / "bag"), "");
  EXPECT_FALSE(fs::exists(scratch / "bag.part"));
}

TEST(Bag, ShowsWhatWasTamperedWith) {
  const test::ScratchFolder scratch;
  {
    Bag bag(scratch / "bag");
    bag.add_text("samples.csv", "14.2\n");
    bag.finish({});
  }
  std::ofstream(scratch / "bag/data/samples.csv") << "24.2\n";
  EXPECT_NE(test::bag_faults(scratch / "bag"), "");
}

TEST(Bag, RefusesAPlaceThatIsTakenAndNamesThatLeaveIt) {
  const test::ScratchFolder scratch;
  fs::create_directories(scratch / "there");
  EXPECT_THROW(Bag(scratch / "there"), BadInput);
  Bag bag(scratch / "bag");
  EXPECT_THROW(bag.add_text("../outside", "x"), BadInput);
  bag.add_text("twice", "x");
  EXPECT_THROW(bag.add_text("twice", "y"), BadInput);
}

TEST(Bag, LeavesNothingBehindWhenItIsNotFinished) {
  const test::ScratchFolder scratch;
  { Bag(scratch / "bag").add_text("x", "y"); }
  EXPECT_TRUE(fs::is_empty(scratch.path()));
}

}  // namespace
}  // namespace leastharm

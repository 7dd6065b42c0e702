// The window's figures, gestures and search, without the window.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "support/open_bench.h"
#include "window/aim.h"

namespace leastharm {
namespace {

using testing::Contains;
using testing::HasSubstr;
using WorkbenchTest = test::OpenBench;

TEST_F(WorkbenchTest, GivesTheSameFiguresAsTheCommandLine) {
  open(made.root());
  settle();
  const Assessment expected = assess(bench.ground().body, *bench.file().request, bench.tracks());
  for (std::size_t n = 0; n < 2; ++n) {
    ASSERT_TRUE(bench.figures_of(n));
    EXPECT_EQ(to_json(bench.figures_of(n)->assessment), to_json(expected.tracks[n]));
  }
  EXPECT_EQ(bench.figures().programme.score, expected.programme.score);
  EXPECT_EQ(bench.figures().programme.mass_mg_p05, expected.programme.mass_mg_p05);
}

TEST_F(WorkbenchTest, FollowsAMoveWithExactFiguresAndThenWithChances) {
  open(made.root());
  settle();
  std::vector<bool> with_chances;
  bench.on_change = [&](unsigned changed) {
    const auto figures = bench.figures_of(0);
    if ((changed & kFiguresChanged) && figures && same_track(figures->asked, bench.track()))
      with_chances.push_back(figures->with_chances);
  };
  bench.begin_gesture("move");
  bench.move_track(with_tip(bench.track(), bench.track().tip_lps_mm + Vec3(0, 2, 1)));
  settle();
  ASSERT_GE(with_chances.size(), 2u);
  EXPECT_FALSE(with_chances.front());
  EXPECT_TRUE(with_chances.back());
  EXPECT_EQ(with_chances.size(), 3u) << "exact alone, exact with all tracks, then the chances, once";
  EXPECT_FALSE(bench.figures().programme_with_chances) << "all together waits until the track rests";
  bench.end_gesture();
  settle();
  EXPECT_TRUE(bench.figures().programme_with_chances);
}

TEST_F(WorkbenchTest, TakesBackAnyNumberOfStepsAndGoesForthAgain) {
  open(made.root());
  settle();
  const std::string first = plan();
  constexpr int kSteps = 150;
  for (int n = 0; n < kSteps; ++n)
    bench.move_track(with_tip(bench.track(), bench.track().tip_lps_mm + 0.1 * Vec3(1, 0.5, 0.2)));
  const std::string last = plan();
  EXPECT_NE(first, last);
  for (int n = 0; n < kSteps; ++n) bench.undo();
  EXPECT_EQ(plan(), first);
  EXPECT_TRUE(bench.undo_text().empty());
  for (int n = 0; n < kSteps; ++n) bench.redo();
  EXPECT_EQ(plan(), last);
  bench.undo();
  bench.remove_track();
  EXPECT_TRUE(bench.redo_text().empty()) << "a new change ends what could be gone forth to";
}

TEST_F(WorkbenchTest, MakesOneStepOfAGesture) {
  open(made.root());
  settle();
  const std::string first = plan();
  bench.begin_gesture("drag");
  for (int n = 1; n < 20; ++n)
    bench.move_track(with_tip(bench.track(), bench.track().tip_lps_mm + Vec3(0, 0.2, 0)));
  bench.end_gesture();
  bench.undo();
  EXPECT_EQ(plan(), first);
}

TEST_F(WorkbenchTest, SidesHoldOnlyOnceANamedPersonConfirmedThem) {
  {
    CaseFolder folder = CaseFolder::open(made.root());
    folder.file.frame.reset();
    folder.file.request->requests[0].sides = Sides::both;
    folder.save();
  }
  open(made.root());
  settle();
  EXPECT_FALSE(bench.ground().fault.empty());
  EXPECT_THAT(bench.figures_of(0)->assessment.side, HasSubstr("scanner"));
  bench.confirm_frame(bench.file().proposed_frame, "");
  EXPECT_FALSE(bench.file().frame);
  bench.confirm_frame(bench.file().proposed_frame, "R. Example");
  settle();
  EXPECT_TRUE(bench.ground().fault.empty());
  EXPECT_EQ(bench.figures_of(0)->assessment.side, "left");
  EXPECT_EQ(bench.figures_of(1)->assessment.side, "right");
}

TEST_F(WorkbenchTest, TheBoundFollowsTheNeedle) {
  open(made.root());
  settle();
  const double score = bench.figures().programme.score;
  bench.close();
  {
    CaseFolder folder = CaseFolder::open(made.root());
    folder.file.plan.certificate = Certificate{score / 1.12, 1 - 1 / 1.12, "all", "test"};
    folder.save();
  }
  open(made.root());
  settle();
  bool admissible = true;
  for (std::size_t n = 0; n < 2; ++n)
    admissible = admissible && bench.figures_of(n)->assessment.admissible;
  if (!admissible) GTEST_SKIP() << "the made tracks break a limit";
  ASSERT_TRUE(bench.certificate());
  EXPECT_NEAR(bench.certificate()->gap, 1 - 1 / 1.12, 1e-9);
  bench.move_track(with_tip(bench.track(), bench.track().tip_lps_mm + Vec3(0, 1, 0)));
  settle();
  ASSERT_TRUE(bench.certificate());
  EXPECT_NEAR(bench.certificate()->gap, 1 - score / 1.12 / bench.figures().programme.score, 1e-9);
  bench.remove_track();
  settle();
  EXPECT_FALSE(bench.certificate()) << "one core does not answer a request for two";
}

TEST_F(WorkbenchTest, StatementsStandWhateverIsTakenBackAndAChangeVoidsThem) {
  open(made.root());
  settle();
  bench.move_track(with_tip(bench.track(), bench.track().tip_lps_mm + Vec3(0, 1, 0)));
  bench.approve("conservator", "C. Example", false, "not before June", "");
  EXPECT_TRUE(changed_since(bench.file().approvals.back(), bench.file()).empty());
  bench.undo();
  ASSERT_EQ(bench.file().approvals.size(), 1u);
  EXPECT_THAT(changed_since(bench.file().approvals.back(), bench.file()), Contains("tracks"));
  bench.redo();
  EXPECT_TRUE(changed_since(bench.file().approvals.back(), bench.file()).empty());
  bench.approve("conservator", "", false, "", "");
  EXPECT_EQ(bench.file().approvals.size(), 1u);
}

TEST_F(WorkbenchTest, SearchesStopsAtWillAndAdopts) {
  open(made.root());
  settle();
  const std::string before = plan();
  bench.start_search();
  ASSERT_TRUE(loop.run_until([&] { return !bench.search().running; }, 120));
  ASSERT_TRUE(bench.search().proposal) << bench.search().fault;
  ASSERT_TRUE(bench.search().proposal->feasible);
  EXPECT_FALSE(bench.search().curve.empty());
  EXPECT_EQ(plan(), before) << "a search changes nothing until it is adopted";
  bench.adopt(0);
  settle();
  EXPECT_EQ(bench.tracks().size(), 2u);
  ASSERT_TRUE(bench.certificate());
  EXPECT_GE(bench.figures().programme.score, bench.certificate()->lower_bound - 1e-9);
  bench.undo();
  EXPECT_EQ(plan(), before);
}

TEST(Aim, TakesAnEntryInsideTheBodyOutOfIt) {
  const test::WindowCase made("aim");
  Body body;
  body.grid = made.body.hu.grid;
  body.hu = made.body.hu.values;
  body.materials = made.body.materials.values;
  const Vec3 tip = made.body.left_packing_lps_mm;
  const Vec3 out = outside_of(body, tip + Vec3(0, -20, 0), tip);
  EXPECT_LT(out.y(), -40) << "beyond the wrapping in front";
  EXPECT_EQ(body.material_at(body.grid.voxel_at(out)), Material::air);
  EXPECT_EQ(outside_of(body, out + Vec3(0, -5, 0), tip), out + Vec3(0, -5, 0))
      << "a free entry stays";
  const Track aimed = first_aim(body, tip, test::WindowCase::request().needles.front());
  EXPECT_EQ(aimed.tip_lps_mm, tip);
  EXPECT_EQ(body.material_at(body.grid.voxel_at(aimed.entry_lps_mm)), Material::air);
}

}  // namespace
}  // namespace leastharm

// Everything the window knows and can do, without the window.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>

#include <algorithm>
#include <csignal>
#include <fstream>
#include <set>

#include "support/window_case.h"
#include "window/aim.h"
#include "window/screen_words.h"
#include "window/versions.h"
#include "window/workbench.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;
using testing::Contains;
using testing::HasSubstr;

class WorkbenchTest : public testing::Test {
 protected:
  void open(const fs::path& root) {
    bench.open(root);
    ASSERT_TRUE(loop.run_until(
        [&] { return bench.stage() == Stage::ready || bench.stage() == Stage::refused; }));
  }
  void settle() {
    ASSERT_TRUE(loop.run_until([&] {
      return bench.idle() && (bench.stage() != Stage::ready || bench.figures_are_whole());
    }));
  }
  [[nodiscard]] std::string plan() const { return to_json(bench.file()).at("plan").dump(); }
  [[nodiscard]] static Vec3 nudge(int n) { return {0.3 * n, 0.1 * n, -0.2 * n}; }

  test::WindowCase made{testing::UnitTest::GetInstance()->current_test_info()->name()};
  test::Loop loop;
  Workbench bench{loop.post()};
};

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

TEST_F(WorkbenchTest, KeepsEveryChangeAndTheView) {
  open(made.root());
  settle();
  const Vec3 tip = bench.track().tip_lps_mm + Vec3(0, 3, 0);
  bench.move_track(with_tip(bench.track(), tip));
  bench.take_in_hand(1);
  ViewState view = bench.view();
  view.depth_mm = 33;
  view.grey = {-900, 300};
  bench.set_view(view);
  bench.close();
  const CaseFolder folder = CaseFolder::open(made.root());
  EXPECT_LT((folder.file.plan.tracks[0].tip_lps_mm - tip).norm(), 1e-9);
  const_cast<CaseFolder&>(folder) =
      CaseFolder::open_or_create(made.base / "other");  // lets go of the case
  open(made.root());
  EXPECT_EQ(bench.view().depth_mm, 33);
  EXPECT_EQ(bench.view().grey.white_hu, 300);
  EXPECT_EQ(bench.track().id, "T2");
}

TEST_F(WorkbenchTest, MarksByEveryWayAsTheCommandLineDoes) {
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

TEST_F(WorkbenchTest, RefusesAMarkWithoutANameAndSaysSo) {
  open(made.root());
  bench.make_mark({.name = "", .at_lps_mm = made.body.left_packing_lps_mm});
  settle();
  EXPECT_EQ(bench.file().marks.size(), 1u) << "the amulet alone";
  EXPECT_EQ(bench.take_messages().size(), 1u);
  EXPECT_TRUE(bench.undo_text().empty());
}

TEST_F(WorkbenchTest, WaivesAndProtectsAgain) {
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

TEST_F(WorkbenchTest, AStrokeKeepsToTheBorderAndUndoRestoresEveryVoxel) {
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

TEST_F(WorkbenchTest, ADenseObjectPaintedAwayIsProtectedNoMore) {
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

TEST_F(WorkbenchTest, FormerVersionsAreToldApartInWords) {
  open(made.root());
  settle();
  bench.move_track(with_tip(bench.track(), bench.track().tip_lps_mm + Vec3(0, 4, 0)));
  settle();
  bench.make_mark(
      {.name = "heart", .kind = MarkKind::keep_out, .at_lps_mm = {0, -10, 290}, .radius_mm = 6});
  settle();
  const auto versions = former_versions(bench.root(), bench.file());
  ASSERT_GE(versions.size(), 2u);
  const auto lines = plan_changes(versions.back().file, bench.file());
  EXPECT_THAT(lines, Contains(HasSubstr("tip moved 4.0 mm")));
  EXPECT_THAT(lines, Contains(HasSubstr("heart")));
  EXPECT_TRUE(plan_changes(bench.file(), bench.file()).empty());
  RequestFile request = *bench.file().request;
  request.limits.clearance_mm = 4;
  CaseFile other = bench.file();
  other.request = request;
  EXPECT_THAT(plan_changes(bench.file(), other),
              testing::ElementsAre(HasSubstr("limits/clearance_mm")));
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

TEST_F(WorkbenchTest, ADamagedCaseIsMendedFromItsHistory) {
  open(made.root());
  settle();
  bench.move_track(with_tip(bench.track(), bench.track().tip_lps_mm + Vec3(0, 1, 0)));
  bench.close();
  std::ofstream(made.root() / "case.json") << "{ \"schema\": 1, \"object";
  open(made.root());
  ASSERT_EQ(bench.stage(), Stage::refused);
  EXPECT_EQ(bench.refusal(), Refusal::damaged);
  bench.restore_from_history();
  ASSERT_TRUE(loop.run_until([&] { return bench.stage() != Stage::reading; }));
  EXPECT_EQ(bench.stage(), Stage::ready);
  EXPECT_EQ(bench.tracks().size(), 2u);
  EXPECT_TRUE(fs::exists(made.root() / "case.json.damaged"));
}

TEST_F(WorkbenchTest, AMovedCtIsFoundAgainByItsHash) {
  const fs::path elsewhere = made.base.string() + "-elsewhere";  // not beside the case, where it would be found unasked
  fs::create_directories(elsewhere);
  fs::rename(made.ct(), elsewhere / "ct.nrrd");
  open(made.root());
  ASSERT_EQ(bench.stage(), Stage::refused);
  EXPECT_EQ(bench.refusal(), Refusal::missing_ct);
  Volume<std::int16_t> other = made.body.hu;
  other.values[5] = 77;
  write_hu(other, made.base / "wrong.nrrd");
  bench.find_ct(made.base / "wrong.nrrd");
  ASSERT_TRUE(loop.run_until([&] { return bench.stage() != Stage::reading; }));
  EXPECT_EQ(bench.stage(), Stage::refused) << "another CT is never taken";
  bench.find_ct(elsewhere / "ct.nrrd");
  ASSERT_TRUE(loop.run_until(
      [&] { return bench.stage() == Stage::ready || bench.stage() == Stage::refused; }));
  EXPECT_EQ(bench.stage(), Stage::ready) << bench.refusal_text();
  bench.close();
  fs::remove_all(elsewhere);
}

TEST_F(WorkbenchTest, ACaseThatIsOpenElsewhereStaysShut) {
  const CaseFolder held = CaseFolder::open(made.root());
  open(made.root());
  EXPECT_EQ(bench.stage(), Stage::refused);
  EXPECT_THAT(bench.refusal_text(), HasSubstr("open in another program"));
}

TEST_F(WorkbenchTest, AFullDiskIsSaidAndNothingIsLost) {
  open(made.root());
  settle();
  const std::string before =
      to_json(parse_case_file(nlohmann::json::parse(std::ifstream(made.root() / "case.json"))))
          .dump();
  // A limit on the size of files stands in for a full disk: every write fails.
  std::signal(SIGXFSZ, SIG_IGN);
  rlimit usual{};
  getrlimit(RLIMIT_FSIZE, &usual);
  const rlimit none{16, usual.rlim_max};
  setrlimit(RLIMIT_FSIZE, &none);
  bench.move_track(with_tip(bench.track(), bench.track().tip_lps_mm + Vec3(0, 2, 0)));
  loop.run_until([&] { return !bench.keep_fault().empty(); }, 20);
  setrlimit(RLIMIT_FSIZE, &usual);
  ASSERT_FALSE(bench.keep_fault().empty());
  EXPECT_FALSE(bench.is_kept());
  EXPECT_EQ(
      to_json(parse_case_file(nlohmann::json::parse(std::ifstream(made.root() / "case.json"))))
          .dump(),
      before);
  const Vec3 tip = bench.track().tip_lps_mm;
  bench.keep_again();
  settle();
  EXPECT_TRUE(bench.is_kept());
  bench.close();
  EXPECT_LT((CaseFolder::open(made.root()).file.plan.tracks[0].tip_lps_mm - tip).norm(), 1e-9);
}

/// What a child process kept before it was killed.
int strokes_kept(const fs::path& root) {
  const auto corrections = root / kCorrectionsFile;
  if (!fs::exists(corrections)) return 0;
  const auto map = read_labels(corrections);
  std::set<int> planes;
  for (int k = 0; k < map.grid.size[2]; ++k)
    for (int j = 0; j < map.grid.size[1]; ++j)
      for (int i = 0; i < map.grid.size[0]; ++i)
        if (map.values[map.grid.offset(i, j, k)] != kNotCorrected) planes.insert(k);
  return static_cast<int>(planes.size());
}

TEST(Killed, InMidEditLosesAtMostTheLastStroke) {
  const test::WindowCase made("killed");
  int pipe_ends[2];
  ASSERT_EQ(pipe(pipe_ends), 0);
  const pid_t child = fork();
  if (child == 0) {
    test::Loop loop;
    Workbench bench(loop.post());
    bench.open(made.root());
    loop.run_until([&] { return bench.stage() == Stage::ready; });
    for (char n = 0; n < 8; ++n) {  // one stroke a slice
      const Vec3 at = made.body.left_packing_lps_mm + Vec3(0, 0, 3 * n);
      bench.paint({{at}, 1.2, Material::resin, true});
      loop.run_until([&] { return bench.idle() && bench.is_kept(); });
      if (write(pipe_ends[1], &n, 1) != 1) _exit(1);
    }
    _exit(0);
  }
  char done = 0;
  while (done < 4) ASSERT_EQ(read(pipe_ends[0], &done, 1), 1);
  kill(child, SIGKILL);
  waitpid(child, nullptr, 0);
  close(pipe_ends[0]);
  close(pipe_ends[1]);
  const CaseFolder folder = CaseFolder::open(made.root());
  EXPECT_EQ(sha256_hex(folder.read_materials()), folder.file.materials_sha256)
      << "never half written";
  EXPECT_GE(strokes_kept(made.root()), 5) << "strokes 0 to 4 were kept before the kill";
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

TEST_F(WorkbenchTest, OutlinesAreKeptUntilTheyHaveBecomeAMark) {
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

// A case in the window: what is kept, former versions, and what goes wrong with files.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>

#include <algorithm>
#include <csignal>
#include <fstream>

#include "support/open_bench.h"
#include "window/versions.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;
using testing::Contains;
using testing::HasSubstr;
using WindowCaseTest = test::OpenBench;

TEST_F(WindowCaseTest, KeepsEveryChangeAndTheView) {
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

TEST_F(WindowCaseTest, FormerVersionsAreToldApartInWords) {
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

TEST_F(WindowCaseTest, ADamagedCaseIsMendedFromItsHistory) {
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

TEST_F(WindowCaseTest, AMovedCtIsFoundAgainByItsHash) {
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

TEST_F(WindowCaseTest, ACaseThatIsOpenElsewhereStaysShut) {
  const CaseFolder held = CaseFolder::open(made.root());
  open(made.root());
  EXPECT_EQ(bench.stage(), Stage::refused);
  EXPECT_THAT(bench.refusal_text(), HasSubstr("open in another program"));
}

TEST_F(WindowCaseTest, AFullDiskIsSaidAndNothingIsLost) {
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

}  // namespace
}  // namespace leastharm

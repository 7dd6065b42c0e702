// What a person feels in the window: how long a case takes to open, a frame of a drag to be drawn, and the figures to
// follow the needle. The real window with synthetic mouse, on an invented body of 13 million voxels and on the same
// body scanned with 512 x 512 x 600. Beside the time that passes stands the CPU time of the window's own thread, which
// other work on the machine does not lengthen:
//   xvfb-run -a -s "-screen 0 2560x1440x24 -noreset" build/bin/window_table [FOLDER THAT KEEPS THE CASES]
#include <QApplication>
#include <QElapsedTimer>
#include <QMouseEvent>
#include <QStandardPaths>
#include <QTimer>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <functional>
#include <vector>

#include "phantom_data/ct_series.h"
#include "phantom_data/phantom.h"
#include "planner/case.h"
#include "support/test_volumes.h"
#include "window/aim.h"
#include "window/ground.h"
#include "window/main_window.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;

constexpr int kMoves = 120;

/// A case whose map is the truth: the packing as cavity, the dense objects protected, one track.
void make_case(const fs::path& base, const phantom::PhantomOptions& options) {
  if (fs::exists(base / "case" / "case.json")) return;
  phantom::Phantom adult = phantom::make_phantom("adult", options);
  phantom::write_ct_series(adult.hu, base / "ct");
  CaseFolder folder = CaseFolder::open_or_create(base / "case");
  const CtVolume read = read_ct(base / "ct");
  CaseFile& file = folder.file;
  file.object_id = "INVENTED";
  file.ct = {.path = "../ct", .series_uid = read.series_uid, .sha256 = read.sha256, .grid = read.hu.grid, .noise_hu = 20};
  file.frame = file.proposed_frame = adult.frame;
  file.frame_by = "R. Example";
  const Volume<std::uint8_t> confidence{adult.truth.grid, std::vector<std::uint8_t>(adult.truth.values.size(), 235)};
  folder.write_map(adult.truth, confidence);
  static_cast<void>(folder.protect_dense(adult.truth));
  folder.put_mark({.name = "packing", .kind = MarkKind::cavity, .made_by = {{"material", "packing"}}},
                  material_mask(adult.truth, Material::packing));
  file.request = RequestFile{};
  file.request->requests = {{.id = "P", .cavity = "packing", .material = Material::packing, .assays = {{"analysis", 5}}}};
  file.request->needles = {needle_catalogue().front()};
  Body body;
  body.grid = adult.truth.grid;
  body.hu = adult.hu.values;
  body.materials = adult.truth.values;
  Track track = first_aim(body, adult.points.at("packing_left"), needle_catalogue().front());
  track.id = "T1";
  track.request = "P";
  file.plan.tracks = {track};
  folder.save();
}

/// Handles events until `done`; returns the milliseconds that passed. Sleeps between events, as a window does.
double until(const std::function<bool()>& done) {
  QElapsedTimer timer;
  timer.start();
  QTimer beat;   // so that it is asked now and then even where no event comes
  beat.start(20);
  while (!done() && timer.elapsed() < 120'000) QApplication::processEvents(QEventLoop::WaitForMoreEvents);
  return static_cast<double>(timer.nsecsElapsed()) / 1e6;
}

double cpu_ms() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) * 1e3 + static_cast<double>(now.tv_nsec) / 1e6;
}

/// Drags the tip in one of the pictures.
class Hand {
 public:
  explicit Hand(PlaneView& view) : view_(view), tip_(view.tip_at()) { send(QEvent::MouseButtonPress, tip_); }
  ~Hand() {
    send(QEvent::MouseMove, tip_);  // back: what is measured next begins at the same place
    send(QEvent::MouseButtonRelease, tip_);
  }
  Hand(const Hand&) = delete;
  Hand& operator=(const Hand&) = delete;
  void move(int n) { send(QEvent::MouseMove, tip_ + QPointF(14 * std::sin(n * 0.21), 9 * std::sin(n * 0.13))); }

 private:
  void send(QEvent::Type type, const QPointF& at) {
    const bool held = type != QEvent::MouseButtonRelease;
    QMouseEvent event(type, at, view_.mapToGlobal(at.toPoint()), type == QEvent::MouseMove ? Qt::NoButton : Qt::LeftButton,
                      held ? Qt::LeftButton : Qt::NoButton, Qt::NoModifier);
    QApplication::sendEvent(&view_, &event);
  }
  PlaneView& view_;
  QPointF tip_;
};

bool are_there(Workbench& bench, bool chances) {
  const TrackFiguresPtr figures = bench.figures_of(0);
  return figures && figures->asked.tip_lps_mm == bench.track().tip_lps_mm && (figures->with_chances || !chances);
}

std::string row(std::vector<double> ms) {
  std::ranges::sort(ms);
  char text[64];
  std::snprintf(text, sizeof text, "%.1f / %.1f / %.1f", ms[ms.size() / 2], ms[ms.size() * 95 / 100], ms.back());
  return text;
}

struct Times {
  std::vector<double> frames, cpu, exact, chances;
};

/// As fast as the window takes the moves, every one drawn with its figures before the next; then one by one, with the
/// chances that follow each.
Times drag(Workbench& bench, PlaneView& view) {
  Times times;
  Hand hand(view);
  for (int n = 1; n <= kMoves; ++n) {
    QElapsedTimer timer;
    timer.start();
    const double cpu_before = cpu_ms();
    hand.move(n);
    until([&] { return are_there(bench, false); });
    times.exact.push_back(static_cast<double>(timer.nsecsElapsed()) / 1e6);
    QApplication::processEvents();  // draws
    times.cpu.push_back(cpu_ms() - cpu_before);
    times.frames.push_back(static_cast<double>(timer.nsecsElapsed()) / 1e6);
  }
  until([&] { return are_there(bench, true); });
  for (int n = 1; n <= kMoves / 4; ++n) {
    QElapsedTimer timer;
    timer.start();
    hand.move(n);
    until([&] { return are_there(bench, true); });
    times.chances.push_back(static_cast<double>(timer.nsecsElapsed()) / 1e6);
  }
  return times;
}

void measure(const char* body, const fs::path& base, QSize size) {
  MainWindow window(WindowOptions{.version = "", .run_command = {}});
  Workbench& bench = window.bench();
  window.resize(size);
  window.show();
  window.open(base / "case");
  const double open_s = until([&] { return bench.stage() == Stage::ready; }) / 1000;
  until([&] { return window.is_quiet(); });
  // In the section its plane stays; in the slice the section turns with the needle, and all pictures are cut anew.
  for (const auto& [where, view] : {std::pair<const char*, PlaneView*>{"section", &window.section()},
                                    std::pair<const char*, PlaneView*>{"slice", &window.axial()}}) {
    const Times times = drag(bench, *view);
    until([&] { return window.is_quiet(); });
    std::printf("| %s | %d x %d | %.1f | %s | %s | %s | %s | %s |\n", body, size.width(), size.height(), open_s, where,
                row(times.frames).c_str(), row(times.cpu).c_str(), row(times.exact).c_str(), row(times.chances).c_str());
    std::fflush(stdout);
  }
}

void run(const fs::path& work) {
  make_case(work / "small", {});
  // The same body, 512 x 512 x 600.
  make_case(work / "large", {.spacing_mm = Vec3(0.7, 280.0 / 512, 768.0 / 600)});
  std::printf("| body | window | opens, s | drag in | a frame, ms (median / 95 %% / worst) | of it CPU, ms | exact figures there, ms | chances there, ms |\n"
              "| --- | --- | ---: | --- | ---: | ---: | ---: | ---: |\n");
  for (const char* body : {"small", "large"}) {
    const auto grid = CaseFolder::open(work / body / "case").file.ct.grid.size;
    const std::string name = std::to_string(grid[0]) + " x " + std::to_string(grid[1]) + " x " + std::to_string(grid[2]);
    for (const QSize size : {QSize(1280, 800), QSize(2560, 1440)}) measure(name.c_str(), work / body, size);
  }
}

}  // namespace
}  // namespace leastharm

int main(int count, char** arguments) {
  QStandardPaths::setTestModeEnabled(true);
  QApplication application(count, arguments);
  const leastharm::test::ScratchFolder scratch;
  leastharm::run(count > 1 ? arguments[1] : scratch.path());
}

// Pictures of every state of the window, for people to look at:
//   xvfb-run -a -s "-screen 0 2560x1440x24" build/bin/window_pictures DEMO OUTPUT [STATE...]
// DEMO is the folder that `leastharm demo --output DEMO` made; it is copied, never changed.
#include <unistd.h>

#include <QApplication>
#include <QDir>
#include <QElapsedTimer>
#include <QLineEdit>
#include <QListWidget>
#include <QMouseEvent>
#include <QPushButton>
#include <QSettings>
#include <QSurfaceFormat>
#include <QTemporaryDir>
#include <algorithm>
#include <filesystem>
#include <functional>
#include <iostream>

#include "planner/cylinder.h"
#include "viewer/command_line.h"
#include "window/aim.h"
#include "window/main_window.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;

constexpr int kPatienceMs = 600'000;

/// Handles events until `done`.
void wait_for(const std::function<bool()>& done) {
  QElapsedTimer timer;
  timer.start();
  while (!done() && timer.elapsed() < kPatienceMs)
    QApplication::processEvents(QEventLoop::AllEvents, 20);
}

class Photographer {
 public:
  Photographer(const fs::path& demo, fs::path output) : demo_(demo), output_(std::move(output)) {
    fs::create_directories(output_);
    fs::create_directories(work_);
  }
  Photographer(const Photographer&) = delete;
  Photographer& operator=(const Photographer&) = delete;
  ~Photographer() {
    window_.reset();
    fs::remove_all(work_);
  }

  /// Each state in a window of its own, at both sizes.
  void take(const std::string& state, const std::function<void()>& prepare) {
    for (const QSize size : {QSize(1280, 800), QSize(2560, 1440)}) {
      const double scale = size.width() > 2000 ? 1.5 : 1;  // as people set it on such a screen
      fresh_case();
      window_ = std::make_unique<MainWindow>(
          WindowOptions{.version = "", .run_command = run_command_line});
      window_->resize(size);
      window_->set_look(scale, false);
      window_->show();
      prepare();
      const fs::path file = output_ / (state + "-" + std::to_string(size.width()) + "x" +
                                       std::to_string(size.height()) + ".png");
      window_->grab().save(QString::fromStdString(file.string()));
      std::cout << file.string() << std::endl;
      window_.reset();
    }
  }

  MainWindow& window() { return *window_; }
  Workbench& bench() { return window_->bench(); }
  [[nodiscard]] fs::path case_root() const { return work_ / "case"; }
  [[nodiscard]] fs::path ct() const { return work_ / "ct"; }
  void edit(const std::function<void(CaseFile&)>& how) const {
    CaseFolder folder = CaseFolder::open(case_root());
    how(folder.file);
    folder.save();
  }
  void open() {
    window_->open(case_root());
    settle();
  }
  void settle() {
    int quiet = 0;
    wait_for([&] { return (quiet = window_->is_quiet() ? quiet + 1 : 0) >= 5; });
  }
  /// Opens the Search drawer on a request that is soon answered: cores from a ball of packing.
  void ask_of_a_spot(int cores, double need_mg) {
    open();
    bench().make_mark({.name = "left packing", .at_lps_mm = bench().track().tip_lps_mm, .radius_mm = 14});
    settle();
    RequestFile request = *bench().file().request;
    Request& r = request.requests.front();
    r.cavity = "left packing";
    r.sides = Sides::any;
    r.replicates = cores;
    r.spacing_mm = 5;
    r.assays = {{"gas chromatography with mass spectrometry", need_mg}};
    request.time_s = 20;
    bench().set_request(request);
    settle();
    window_->open_drawer(Drawer::search);
    settle();
  }
  void press(const char* text) {
    for (QPushButton* button : window_->findChildren<QPushButton*>())
      if (button->isVisible() && button->text() == QString::fromUtf8(text)) return button->click();
    std::cerr << "no button \"" << text << "\"\n";
  }
  /// A stroke of the mouse round a point of the scanner's slice.
  void outline(const QPointF& centre, double radius) {
    const auto send = [&](QEvent::Type type, double angle, Qt::MouseButton button) {
      const QPointF at = centre + radius * QPointF(std::cos(angle), 0.7 * std::sin(angle));
      QMouseEvent event(type, at, button,
                        type == QEvent::MouseButtonRelease ? Qt::NoButton : Qt::LeftButton,
                        Qt::NoModifier);
      QApplication::sendEvent(&window_->axial(), &event);
    };
    send(QEvent::MouseButtonPress, 0, Qt::LeftButton);
    for (double a = 0.1; a < 6.2; a += 0.1) send(QEvent::MouseMove, a, Qt::NoButton);
    send(QEvent::MouseButtonRelease, 6.2, Qt::LeftButton);
  }

 private:
  void fresh_case() const {
    fs::remove_all(work_);
    fs::create_directories(work_);
    fs::copy(demo_ / "case", case_root(), fs::copy_options::recursive);
    fs::create_directory_symlink(fs::absolute(demo_) / "ct", ct());
  }

  fs::path demo_, output_,
      work_ = fs::temp_directory_path() / ("leastharm-pictures-" + std::to_string(::getpid()));
  std::unique_ptr<MainWindow> window_;
};

void keep_tracks(CaseFile& file, std::size_t count) {
  file.plan.tracks.resize(std::min(count, file.plan.tracks.size()));
  file.plan.certificate.reset();
  file.approvals.clear();
}

std::vector<std::pair<std::string, std::function<void(Photographer&)>>> states() {
  return {
      {"empty", [](Photographer&) {}},
      {"reading",
       [](Photographer& p) {
         p.window().open(p.case_root());
         wait_for([&] { return p.bench().reading_lines().size() >= 2; });
       }},
      {"reading-ct",
       [](Photographer& p) {
         p.window().read_ct(p.ct());
         p.settle();
       }},
      {"refused",
       [](Photographer& p) {
         fs::remove(p.ct());
         p.open();
       }},
      {"no-tracks",
       [](Photographer& p) {
         p.edit([](CaseFile& f) { keep_tracks(f, 0); });
         p.open();
       }},
      {"unconfirmed",
       [](Photographer& p) {
         p.edit([](CaseFile& f) {
           f.frame.reset();
           keep_tracks(f, 2);
         });
         p.open();
         p.window().open_drawer(Drawer::body);
         p.settle();
       }},
      {"marking",
       [](Photographer& p) {
         p.open();
         p.window().open_drawer(Drawer::marks);
         p.settle();
         p.press("Outlines");
         p.settle();
         p.outline(p.window().axial().tip_at(), 26);
         p.settle();
       }},
      {"one-track",
       [](Photographer& p) {
         p.edit([](CaseFile& f) { keep_tracks(f, 1); });
         p.open();
         p.window().open_drawer(Drawer::needle);
         p.settle();
       }},
      {"five-tracks",
       [](Photographer& p) {
         p.open();
         while (p.bench().tracks().size() < 5) {
           p.bench().add_track(p.bench().tracks()[0].tip_lps_mm + Vec3(0, 0, 60));
           p.settle();
         }
         p.bench().take_in_hand(2);
         p.settle();
       }},
      {"overlays",
       [](Photographer& p) {
         p.open();
         ViewState view = p.bench().view();
         view.hatches = view.confidence = true;
         p.bench().set_view(view);
         p.settle();
       }},
      {"limits",
       [](Photographer& p) {
         p.open();
         p.window().open_drawer(Drawer::search);
         p.settle();
         p.press("Limits");
         p.settle();
       }},
      {"needles",
       [](Photographer& p) {
         p.open();
         p.window().open_drawer(Drawer::search);
         p.settle();
         p.press("Needles");
         p.settle();
       }},
      {"search-running",
       [](Photographer& p) {
         p.ask_of_a_spot(2, 5);
         p.bench().start_search();
         wait_for([&] { return !p.bench().search().curve.empty() || !p.bench().search().running; });
       }},
      {"search-done",
       [](Photographer& p) {
         p.ask_of_a_spot(2, 5);
         p.bench().start_search();
         p.settle();
       }},
      {"compared",
       [](Photographer& p) {  // what the case keeps of the search that made its plan
         p.open();
         p.window().open_drawer(Drawer::search);
         p.settle();
         QKeyEvent right(QEvent::KeyPress, Qt::Key_Right, Qt::NoModifier);
         p.window().comparison().setFocus();
         for (int n = 0; n < 2; ++n) QApplication::sendEvent(&p.window().comparison(), &right);
         p.settle();
       }},
      {"zone",
       [](Photographer& p) {
         p.open();
         p.window().open_drawer(Drawer::marks);
         p.settle();
         auto* list = p.window().panel(Drawer::marks).findChild<QListWidget*>();
         list->setCurrentRow(list->count() - 1);
         p.settle();
       }},
      {"infeasible",
       [](Photographer& p) {
         p.ask_of_a_spot(1, 400);
         p.bench().start_search();
         p.settle();
       }},
      {"approved",
       [](Photographer& p) {
         p.open();
         for (const char* role : {"radiologist", "conservator", "committee"})
           p.bench().approve(role, std::string("Invented ") + role, false,
                             role[1] == 'o' && role[2] == 'n' ? "not before the wrapping at the feet is stable" : "",
                             "");
         p.settle();
         p.window().open_drawer(Drawer::approve);
         p.settle();
       }},
      {"declined",
       [](Photographer& p) {
         p.open();
         p.bench().approve("conservator", "Invented conservator", true, "", "the wrapping at the feet is too brittle this year");
         p.settle();
         p.window().open_drawer(Drawer::approve);
         p.settle();
       }},
      {"voided",
       [](Photographer& p) {
         p.open();
         for (const char* role : {"radiologist", "conservator", "committee"})
           p.bench().approve(role, std::string("Invented ") + role, false, "", "");
         p.bench().move_track(with_tip(p.bench().track(),
                                       p.bench().track().tip_lps_mm + Vec3(2, 6, 3)));
         p.settle();
         p.window().open_drawer(Drawer::approve);
         p.settle();
       }},
      {"in-the-round",
       [](Photographer& p) {
         p.open();
         p.window().open_drawer(Drawer::solid);
         p.settle();
       }},
      {"keys",
       [](Photographer& p) {
         p.open();
         p.window().open_drawer(Drawer::keys);
         p.settle();
       }},
      {"large-high-contrast",
       [](Photographer& p) {
         p.open();
         p.window().set_look(1.6, true);
         p.window().open_drawer(Drawer::needle);
         p.settle();
       }},
  };
}

}  // namespace
}  // namespace leastharm

int main(int count, char** arguments) {
  if (count < 3) {
    std::cerr << "usage: window_pictures DEMO OUTPUT [STATE...]\n";
    return 2;
  }
  try {
    static_cast<void>(leastharm::CaseFolder::open(std::filesystem::path(arguments[1]) / "case"));
  } catch (const std::exception& fault) {
    std::cerr << fault.what() << "\n";
    return 2;
  }
  const QTemporaryDir settings;
  QSettings::setPath(QSettings::NativeFormat, QSettings::UserScope, settings.path());
  QApplication application(count, arguments);
  const std::vector<std::string> wanted(arguments + 3, arguments + count);
  leastharm::Photographer photographer(arguments[1], arguments[2]);
  for (const auto& [name, prepare] : leastharm::states())
    if (wanted.empty() || std::ranges::find(wanted, name) != wanted.end())
      photographer.take(name, [&] { prepare(photographer); });
}

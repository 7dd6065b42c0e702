#include "viewer/window.h"

#include <QVTKOpenGLNativeWidget.h>

#include <QApplication>
#include <QElapsedTimer>
#include <QSurfaceFormat>
#include <QTimer>
#include <algorithm>
#include <cstdlib>

#include "imaging/error.h"
#include "window/main_window.h"

namespace leastharm {
namespace {

constexpr int kSnapshotPatienceMs = 600'000;

void require_display() {
  const auto set = [](const char* name) {
    return std::getenv(name) != nullptr && *std::getenv(name) != 0;
  };
  if (set("DISPLAY") || set("WAYLAND_DISPLAY") || set("QT_QPA_PLATFORM")) return;
  throw BadInput(
      "view needs a display, and there is none here: run it in a desktop session, or under  "
      "xvfb-run -a leastharm view ...  (Debian's package xvfb)");
}

/// Waits until everything that was asked for has been computed and drawn.
void settle(MainWindow& window) {
  QElapsedTimer timer;
  timer.start();
  int quiet = 0;
  while (quiet < 5 && timer.elapsed() < kSnapshotPatienceMs) {
    QApplication::processEvents(QEventLoop::AllEvents, 20);
    quiet = window.is_quiet() ? quiet + 1 : 0;
  }
}

Drawer drawer_named(const std::string& name) {
  static const std::vector<std::string> names{"needle",  "marks", "body", "search",
                                              "approve", "solid", "keys", ""};
  const auto found = std::ranges::find(names, name);
  if (found == names.end())
    throw BadInput("--panel \"" + name +
                   "\": use needle, marks, body, search, approve, solid or keys");
  return static_cast<Drawer>(found - names.begin());
}

void save_snapshot(MainWindow& window, const WindowOptions& options) {
  settle(window);
  window.open_drawer(drawer_named(options.panel));
  settle(window);
  if (window.bench().stage() == Stage::refused) throw BadInput(window.bench().refusal_text());
  if (!window.grab().save(QString::fromStdString(options.snapshot.string()), "PNG"))
    throw BadInput("cannot write the picture " + options.snapshot.string() +
                   ": check that its folder exists and the disk has room");
}

}  // namespace

void open_window(const WindowOptions& options) {
  static_cast<void>(drawer_named(options.panel));
  require_display();
  QSurfaceFormat::setDefaultFormat(
      QVTKOpenGLNativeWidget::defaultFormat());  // before the application, for the 3D view
  int count = 1;
  char name[] = "leastharm";
  char* arguments[] = {name, nullptr};
  QApplication application(count, arguments);
  MainWindow window(options);
  const bool snapshot = !options.snapshot.empty();
  if (options.width_px > 0)
    window.resize(options.width_px, options.height_px);
  else
    window.resize(1280, 800);
  window.show();
  window.bench().keeps_view = !snapshot;  // a picture changes nothing
  if (!options.case_root.empty()) window.open(options.case_root);
  if (snapshot) return save_snapshot(window, options);
  QApplication::exec();
}

}  // namespace leastharm

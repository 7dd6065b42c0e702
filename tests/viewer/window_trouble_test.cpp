// The real window where things are unusual: large type, nothing open yet, a full disk, a case that is open elsewhere,
// no display.
#include <sys/resource.h>

#include <QProcess>
#include <csignal>
#include <fstream>
#include <set>

#include "phantom_data/ct_series.h"
#include "support/file_bytes.h"
#include "support/real_window.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using WindowUnderStress = test::RealWindow;

TEST_F(WindowUnderStress, GrowsWithTheTypeAndStaysWhole) {
  open();
  for (const double scale : {1.0, 1.6, 0.8}) {
    window->set_look(scale, scale > 1.5);
    wait();
    for (QPushButton* b : window->findChildren<QPushButton*>())
      if (b->isVisible()) {
        EXPECT_GE(b->width() + 2, b->fontMetrics().horizontalAdvance(b->text()))
            << b->text().toStdString();
      }
    EXPECT_GT(window->section().height(), 60) << "at scale " << scale;
  }
  window->set_look(1, false);
}

TEST_F(WindowUnderStress, ALookThatIsTakenBackLeavesNothingBehind) {
  open();
  const auto heights = [&] {
    window->open_drawer(Drawer::search);
    wait();
    std::vector<int> all;
    for (QWidget* field : window->panel(Drawer::search).findChildren<QWidget*>())
      if (field->isVisible()) all.push_back(field->height());
    return all;
  };
  window->set_look(1, false);
  const std::vector<int> before = heights();
  window->set_look(1.6, true);
  EXPECT_NE(heights(), before);
  window->set_look(1, false);
  EXPECT_EQ(heights(), before);
}

TEST_F(WindowUnderStress, TheSliceStaysToBeDrawnOnBesideLargeType) {
  open();
  window->set_look(1.6, true);
  window->open_drawer(Drawer::marks);
  wait();
  ASSERT_TRUE(window->axial().isVisible());
  QTest::mouseClick(button(window->panel(Drawer::marks), "Outlines"), Qt::LeftButton);
  const QPointF c = QRectF(window->axial().rect()).center();
  drag(window->axial(), c + QPointF(20, 0), c + QPointF(-20, 30));
  EXPECT_EQ(bench().draft().outlines.size(), 1u);
  EXPECT_GT(window->ledger().width(), window->axial().width()) << "and the ledger can still be read";
}

TEST_F(WindowUnderStress, TheStandingOfThePlanIsReadableBesideLargeType) {
  open();
  for (const double scale : {1.0, 1.6}) {
    window->set_look(scale, false);
    wait();
    const QLabel* standing = nullptr;
    for (QLabel* label : window->findChildren<QLabel*>())
      if (label->isVisible() && label->text().startsWith("Plan v")) standing = label;
    ASSERT_NE(standing, nullptr);
    EXPECT_GE(standing->width(), standing->fontMetrics().horizontalAdvance(standing->text())) << "at scale " << scale;
  }
  window->set_look(1, false);
}

TEST_F(WindowUnderStress, FollowsADragWithoutHoldingUp) {
  open();
  const QPointF tip = window->section().tip_at();
  std::vector<double> frames;
  QTest::mousePress(&window->section(), Qt::LeftButton, Qt::NoModifier, tip.toPoint());
  for (int n = 0; n < 60; ++n) {
    const QPointF at = tip + QPointF(20 * std::sin(n * 0.2), 8 * std::cos(n * 0.2));
    QElapsedTimer timer;
    timer.start();
    QMouseEvent move(QEvent::MouseMove, at, Qt::NoButton, Qt::LeftButton, Qt::NoModifier);
    QApplication::sendEvent(&window->section(), &move);
    // Needle and exact figures are drawn in one frame.
    while (bench().figures_of(0)->asked.tip_lps_mm != bench().track().tip_lps_mm && timer.elapsed() < 1000)
      QApplication::processEvents();
    QApplication::processEvents();
    frames.push_back(static_cast<double>(timer.nsecsElapsed()) * 1e-6);
  }
  QTest::mouseRelease(&window->section(), Qt::LeftButton, Qt::NoModifier, tip.toPoint());
  std::ranges::sort(frames);
  RecordProperty("median_frame_ms", std::to_string(frames[30]));
  std::cout << "frames of a drag at 1280 x 800, ms: median " << frames[30] << ", worst "
            << frames.back() << "\n";
  EXPECT_LT(frames[30], 200) << "a drag that stutters like this cannot be followed";
}

TEST_F(WindowUnderStress, OffersWhatItFindsInADroppedFile) {
  window = std::make_unique<MainWindow>(
      WindowOptions{.version = "test", .run_command = run_command_line});
  window->resize(1280, 800);
  window->show();
  QWidget* target = nullptr;
  for (QWidget* child : window->findChildren<QWidget*>())
    if (child->isVisible() && child->acceptDrops()) target = child;
  ASSERT_NE(target, nullptr);
  QMimeData dropped;
  dropped.setUrls({QUrl::fromLocalFile(QString::fromStdString(made.ct().string()))});
  QDragEnterEvent enter(QPoint(50, 50), Qt::CopyAction, &dropped, Qt::LeftButton, Qt::NoModifier);
  QApplication::sendEvent(target, &enter);
  EXPECT_TRUE(enter.isAccepted());
  QDropEvent drop(QPointF(50, 50), Qt::CopyAction, &dropped, Qt::LeftButton, Qt::NoModifier);
  QApplication::sendEvent(target, &drop);
  wait();
  bool offered = false;
  for (QPushButton* b : window->findChildren<QPushButton*>())
    offered = offered || (b->isVisible() && b->text().startsWith("Begin a case"));
  EXPECT_TRUE(offered);
}

TEST_F(WindowUnderStress, TellsWhatItFindsWhileAFolderIsRead) {
  const fs::path folder = made.base / "many";
  phantom::write_ct_series(made.body.hu, folder / "ct");
  fs::create_directories(folder / "notes");
  for (int n = 0; n < 6000; ++n) std::ofstream(folder / "notes" / std::to_string(n)) << "no image";
  window = std::make_unique<MainWindow>(
      WindowOptions{.version = "test", .run_command = run_command_line});
  window->show();
  window->read_ct(folder);
  bool told = false;
  // Looked for at every piece of news: on a busy machine many of them come between two looks at the clock.
  const auto look = [&] { told = told || shows("Headers read: "); };
  struct AtEveryEvent : QObject {
    std::function<void()> look;
    bool eventFilter(QObject*, QEvent* event) override {
      if (event->type() == QEvent::MetaCall) look();
      return false;
    }
  } watch;
  watch.look = look;
  window->installEventFilter(&watch);
  while (!window->is_quiet()) {
    QTest::qWait(1);
    look();
  }
  EXPECT_TRUE(told) << "before all was read";
  EXPECT_TRUE(shows("CT: ")) << "and what there is, afterwards";
}

TEST_F(WindowUnderStress, EveryFieldAndButtonIsReachedByTheTabKey) {
  open();
  for (const Drawer drawer : {Drawer::needle, Drawer::marks, Drawer::body, Drawer::search,
                              Drawer::approve}) {
    window->open_drawer(drawer);
    wait();
    QApplication::setActiveWindow(window.get());
    window->section().setFocus();
    std::set<QWidget*> reached;
    for (int n = 0; n < 200; ++n) {
      reached.insert(QApplication::focusWidget());
      QTest::keyClick(QApplication::focusWidget(), Qt::Key_Tab);
    }
    for (QWidget* w : window->findChildren<QWidget*>()) {
      const bool operable = qobject_cast<QAbstractButton*>(w) || qobject_cast<QComboBox*>(w) ||
                            qobject_cast<QAbstractSpinBox*>(w) ||
                            (qobject_cast<QLineEdit*>(w) && !qobject_cast<QAbstractSpinBox*>(w->parent()));
      const auto* named = qobject_cast<QAbstractButton*>(w);
      if (operable && w->isVisible() && w->isEnabled()) {
        EXPECT_TRUE(reached.contains(w)) << w->metaObject()->className() << " "
                                         << (named ? named->text().toStdString() : "");
      }
    }
  }
}

TEST_F(WindowUnderStress, SaysWhatToDoWhenTheDiskIsFull) {
  open();
  std::signal(SIGXFSZ, SIG_IGN);  // a limit on the size of files stands in for a full disk
  rlimit usual{};
  getrlimit(RLIMIT_FSIZE, &usual);
  const rlimit none{16, usual.rlim_max};
  setrlimit(RLIMIT_FSIZE, &none);
  QTest::keyClick(window.get(), Qt::Key_Right);
  wait();
  EXPECT_TRUE(shows("could not be kept"));
  EXPECT_FALSE(window->close()) << "closing would lose the change: that is said first";
  EXPECT_TRUE(shows("Closing now would lose"));
  setrlimit(RLIMIT_FSIZE, &usual);
  QTest::mouseClick(button(*window, "Try again"), Qt::LeftButton);
  wait();
  EXPECT_FALSE(shows("could not be kept"));
  EXPECT_TRUE(bench().is_kept());
}

TEST_F(WindowUnderStress, ACaseThatIsOpenElsewhereIsExplained) {
  const CaseFolder held = CaseFolder::open(made.root());
  window = std::make_unique<MainWindow>(WindowOptions{});
  window->show();
  window->open(made.root());
  wait();
  EXPECT_TRUE(shows("open in another program"));
  EXPECT_NE(button(*window, "Try again"), nullptr);
}

TEST_F(WindowUnderStress, ClosingWaitsForTheLastStroke) {
  open();
  const Vec3 at = made.body.left_packing_lps_mm;
  bench().paint({{at}, 4, Material::resin, true});
  window->close();
  window.reset();
  const CaseFolder folder = CaseFolder::open(made.root());
  EXPECT_EQ(folder.read_materials().at(made.body.hu.grid.voxel_at(at)),
            static_cast<std::uint8_t>(Material::resin));
}

/// Runs the program on its own; its exit status and what it said.
std::pair<int, std::string> run_program(const QStringList& arguments, bool with_display) {
  QProcess program;
  QProcessEnvironment environment = QProcessEnvironment::systemEnvironment();
  if (!with_display)
    for (const char* name : {"DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"})
      environment.remove(name);
  program.setProcessEnvironment(environment);
  program.setProcessChannelMode(QProcess::MergedChannels);
  program.start(LEASTHARM_PROGRAM, arguments);
  EXPECT_TRUE(program.waitForFinished(120'000));
  return {program.exitCode(), program.readAll().toStdString()};
}

TEST_F(WindowUnderStress, ASnapshotShowsTheWindowAndChangesNothing) {
  const std::string before = test::read_bytes(made.root() / "case.json");
  const fs::path picture = made.base / "window.png";
  const QStringList arguments{"view",       "--case", QString::fromStdString(made.root().string()),
                              "--snapshot", QString::fromStdString(picture.string()),
                              "--size",     "900x700",
                              "--track",    "T2"};
  const auto [status, said] = run_program(arguments, true);
  EXPECT_EQ(status, 0) << said;
  const QImage image(QString::fromStdString(picture.string()));
  EXPECT_EQ(image.size(), QSize(900, 700));
  EXPECT_EQ(test::read_bytes(made.root() / "case.json"), before);
  EXPECT_FALSE(fs::exists(made.root() / kViewFile));
  const auto [refused, why] = run_program(arguments, false);
  EXPECT_EQ(refused, 2);
  EXPECT_THAT(why, HasSubstr("xvfb-run"));
}

}  // namespace
}  // namespace leastharm

int main(int count, char** arguments) { return leastharm::test::run_window_tests(count, arguments); }

#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <QApplication>
#include <QComboBox>
#include <QElapsedTimer>
#include <QLineEdit>
#include <QListWidget>
#include <QMimeData>
#include <QPushButton>
#include <QSettings>
#include <QTemporaryDir>
#include <QtTest/QtTest>

#include "support/window_case.h"
#include "viewer/command_line.h"
#include "window/main_window.h"

namespace leastharm::test {

/// A window on the made case, with synthetic mouse and keys. Needs a display.
class RealWindow : public testing::Test {
 protected:
  RealWindow() { QSettings(QStringLiteral("leastharm"), QStringLiteral("leastharm")).clear(); }
  void open(int width = 1280, int height = 800) {
    window = std::make_unique<MainWindow>(
        WindowOptions{.version = "test", .run_command = run_command_line});
    window->resize(width, height);
    window->show();
    ASSERT_TRUE(QTest::qWaitForWindowExposed(window.get()));
    window->open(made.root());
    wait();
    ASSERT_EQ(window->bench().stage(), Stage::ready) << window->bench().refusal_text();
  }
  /// Until everything is computed, laid out and drawn: what a person would see, and click on, then.
  void wait(int milliseconds = 60'000) {
    QElapsedTimer timer;
    timer.start();
    int quiet = 0;
    while (quiet < 3 && timer.elapsed() < milliseconds) {
      QTest::qWait(5);
      quiet = window->is_quiet() ? quiet + 1 : 0;
    }
    ASSERT_GE(quiet, 3) << "the window never came to rest";
    // Layouts and pictures wait for timers, which a busy machine may still hold back.
    QCoreApplication::sendPostedEvents(nullptr, QEvent::LayoutRequest);
    window->repaint();
  }
  Workbench& bench() { return window->bench(); }
  template <typename Field>
  Field* field(Drawer drawer, int n) {
    return window->panel(drawer).findChildren<Field*>()[n];
  }
  QPushButton* button(QWidget& in, const std::string& text) {
    for (QPushButton* b : in.findChildren<QPushButton*>())
      if (b->text().toStdString() == text) return b;
    ADD_FAILURE() << "no button \"" << text << "\"";
    return nullptr;
  }
  /// Whether a text is to be seen in the window.
  bool shows(const char* text) {
    for (QLabel* label : window->findChildren<QLabel*>())
      if (label->isVisible() && label->text().contains(text)) return true;
    return false;
  }
  void drag(QWidget& view, const QPointF& from, const QPointF& to, int steps = 8) {
    QTest::mousePress(&view, Qt::LeftButton, Qt::NoModifier, from.toPoint());
    for (int n = 1; n <= steps; ++n) {
      QMouseEvent move(QEvent::MouseMove, from + (to - from) * n / steps,
                       view.mapToGlobal((from + (to - from) * n / steps).toPoint()), Qt::NoButton,
                       Qt::LeftButton, Qt::NoModifier);
      QApplication::sendEvent(&view, &move);
      QApplication::processEvents();
    }
    QTest::mouseRelease(&view, Qt::LeftButton, Qt::NoModifier, to.toPoint());
  }

  WindowCase made{testing::UnitTest::GetInstance()->current_test_info()->name()};
  std::unique_ptr<MainWindow> window;
};

/// `main` of a test on a display. What a person set (size of type, recent cases) is kept in a folder of this process
/// alone: tests that run beside it set other things.
inline int run_window_tests(int count, char** arguments) {
  testing::InitGoogleTest(&count, arguments);
  const QTemporaryDir settings;
  qputenv("XDG_CONFIG_HOME", settings.path().toLocal8Bit());  // of programs that a test starts as well
  QSettings::setPath(QSettings::NativeFormat, QSettings::UserScope, settings.path());
  QApplication application(count, arguments);
  return settings.isValid() ? RUN_ALL_TESTS() : 1;
}

}  // namespace leastharm::test

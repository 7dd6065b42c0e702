#pragma once

#include <QWidget>
#include <filesystem>
#include <functional>
#include <optional>

#include "imaging/intake.h"
#include "window/look.h"

class QLabel;
class QListWidget;
class QPushButton;
class QVBoxLayout;

namespace leastharm {

/// What a person can do where no case is open.
struct Errands {
  std::function<void(const std::filesystem::path&)> open_case, read_ct;
  std::function<void()> choose_case, choose_ct, make_demo;
};

/// The first page: a CT folder by drag and drop, a case, the demo, recent cases.
class StartPage : public QWidget {
 public:
  StartPage(const Look& look, Errands errands);
  void refresh();  ///< the recent cases

 protected:
  void dragEnterEvent(QDragEnterEvent* event) override;
  void dropEvent(QDropEvent* event) override;

 private:
  const Look& look_;
  Errands errands_;
  QListWidget* recent_;
};

/// What is being read, line by line as it is found; and what can be done about it.
class ReadingPage : public QWidget {
 public:
  explicit ReadingPage(const Look& look);
  void show_lines(const QString& title, const std::vector<std::string>& lines, bool busy);
  /// Buttons under the lines; the first one is the usual way on.
  void show_ways(const std::vector<std::pair<QString, std::function<void()>>>& ways);

 protected:
  void timerEvent(QTimerEvent*) override;

 private:
  QLabel *title_, *lines_, *busy_;
  QVBoxLayout* ways_;
  int seconds_ = 0, timer_ = 0;
};

[[nodiscard]] std::vector<std::filesystem::path> recent_cases();
void remember_case(const std::filesystem::path& root);

/// What intake found in a folder, in words: one line a series and its findings.
[[nodiscard]] std::vector<std::string> inspection_lines(const Inspection& inspection);
/// The same while the headers are still being read.
[[nodiscard]] std::vector<std::string> inspection_lines(const InspectionSoFar& so_far);

}  // namespace leastharm

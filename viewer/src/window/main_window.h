#pragma once

#include <QLabel>
#include <QMainWindow>
#include <QTimer>
#include <array>
#include <memory>

#include "viewer/window.h"
#include "window/comparison.h"
#include "window/job_queue.h"
#include "window/ledger.h"
#include "window/log_view.h"
#include "window/pages.h"
#include "window/panel.h"
#include "window/reading_bar.h"
#include "window/section_views.h"
#include "window/strip_view.h"

class QHBoxLayout;
class QPushButton;
class QStackedWidget;
class QVBoxLayout;

namespace leastharm {

/// The pages that fill the window.
enum Page { kStart, kReading, kDesk };

/// The drawers, in the order of their buttons.
enum class Drawer { needle, marks, body, search, approve, solid, keys, none };

/// The window: arranged round the needle.
class MainWindow : public QMainWindow {
 public:
  explicit MainWindow(const WindowOptions& options);
  ~MainWindow() override;

  [[nodiscard]] Workbench& bench() { return bench_; }
  [[nodiscard]] Desk& desk() { return desk_; }
  [[nodiscard]] SectionView& section() { return *section_; }
  [[nodiscard]] AcrossView& across() { return *across_; }
  [[nodiscard]] AxialView& axial() { return *axial_; }
  [[nodiscard]] StripView& strip() { return *strip_; }
  [[nodiscard]] LogView& log() { return *log_; }
  [[nodiscard]] Ledger& ledger() { return *ledger_; }
  [[nodiscard]] Comparison& comparison() { return *comparison_; }

  void open(const std::filesystem::path& root);
  void open_drawer(Drawer drawer);
  [[nodiscard]] Drawer drawer() const { return drawer_; }
  [[nodiscard]] Panel& panel(Drawer drawer) { return *panels_[static_cast<std::size_t>(drawer)]; }
  void set_look(double scale, bool high_contrast);
  /// Reads what a path holds, and offers to begin a case from it.
  void read_ct(const std::filesystem::path& path);
  /// Whether nothing is under way any more.
  [[nodiscard]] bool is_quiet() const;

 protected:
  void keyPressEvent(QKeyEvent* event) override;
  void resizeEvent(QResizeEvent* event) override;
  void closeEvent(QCloseEvent* event) override;

 private:
  void build();
  QWidget* make_head();
  QWidget* make_pages();
  QWidget* make_desk();
  QWidget* make_messages();
  void make_drawers();
  void apply_tool(Tool tool, const std::vector<Vec3>& points);
  void take_change(unsigned changed);
  void show_stage();
  void show_refusal();
  void refresh_head();
  void show_messages();
  void repaint_pictures();
  [[nodiscard]] std::array<PlaneView*, 3> cuts() const { return {section_, across_, axial_}; }
  void update_cuts();  ///< and the strip
  void fit_heights();
  void take_search();
  void fit_head();
  bool nudge(int key, Qt::KeyboardModifiers modifiers);
  bool press(int key, Qt::KeyboardModifiers modifiers);
  bool press_with_control(int key);
  void toggle(bool ViewState::*what);
  /// Waits until every change is kept; false where one cannot be, and the person has not been told that yet.
  bool finish_keeping();

  // Errands where no case is open (main_window_errands.cpp).
  [[nodiscard]] Errands errands();
  void choose_case();
  void choose_ct();
  void make_demo();
  void begin_case(const std::filesystem::path& ct, const std::string& series);
  void run_and_open(const QString& title, const std::vector<std::string>& arguments,
                    const std::filesystem::path& case_root);

  WindowOptions options_;
  Look look_;
  Workbench bench_;
  Desk desk_{bench_, look_};
  std::vector<Finding> messages_;
  Drawer drawer_ = Drawer::none;
  int errand_ = 0;  ///< grows with every errand: late news of an older one falls away
  bool errand_runs_ = false;
  bool warned_of_loss_ = false;
  std::vector<std::string> errand_lines_;

  QLabel *object_ = nullptr, *plan_ = nullptr, *banner_ = nullptr, *message_ = nullptr;
  QPushButton *undo_ = nullptr, *redo_ = nullptr, *close_ = nullptr, *keep_again_ = nullptr;
  QVBoxLayout* head_ = nullptr;
  QHBoxLayout* head_line_ = nullptr;
  bool plan_below_ = false;  ///< the plan's standing has a line of its own
  std::vector<QPushButton*> drawer_buttons_;
  std::vector<Panel*> panels_;
  QWidget *bottom_ = nullptr, *message_line_ = nullptr;
  QStackedWidget *pages_ = nullptr, *drawers_ = nullptr;
  StartPage* start_ = nullptr;
  ReadingPage* reading_page_ = nullptr;
  StripView* strip_ = nullptr;
  SectionView* section_ = nullptr;
  LogView* log_ = nullptr;
  Ledger* ledger_ = nullptr;
  Comparison* comparison_ = nullptr;
  AcrossView* across_ = nullptr;
  AxialView* axial_ = nullptr;
  ReadingBar* reading_ = nullptr;
  QTimer frame_waits_;  ///< for the figures of a track that has moved
  JobQueue errand_jobs_;
};

}  // namespace leastharm

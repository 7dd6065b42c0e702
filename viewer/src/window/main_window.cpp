#include "window/main_window.h"

#include <QApplication>
#include <QCloseEvent>
#include <QCoreApplication>
#include <QFormLayout>
#include <QHBoxLayout>
#include <QPushButton>
#include <QScrollArea>
#include <QScrollBar>
#include <QSettings>
#include <QStackedWidget>
#include <QThread>
#include <QVBoxLayout>
#include <algorithm>

#include "window/approve_panel.h"
#include "window/body_panel.h"
#include "window/marks_panel.h"
#include "window/needle_panel.h"
#include "window/search_panel.h"
#include "window/solid_panel.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr unsigned kKeepingStepMs = 2;

/// Runs work of other threads on the window's own, one after another, as its events come up.
void post_to_gui(std::function<void()> what) {
  QMetaObject::invokeMethod(QCoreApplication::instance(), std::move(what), Qt::QueuedConnection);
}

/// The list of keys.
class KeysPanel : public Panel {
 public:
  explicit KeysPanel(Desk& desk) : Panel(desk, word("panel.keys")) {
    auto* form = add_form();
    for (const QString& line : word("keys.list").split(QLatin1Char('\n'))) {
      auto *keys = new QLabel(line.section(QStringLiteral("   "), 0, 0)),
           *what = new QLabel(line.section(QStringLiteral("   "), 1));
      keys->setFont(desk.look.strong());
      what->setWordWrap(true);
      form->addRow(keys, what);
    }
  }
  void refresh(unsigned) override {}
};

}  // namespace

MainWindow::MainWindow(const WindowOptions& options) : options_(options), bench_(post_to_gui) {
  setWindowTitle(QStringLiteral("Leastharm"));
  const QSettings settings(QStringLiteral("leastharm"), QStringLiteral("leastharm"));
  look_.scale = std::clamp(settings.value(QStringLiteral("scale"), 1.0).toDouble(), 0.7, 3.0);
  look_.high_contrast = settings.value(QStringLiteral("high_contrast"), false).toBool();
  desk_.on_tool = [this](Tool tool, const std::vector<Vec3>& points) { apply_tool(tool, points); };
  desk_.on_pointed = [this] { reading_->show_pointed(); };
  desk_.on_look = [this] { repaint_pictures(); };
  frame_waits_.setSingleShot(true);
  frame_waits_.setTimerType(Qt::PreciseTimer);
  connect(&frame_waits_, &QTimer::timeout, this, [this] { update_cuts(); });
  build();
  bench_.on_change = [this](unsigned changed) { take_change(changed); };
}

MainWindow::~MainWindow() {
  bench_.on_change = nullptr;
  bench_.close();
}

void MainWindow::build() {
  panels_.clear();
  drawer_buttons_.clear();
  const Drawer drawer = std::exchange(drawer_, Drawer::none);
  auto* all = new QWidget;
  all->setObjectName(QStringLiteral("desk"));
  auto* column = new QVBoxLayout(all);
  column->setContentsMargins(0, 0, 0, 0);
  column->setSpacing(0);
  column->addWidget(make_head());
  banner_ = new QLabel;
  banner_->setWordWrap(true);
  banner_->setContentsMargins(look_.px(0.8), look_.px(0.25), look_.px(0.8), look_.px(0.25));
  // Okabe and Ito's yellow, as a field behind dark text.
  banner_->setStyleSheet(QStringLiteral("background: #F0E442; color: #1A1A1F; font-weight: 600;"));
  column->addWidget(banner_);
  auto* row = new QHBoxLayout;
  row->setSpacing(0);
  row->addWidget(make_pages(), 1);
  drawers_ = new QStackedWidget;
  row->addWidget(drawers_);
  column->addLayout(row, 1);
  column->addWidget(make_messages());
  column->addWidget(reading_ = new ReadingBar(desk_));
  make_drawers();
  QApplication::setFont(look_.font());
  // Once all are inside, so that it reaches every one of them; on this tree alone, so that nothing of a former look
  // stays behind.
  all->setStyleSheet(look_.style_sheet());
  setCentralWidget(all);
  fit_heights();
  take_change(~0u);
  open_drawer(drawer);
}

QWidget* MainWindow::make_head() {
  auto* head = new QWidget;
  head_ = new QVBoxLayout(head);
  head_->setContentsMargins(look_.px(0.8), look_.px(0.35), look_.px(0.8), look_.px(0.1));
  head_->setSpacing(0);
  auto* line = head_line_ = new QHBoxLayout;
  head_->addLayout(line);
  line->setSpacing(look_.scale > 1.3 ? 0 : look_.px(0.15));
  object_ = new QLabel;
  object_->setFont(look_.title());
  plan_ = new ElidedLabel;
  plan_->setSizePolicy(QSizePolicy::Ignored, QSizePolicy::Preferred);
  line->addWidget(object_);
  line->addSpacing(look_.px(look_.scale > 1.3 ? 0.4 : 1.2));
  line->addWidget(plan_, 1);
  plan_below_ = false;
  const QString names[] = {word("panel.needle"), word("panel.marks"),   word("panel.body"),
                           word("panel.search"), word("panel.approve"), word("panel.solid"),
                           word("panel.keys")};
  for (int n = 0; n < static_cast<int>(Drawer::none); ++n) {
    auto* button = new QPushButton(names[n]);
    button->setCheckable(true);
    button->setFocusPolicy(Qt::TabFocus);  // a click leaves the arrow keys to the needle
    connect(button, &QPushButton::clicked, this,
            [this, n](bool on) { open_drawer(on ? static_cast<Drawer>(n) : Drawer::none); });
    line->addWidget(button);
    drawer_buttons_.push_back(button);
  }
  line->addSpacing(look_.px(look_.scale > 1.3 ? 0.3 : 1));
  undo_ = new QPushButton(word("head.undo"));
  redo_ = new QPushButton(word("head.redo"));
  close_ = new QPushButton(word("head.close"));
  connect(undo_, &QPushButton::clicked, this, [this] { bench_.undo(); });
  connect(redo_, &QPushButton::clicked, this, [this] { bench_.redo(); });
  connect(close_, &QPushButton::clicked, this, [this] {
    if (finish_keeping()) bench_.close();
  });
  for (QPushButton* button : {undo_, redo_, close_}) {
    button->setFocusPolicy(Qt::TabFocus);
    line->addWidget(button);
  }
  return head;
}

QWidget* MainWindow::make_pages() {
  pages_ = new QStackedWidget;
  pages_->setMinimumSize(1, 1);  // the desk shrinks with the window, whatever the other pages would like
  start_ = new StartPage(look_, errands());
  reading_page_ = new ReadingPage(look_);
  pages_->addWidget(start_);
  pages_->addWidget(reading_page_);
  pages_->addWidget(make_desk());
  return pages_;
}

QWidget* MainWindow::make_desk() {
  auto* desk = new QWidget;
  auto* column = new QVBoxLayout(desk);
  column->setContentsMargins(0, 0, 0, 0);
  column->setSpacing(0);
  strip_ = new StripView(desk_);
  section_ = new SectionView(desk_);
  log_ = new LogView(desk_);
  ledger_ = new Ledger(desk_);
  comparison_ = new Comparison(desk_);
  across_ = new AcrossView(desk_);
  axial_ = new AxialView(desk_);
  column->addWidget(strip_);
  column->addWidget(section_, 1);
  column->addWidget(log_);
  bottom_ = new QWidget;
  auto* row = new QHBoxLayout(bottom_);
  row->setContentsMargins(0, look_.px(0.3), look_.px(0.8), 0);
  row->setSpacing(look_.px(0.8));
  row->addWidget(ledger_, 1);
  row->addWidget(comparison_, 1);
  row->addWidget(across_);
  row->addWidget(axial_);
  column->addWidget(bottom_);
  return desk;
}

QWidget* MainWindow::make_messages() {
  message_line_ = new QWidget;
  message_line_->setStyleSheet(QStringLiteral("background: %1;").arg(look_.chosen().name()));
  auto* row = new QHBoxLayout(message_line_);
  row->setContentsMargins(look_.px(0.8), look_.px(0.15), look_.px(0.8), look_.px(0.15));
  message_ = new QLabel;
  message_->setWordWrap(true);
  keep_again_ = new QPushButton(word("page.again"));
  auto* dismiss = new QPushButton(word("message.dismiss"));
  row->addWidget(message_, 1);
  row->addWidget(keep_again_);
  row->addWidget(dismiss);
  connect(keep_again_, &QPushButton::clicked, this, [this] { bench_.keep_again(); });
  connect(dismiss, &QPushButton::clicked, this, [this] {
    messages_.clear();
    show_messages();
  });
  return message_line_;
}

void MainWindow::make_drawers() {
  panels_ = {new NeedlePanel(desk_), new MarksPanel(desk_),   new BodyPanel(desk_),
             new SearchPanel(desk_), new ApprovePanel(desk_), new SolidPanel(desk_),
             new KeysPanel(desk_)};
  for (Panel* panel : panels_) {
    for (QLabel* label : panel->findChildren<QLabel*>())
      if (label->buddy() != nullptr) label->buddy()->setAccessibleName(label->text());
    if (panel->wanted_part() > 0) {
      drawers_->addWidget(panel);
      continue;
    }
    panel->end_column();
    auto* scroll = new QScrollArea;
    scroll->setFrameShape(QFrame::NoFrame);
    scroll->setWidgetResizable(true);
    scroll->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
    scroll->setFocusPolicy(Qt::NoFocus);
    scroll->setWidget(panel);
    drawers_->addWidget(scroll);
  }
  drawers_->hide();
}

void MainWindow::open(const std::filesystem::path& root) { bench_.open(root); }

void MainWindow::open_drawer(Drawer drawer) {
  if (!desk_.ready() && drawer != Drawer::keys) drawer = Drawer::none;
  if (drawer != drawer_ && drawer_ != Drawer::none) panel(drawer_).closed();
  const bool newly = drawer != drawer_;
  drawer_ = drawer;
  for (std::size_t n = 0; n < drawer_buttons_.size(); ++n)
    drawer_buttons_[n]->setChecked(static_cast<std::size_t>(drawer) == n);
  drawers_->setVisible(drawer != Drawer::none);
  fit_heights();
  if (drawer == Drawer::none || !newly) return repaint_pictures();
  drawers_->setCurrentIndex(static_cast<int>(drawer));
  panel(drawer).opened();
  panel(drawer).refresh(~0u);
}

bool MainWindow::is_quiet() const {
  if (errand_runs_ || !bench_.idle() || !bench_.figures_are_whole() || bench_.search().running)
    return false;
  return drawer_ != Drawer::solid ||
         static_cast<const SolidPanel*>(panels_[static_cast<std::size_t>(Drawer::solid)])
             ->is_drawn();
}

void MainWindow::set_look(double scale, bool high_contrast) {
  look_.scale = std::clamp(scale, 0.7, 3.0);
  look_.high_contrast = high_contrast;
  QSettings settings(QStringLiteral("leastharm"), QStringLiteral("leastharm"));
  settings.setValue(QStringLiteral("scale"), look_.scale);
  settings.setValue(QStringLiteral("high_contrast"), high_contrast);
  build();
}

void MainWindow::resizeEvent(QResizeEvent* event) {
  QMainWindow::resizeEvent(event);
  fit_heights();
}

void MainWindow::closeEvent(QCloseEvent* event) {
  event->setAccepted(finish_keeping());
}

bool MainWindow::finish_keeping() {
  while (!bench_.idle() && bench_.stage() == Stage::ready) {
    QCoreApplication::processEvents(QEventLoop::ExcludeUserInputEvents);
    QThread::msleep(kKeepingStepMs);
  }
  if (bench_.keep_fault().empty() || std::exchange(warned_of_loss_, true)) return true;
  messages_.push_back({Level::refused, say("message.wouldlose")});
  show_messages();
  return false;
}

void MainWindow::repaint_pictures() {
  update_cuts();
  log_->update();
  ledger_->update();
}

void MainWindow::apply_tool(Tool tool, const std::vector<Vec3>& points) {
  for (Panel* panel : panels_)
    if (panel->take_tool(tool, points)) break;
  repaint_pictures();
}

}  // namespace leastharm

#include "window/main_window.h"

#include <QApplication>
#include <QCloseEvent>
#include <QCoreApplication>
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

enum Page { kStart, kReading, kDesk };

constexpr double kHeadAndFootEms = 5.2;  // the line of names and buttons, and the reading line
constexpr double kDrawerEms = 29;
// Widths of the desk below which the ledger takes the insets' room.
constexpr double kNarrowEms = 84, kEmsForTwoInsets = 62, kEmsForOneInset = 40;
constexpr int kSectionShare = 24;        // of a hundred
constexpr unsigned kKeepingStepMs = 2;

/// Runs work of other threads on the window's own, one after another, as its events come up.
void post_to_gui(std::function<void()> what) {
  QMetaObject::invokeMethod(QCoreApplication::instance(), std::move(what), Qt::QueuedConnection);
}

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& w : words) text += (text.empty() ? "" : ", ") + w;
  return text;
}

/// The list of keys.
class KeysPanel : public Panel {
 public:
  explicit KeysPanel(Desk& desk) : Panel(desk, word("panel.keys")) { add_note(word("keys.list")); }
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
  setCentralWidget(all);
  setStyleSheet(look_.style_sheet());  // once all are inside: it reaches every one of them
  fit_heights();
  take_change(~0u);
  open_drawer(drawer);
}

QWidget* MainWindow::make_head() {
  auto* head = new QWidget;
  auto* line = new QHBoxLayout(head);
  line->setContentsMargins(look_.px(0.8), look_.px(0.35), look_.px(0.8), look_.px(0.1));
  line->setSpacing(look_.scale > 1.3 ? 0 : look_.px(0.15));
  object_ = new QLabel;
  object_->setFont(look_.title());
  plan_ = new QLabel;
  plan_->setSizePolicy(QSizePolicy::Ignored, QSizePolicy::Preferred);
  line->addWidget(object_);
  line->addSpacing(look_.px(look_.scale > 1.3 ? 0.4 : 1.2));
  line->addWidget(plan_, 1);
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

void MainWindow::fit_heights() {
  const int high = std::max(600, height());
  const int strip = std::clamp(high * 14 / 100, look_.px(6.5), look_.px(26));
  const int wanted_insets = std::clamp(high * 26 / 100, look_.px(12), look_.px(44));
  // Large type on a small screen: the section keeps a quarter, the others share what is left.
  const int around = look_.px(kHeadAndFootEms) + (banner_->isHidden() ? 0 : look_.px(1.7));
  const double room = std::max(1, high - around - high * kSectionShare / 100);
  const double part_of = std::min(1.0, room / (strip + log_->wanted_height() + wanted_insets));
  strip_->setFixedHeight(static_cast<int>(part_of * strip));
  log_->setFixedHeight(static_cast<int>(part_of * log_->wanted_height()));
  const int insets = static_cast<int>(part_of * wanted_insets);
  bottom_->setFixedHeight(insets + look_.px(0.3));
  // A drawer leaves the ledger little room: the slice gives up some of its width.
  const double part = drawer_ == Drawer::none ? 0 : panel(drawer_).wanted_part();
  const int drawer = part > 0 ? static_cast<int>(part * width()) : look_.px(kDrawerEms);
  const double desk_ems = (width() - (drawer_ == Drawer::none ? 0 : drawer)) / look_.em();
  drawers_->setFixedWidth(drawer);
  across_->setFixedSize(desk_ems < kNarrowEms ? insets * 3 / 4 : insets, insets);
  axial_->setFixedSize(desk_ems < kNarrowEms ? insets : insets * 5 / 4, insets);
  across_->setVisible(desk_.ready() && bench_.has_track() && desk_ems > kEmsForOneInset);
  axial_->setVisible(desk_ems > kEmsForTwoInsets || !bench_.has_track());
  reading_->setFixedHeight(look_.px(2.2));
}

void MainWindow::resizeEvent(QResizeEvent* event) {
  QMainWindow::resizeEvent(event);
  fit_heights();
  fit_plan();
}

void MainWindow::fit_plan() {
  const int room = plan_->contentsRect().width();
  plan_->setText(plan_->fontMetrics().elidedText(plan_text_, Qt::ElideRight, room));
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
  for (QWidget* view : {static_cast<QWidget*>(strip_), static_cast<QWidget*>(section_),
                        static_cast<QWidget*>(log_), static_cast<QWidget*>(across_),
                        static_cast<QWidget*>(axial_), static_cast<QWidget*>(ledger_)})
    view->update();
}

void MainWindow::apply_tool(Tool tool, const std::vector<Vec3>& points) {
  for (Panel* panel : panels_)
    if (panel->take_tool(tool, points)) break;
  repaint_pictures();
}

void MainWindow::take_change(unsigned changed) {
  if (changed & kStageChanged) show_stage();
  desk_.follow_track();
  if (changed & (kStageChanged | kDraftChanged | kKeptChanged | kGroundChanged)) refresh_head();
  if (changed & (kStageChanged | kDraftChanged)) fit_heights();
  if (changed & (kViewChanged | kKeptChanged | kStageChanged)) reading_->refresh();
  if (changed & (kSaid | kKeptChanged | kStageChanged)) show_messages();
  if (drawer_ != Drawer::none) panel(drawer_).refresh(changed);
  if (changed & ~(kSearchChanged | kSaid)) repaint_pictures();
}

void MainWindow::show_stage() {
  const Stage stage = bench_.stage();
  const bool desk = stage == Stage::ready;
  for (QPushButton* button : drawer_buttons_) button->setVisible(desk);
  for (QPushButton* button : {undo_, redo_, close_}) button->setVisible(desk);
  reading_->setVisible(desk);
  if (!desk && drawer_ != Drawer::none) open_drawer(Drawer::none);
  if (stage == Stage::reading) {
    ++errand_;
    errand_runs_ = false;
    reading_page_->show_lines(word("page.reading"), bench_.reading_lines(), true);
    pages_->setCurrentIndex(kReading);
  } else if (stage == Stage::refused) {
    show_refusal();
  } else if (desk) {
    if (pages_->currentIndex() != kDesk) remember_case(bench_.root());
    pages_->setCurrentIndex(kDesk);
    for (std::size_t n = 0; n < bench_.tracks().size(); ++n)
      if (bench_.tracks()[n].id == std::string(options_.track)) bench_.take_in_hand(n);
    options_.track.clear();
  } else if (!errand_runs_) {
    start_->refresh();
    pages_->setCurrentIndex(kStart);
  }
}

void MainWindow::refresh_head() {
  if (!desk_.ready()) {
    object_->clear();
    plan_->clear();
    banner_->hide();
    return;
  }
  const CaseFile& file = bench_.file();
  object_->setText(q(file.object_id));
  std::string text =
      bench_.tracks().empty() ? say("head.noplan") : say("head.plan", plan_label(file));
  std::vector<std::string> standing, voided;
  std::string trouble, reasons;
  for (const std::string role : {"radiologist", "conservator", "committee"}) {
    const auto last =
        std::ranges::find(file.approvals.rbegin(), file.approvals.rend(), role, &Approval::role);
    if (last == file.approvals.rend()) continue;
    const auto since = changed_since(*last, file);
    if (last->decision == "declined")
      trouble = say("head.declined", last->by);
    else if (!since.empty())
      voided.push_back(role), reasons = joined(since);
    else if (!last->voided.empty())
      voided.push_back(role), reasons = last->voided;
    else
      standing.push_back(role);
  }
  if (trouble.empty() && !voided.empty())
    trouble = say(voided.size() == 1 ? Word("head.voided") : Word("head.allvoided"), listed(voided), reasons);
  if (!bench_.tracks().empty())
    text += "  ·  " + (!trouble.empty()       ? trouble
                       : standing.size() == 3 ? say("head.approved")
                       : standing.empty()     ? say("head.notapproved")
                                              : say("head.someapproved", joined(standing)));
  plan_text_ = q(text);
  plan_->setToolTip(plan_text_);
  fit_plan();
  undo_->setEnabled(!bench_.undo_text().empty());
  redo_->setEnabled(!bench_.redo_text().empty());
  undo_->setToolTip(q(say("head.undowhat", bench_.undo_text())));
  redo_->setToolTip(q(say("head.redowhat", bench_.redo_text())));
  const std::string& fault = bench_.ground().fault;
  const bool banner = !file.frame || !fault.empty();
  const bool other_room = banner == banner_->isHidden();
  banner_->setVisible(banner);
  if (other_room) fit_heights();
  banner_->setText(!file.frame ? word("banner.unconfirmed") : q(say("banner.fault", fault)));
}

void MainWindow::show_messages() {
  for (Finding& f : bench_.take_messages()) messages_.push_back(std::move(f));
  std::string text;
  const std::size_t first = messages_.size() > 3 ? messages_.size() - 3 : 0;  // the newest ones
  for (std::size_t n = first; n < messages_.size(); ++n)
    text += (text.empty() ? "" : "\n") + messages_[n].what;
  const std::string& fault = bench_.keep_fault();
  if (fault.empty()) warned_of_loss_ = false;
  if (!fault.empty()) text = say("message.notkept", fault) + (text.empty() ? "" : "\n") + text;
  message_->setText(q(text));
  keep_again_->setVisible(!fault.empty());
  message_line_->setVisible(!text.empty());
}

}  // namespace leastharm

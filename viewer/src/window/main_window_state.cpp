// What the window shows of the case's state, and how the room is shared.
#include <QHBoxLayout>
#include <QPushButton>
#include <QStackedWidget>
#include <QVBoxLayout>
#include <algorithm>

#include "window/main_window.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr double kHeadAndFootEms = 5.2;  // the line of names and buttons, and the reading line
constexpr double kSecondHeadEms = 1.6;   // where the plan's standing has a line of its own
constexpr int kFiguresLateMs = 8;
constexpr double kDrawerEms = 30;
// Widths of the desk below which the ledger takes the insets' room.
constexpr double kNarrowEms = 84, kEmsForTwoInsets = 62, kEmsForOneInset = 40;
constexpr int kSectionShare = 24;        // of a hundred

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& w : words) text += (text.empty() ? "" : ", ") + w;
  return text;
}

}  // namespace

/// Beside large type's buttons there is no room for the plan's standing: it takes a line of its own.
void MainWindow::fit_head() {
  constexpr double kEmsForOneLine = 90;
  const bool below = desk_.ready() && width() < kEmsForOneLine * look_.em();
  if (below == plan_below_) return;
  plan_below_ = below;
  head_line_->removeWidget(plan_);
  head_->removeWidget(plan_);
  if (below) {
    head_line_->insertStretch(2, 1);
    head_->addWidget(plan_);
  } else {
    delete head_line_->takeAt(2);
    head_line_->insertWidget(2, plan_, 1);
  }
}

void MainWindow::fit_heights() {
  fit_head();
  const int high = std::max(600, height());
  const int strip = std::clamp(high * 14 / 100, look_.px(6.5), look_.px(26));
  // Plans are compared where the ledger of one stands else.
  const bool compares = desk_.comparing = drawer_ == Drawer::search && comparison_->has_plans();
  const int insets_alone = std::clamp(high * 26 / 100, look_.px(12), look_.px(44));
  const int wanted_insets = compares ? std::max(insets_alone, comparison_->wanted_height()) : insets_alone;
  // Large type on a small screen: the section keeps a quarter, the others share what is left.
  const int around = look_.px(kHeadAndFootEms) + (plan_below_ ? look_.px(kSecondHeadEms) : 0) + (banner_->isHidden() ? 0 : look_.px(1.7));
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
  ledger_->setVisible(!compares);
  comparison_->setVisible(compares);
  across_->setVisible(!compares && desk_.ready() && bench_.has_track() && desk_ems > kEmsForOneInset);
  // Where marks and sides are set the slice is what a person works on: there the ledger gives way to it.
  const bool drawn_on = drawer_ == Drawer::marks || drawer_ == Drawer::body;
  axial_->setVisible(!compares && (desk_ems > kEmsForTwoInsets || drawn_on || !bench_.has_track()));
  reading_->setFixedHeight(look_.px(2.2));
}

void MainWindow::take_change(unsigned changed) {
  if (changed & kStageChanged) show_stage();
  desk_.follow_track();
  if (changed & (kStageChanged | kDraftChanged | kKeptChanged | kGroundChanged)) refresh_head();
  if (changed & (kStageChanged | kDraftChanged)) fit_heights();
  if (changed & (kStageChanged | kDraftChanged | kSearchChanged)) take_search();
  if (changed & (kViewChanged | kKeptChanged | kStageChanged)) reading_->refresh();
  if (changed & (kSaid | kKeptChanged | kStageChanged)) show_messages();
  if (drawer_ != Drawer::none) panel(drawer_).refresh(changed);
  // A moved track's exact figures are under way: needle and figures are drawn together, in one frame. Only where they
  // are late (a busy machine) the needle goes before them.
  const bool other = (changed & (kStageChanged | kGroundChanged | kDraftChanged | kViewChanged)) != 0;
  if (other || (changed & kFiguresChanged)) {
    if (other || frame_waits_.isActive()) update_cuts();
    log_->update();
    ledger_->update();
  } else if ((changed & kTrackMoved) && !frame_waits_.isActive()) {
    frame_waits_.start(kFiguresLateMs);
    for (PlaneView* view : cuts()) view->cut_ahead();  // meanwhile
  }
}

/// The comparison comes with a search's end. Whoever pressed the button that began it finds the keys there.
void MainWindow::take_search() {
  comparison_->refresh();
  const bool compares = drawer_ == Drawer::search && comparison_->has_plans();
  if (compares == !comparison_->isHidden()) return;
  fit_heights();
  if (compares && !bench_.search().kept && qobject_cast<QPushButton*>(focusWidget()) != nullptr) comparison_->setFocus();
}

void MainWindow::update_cuts() {
  frame_waits_.stop();
  strip_->update();
  for (PlaneView* view : cuts()) view->update();
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
    // A snapshot only looks.
    if (pages_->currentIndex() != kDesk && options_.snapshot.empty()) remember_case(bench_.root());
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
  plan_->setText(q(text));
  plan_->setToolTip(q(text));
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

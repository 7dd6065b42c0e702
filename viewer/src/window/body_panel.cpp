#include "window/body_panel.h"

#include <QFormLayout>
#include <QLineEdit>
#include <QPushButton>
#include <algorithm>

#include "words.h"

namespace leastharm {

BodyPanel::BodyPanel(Desk& desk) : Panel(desk, word("panel.body")) {
  add_note(word("body.why"));
  proposal_ = add_note({});
  head_ = make_button(word("body.head"));
  front_ = make_button(word("body.front"));
  quarter_ = make_button(word("body.quarter"));
  midline_ = make_button(word("body.midline"));
  midline_->setCheckable(true);
  add_row({head_});
  add_row({front_});
  add_row({quarter_, midline_});
  add_note(word("body.hint"));
  auto* form = add_form();
  by_ = new QLineEdit;
  form->addRow(word("body.by"), by_);
  confirm_ = make_button(word("body.confirm"));
  add_row({confirm_});
  state_ = add_note({});
  connect(head_, &QPushButton::clicked, this, [this] {
    turn([](BodyFrame& f) {
      f.head = -f.head;
      std::ranges::reverse(f.midline_lps_mm);
    });
  });
  connect(front_, &QPushButton::clicked, this,
          [this] { turn([](BodyFrame& f) { f.front = -f.front; }); });
  connect(quarter_, &QPushButton::clicked, this,
          [this] { turn([](BodyFrame& f) { f.front = f.left(); }); });
  connect(midline_, &QPushButton::clicked, this,
          [this](bool on) { desk_.tool = on ? Tool::midline : Tool::needle; });
  connect(confirm_, &QPushButton::clicked, this,
          [this] { desk_.bench.confirm_frame(frame_, by_->text().trimmed().toStdString()); });
}

void BodyPanel::turn(const std::function<void(BodyFrame&)>& how) {
  how(frame_);
  describe();
  if (desk_.on_look) desk_.on_look();
}

void BodyPanel::opened() {
  if (!desk_.ready()) return;
  frame_ = desk_.bench.file().frame.value_or(desk_.bench.file().proposed_frame);
  describe();
  desk_.frame_in_question = &frame_;
  if (desk_.on_look) desk_.on_look();
}

void BodyPanel::closed() {
  desk_.tool = Tool::needle;
  desk_.frame_in_question = nullptr;
}

void BodyPanel::describe() {
  const Directions scanner{Vec3(0, 0, 1), Vec3(0, -1, 0), Vec3(1, 0, 0), false};
  std::string text = say("body.proposal", words_for(frame_.head, scanner),
                         words_for(frame_.front, scanner), words_for(frame_.left(), scanner));
  if (!desk_.bench.file().frame)
    text +=
        "\n" + say("body.certainty", chance(desk_.bench.file().proposed_frame.certainty));
  if (frame_.midline_lps_mm.size() < 2) text += "\n" + say("body.nomidline");
  proposal_->setText(q(text));
}

void BodyPanel::refresh(unsigned changed) {
  if (!desk_.ready()) return;
  if (changed & kStageChanged) opened();
  midline_->setChecked(desk_.tool == Tool::midline);
  const CaseFile& file = desk_.bench.file();
  state_->setText(file.frame ? q(say("body.confirmed", file.frame_by, file.frame_at.substr(0, 10)))
                             : word("body.unconfirmed"));
}

bool BodyPanel::take_tool(Tool tool, const std::vector<Vec3>& points) {
  if (tool != Tool::midline) return false;
  desk_.tool = Tool::needle;
  if (points.size() >= 2)
    turn([&](BodyFrame& f) {
      f.midline_lps_mm = points;
      if ((points.back() - points.front()).dot(f.head) < 0) std::ranges::reverse(f.midline_lps_mm);
    });
  refresh(0);
  return true;
}

}  // namespace leastharm

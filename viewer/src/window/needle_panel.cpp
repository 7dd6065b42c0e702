#include "window/needle_panel.h"

#include <QComboBox>
#include <QDoubleSpinBox>
#include <QFormLayout>
#include <QHBoxLayout>
#include <QPushButton>
#include <algorithm>

#include "imaging/error.h"
#include "planner/cylinder.h"
#include "window/aim.h"
#include "window/request_rows.h"
#include "words.h"

namespace leastharm {
namespace {

/// What can be chosen: the request's needles first, then the catalogue.
std::vector<Needle> choices(const Workbench& bench) {
  std::vector<Needle> own;
  for (const Track& t : bench.tracks()) own.push_back(t.needle);
  return distinct_needles({bench.request().needles, needle_catalogue(), own});
}

}  // namespace

NeedlePanel::NeedlePanel(Desk& desk) : Panel(desk, word("panel.needle")) {
  add_ = make_button(word("needle.add"));
  add_->setCheckable(true);
  remove_ = make_button(word("needle.remove"));
  add_row({add_, remove_});
  connect(add_, &QPushButton::toggled, this,
          [this](bool on) { desk_.tool = on ? Tool::add_track : Tool::needle; });
  connect(remove_, &QPushButton::clicked, this, [this] { desk_.bench.remove_track(); });
  auto* form = add_form();
  needle_ = new Choice;
  needle_->setSizeAdjustPolicy(QComboBox::AdjustToMinimumContentsLengthWithIcon);
  needle_->setMinimumContentsLength(12);
  request_ = new Choice;
  form->addRow(word("needle.needle"), needle_);
  const std::array<QString, 5> names{word("needle.outer"), word("needle.bore"),
                                     word("needle.throw"), word("needle.usable"),
                                     word("needle.deadtip")};
  for (std::size_t n = 0; n < 5; ++n) {
    measures_[n] =
        make_number(n == 4 ? 0 : 0.1, n == 3 || n == 2 ? 1000 : 30, 2, QStringLiteral("mm"));
    form->addRow(names[n], measures_[n]);
    connect(measures_[n], qOverload<double>(&QDoubleSpinBox::valueChanged), this, [this] {
      if (setting_ || !desk_.bench.has_track()) return;
      Needle needle = desk_.bench.track().needle;
      needle.name.clear();  // no longer the catalogue's
      needle.source = say("needle.byhand");
      needle.outer_mm = measures_[0]->value();
      needle.bore_mm = measures_[1]->value();
      needle.throw_mm = measures_[2]->value();
      needle.usable_mm = measures_[3]->value();
      needle.dead_tip_mm = measures_[4]->value();
      desk_.bench.set_needle(needle);
    });
  }
  form->addRow(word("needle.request"), request_);
  length_ = make_number(1, 1000, 1, QStringLiteral("mm"));
  form->addRow(word("needle.length"), length_);
  for (auto* places : {&entry_, &tip_}) {
    auto* row = new QHBoxLayout;
    row->setSpacing(desk.look.px(0.3));
    for (QDoubleSpinBox*& field : *places) {
      field = make_number(-5000, 5000, 1, {});
      row->addWidget(field);
      connect(field, qOverload<double>(&QDoubleSpinBox::valueChanged), this,
              [this] { move_from_fields(); });
    }
    form->addRow(places == &entry_ ? word("needle.entrylps") : word("needle.tiplps"), row);
  }
  connect(needle_, qOverload<int>(&QComboBox::activated), this, [this](int n) {
    if (!setting_) desk_.bench.set_needle(needles_[static_cast<std::size_t>(n)]);
  });
  connect(request_, qOverload<int>(&QComboBox::activated), this, [this](int) {
    if (!setting_) desk_.bench.set_track_request(request_->currentData().toString().toStdString());
  });
  connect(length_, qOverload<double>(&QDoubleSpinBox::valueChanged), this, [this](double mm) {
    if (setting_ || !desk_.bench.has_track()) return;
    const Track track = desk_.shown_track();
    desk_.bench.move_track(deepened(track, mm - path_length_mm(track)));
  });
  add_heading(word("needle.figures"));
  figures_ = add_note({});
  add_heading(word("needle.damage"));
  damage_ = add_note({});
  damage_->setTextFormat(Qt::RichText);
  add_note(word("needle.keys"));
}

void NeedlePanel::move_from_fields() {
  if (setting_ || !desk_.bench.has_track()) return;
  Track track = desk_.shown_track();
  track.tip_lps_mm = Vec3(tip_[0]->value(), tip_[1]->value(), tip_[2]->value());
  desk_.bench.move_track(
      with_entry(desk_.bench.ground().body, track,
                 Vec3(entry_[0]->value(), entry_[1]->value(), entry_[2]->value())));
}

void NeedlePanel::fill_choices() {
  needles_ = choices(desk_.bench);
  needle_->clear();
  request_->clear();
  for (const Needle& n : needles_) needle_->addItem(q(spoken(n)));
  request_->addItem(word("needle.norequest"), QString());
  for (const Request& r : desk_.bench.request().requests) request_->addItem(q(r.id), q(r.id));
  const Track& track = desk_.bench.track();
  for (std::size_t n = 0; n < needles_.size(); ++n)
    if (to_json(needles_[n]) == to_json(track.needle))
      needle_->setCurrentIndex(static_cast<int>(n));
  request_->setCurrentIndex(std::max(0, request_->findData(q(track.request))));
  filled_for_ = track.id;
}

void NeedlePanel::fill_measures() {
  const Track track = desk_.shown_track();
  const Needle& n = track.needle;
  const double values[] = {n.outer_mm, n.bore_mm, n.throw_mm, n.usable_mm, n.dead_tip_mm};
  for (std::size_t m = 0; m < 5; ++m) measures_[m]->setValue(values[m]);
  length_->setValue(path_length_mm(track));
  for (std::size_t axis = 0; axis < 3; ++axis) {
    entry_[axis]->setValue(track.entry_lps_mm[static_cast<Eigen::Index>(axis)]);
    tip_[axis]->setValue(track.tip_lps_mm[static_cast<Eigen::Index>(axis)]);
  }
}

void NeedlePanel::fill_figures() {
  const auto figures = desk_.bench.figures_of(desk_.bench.in_hand());
  if (!figures || !figures->fault.empty()) {
    figures_->setText(figures ? q(figures->fault) : QString());
    damage_->clear();
    return;
  }
  const TrackAssessment& a = figures->assessment;
  std::string text =
      say("needle.angles", number(a.entry_angle_deg, 0), number(a.tilt_deg, 0)) + "\n" +
      (a.through_opening ? "" : say("needle.hole", number(a.hole_area_mm2, 1)) + "\n") +
      say("needle.coreholds", number(a.core.requested_mm3, 1), number(a.core.volume_mm3, 1));
  if (figures->with_chances) text += "\n" + say("needle.reach", chance(a.p_reach));
  for (const auto& [name, clearance] : a.clearance_mm) {
    text += "\n" + say("needle.clearance", name, mm(clearance));
    if (const auto p = a.p_touch.find(name); p != a.p_touch.end())
      text += ", " + say("needle.touch", chance(p->second));
  }
  for (const Finding& f : a.findings)
    text += "\n" + std::string(f.level == Level::refused ? "✕ " : "") + f.what;
  figures_->setText(q(text));
  QString rows;
  const auto add = [&](const QString& part, double value) {
    rows += QStringLiteral("<tr><td>%1</td><td align='right' style='padding-left:%3px'>%2</td></tr>")
                .arg(part.toHtmlEscaped(), q(number(value, 1)), QString::number(desk_.look.px(2)));
  };
  for (const auto& [part, value] : a.damage.parts) add(q(part), value);
  add(word("needle.sum"), a.damage.score);
  damage_->setText(QStringLiteral("<table cellspacing='0'>%1</table>").arg(rows));
}

void NeedlePanel::refresh(unsigned changed) {
  if (!desk_.ready()) return;
  add_->setChecked(desk_.tool == Tool::add_track);
  const bool any = desk_.bench.has_track();
  remove_->setEnabled(any);
  for (QWidget* widget : std::initializer_list<QWidget*>{needle_, request_, length_})
    widget->setEnabled(any);
  if (!any) {
    figures_->setText(word("needle.none"));
    damage_->clear();
    return;
  }
  setting_ = true;
  const bool other_track = desk_.bench.track().id != filled_for_;
  if (other_track || (changed & (kDraftChanged | kGroundChanged | kStageChanged))) fill_choices();
  fill_measures();
  setting_ = false;
  fill_figures();
}

bool NeedlePanel::take_tool(Tool tool, const std::vector<Vec3>& points) {
  if (tool != Tool::add_track) return false;
  desk_.tool = Tool::needle;
  desk_.bench.add_track(points.front());
  return true;
}

}  // namespace leastharm

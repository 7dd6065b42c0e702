#include "window/approve_panel.h"

#include <QComboBox>
#include <QFormLayout>
#include <QLineEdit>
#include <QPushButton>
#include <algorithm>

namespace leastharm {
namespace {

constexpr const char* kRoles[] = {"radiologist", "conservator", "committee", "custodian",
                                  "material-scientist"};

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& w : words) text += (text.empty() ? "" : ", ") + w;
  return text;
}

}  // namespace

ComparePicture::ComparePicture(Desk& desk, QWidget* parent) : QWidget(parent), desk_(desk) {
  setFixedHeight(desk.look.px(9));
}

void ComparePicture::show_former(const CaseFile* former) {
  former_ = former;
  setVisible(former != nullptr);
  update();
}

void ComparePicture::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  if (!desk_.ready() || former_ == nullptr) return;
  const BodyView& view = desk_.bench.body_views().from_front;
  if (view.width == 0) return;
  if (drawn_ != desk_.bench.body_views_ptr()) {
    drawn_ = desk_.bench.body_views_ptr();
    image_ = grey_image(view);
  }
  // The part of the body that the tracks of both states lie in.
  QRectF box;
  const auto on_view = [&](const Vec3& p) {
    return QPointF(p.dot(view.right) - view.left_mm, view.top_mm - p.dot(view.up));
  };
  for (const CaseFile* file : {former_, &desk_.bench.file()})
    for (const Track& t : file->plan.tracks)
      for (const Vec3& p : {t.entry_lps_mm, t.tip_lps_mm})
        box = box.united(QRectF(on_view(p) - QPointF(25, 25), QSizeF(50, 50)));
  const double scale = std::min(width() / box.width(), height() / box.height());
  const QSizeF room(width() / scale, height() / scale);
  const QRectF shown(box.center() - QPointF(room.width() / 2, room.height() / 2), room);
  painter.setRenderHints(QPainter::Antialiasing | QPainter::SmoothPixmapTransform);
  painter.fillRect(rect(), Qt::white);
  painter.drawImage(rect(), image_,
                    QRectF(shown.topLeft() / view.mm_per_px, shown.size() / view.mm_per_px));
  const auto at = [&](const Vec3& p) { return (on_view(p) - shown.topLeft()) * scale; };
  for (const CaseFile* file : {former_, &desk_.bench.file()}) {
    const bool former = file == former_;
    for (const Track& t : file->plan.tracks) {
      painter.setPen(QPen(Qt::white, 4, Qt::SolidLine, Qt::RoundCap));
      painter.drawLine(at(t.entry_lps_mm), at(t.tip_lps_mm));
      painter.setPen(QPen(former ? desk_.look.curve() : desk_.look.ink(), 2,
                          former ? Qt::DotLine : Qt::SolidLine, Qt::FlatCap));
      painter.drawLine(at(t.entry_lps_mm), at(t.tip_lps_mm));
      painter.setPen(QPen(former ? desk_.look.curve() : desk_.look.ink(), 1.4));
      painter.setBrush(Qt::white);
      painter.drawEllipse(at(t.entry_lps_mm), 3.2, 3.2);
      painter.setBrush(Qt::NoBrush);
      if (former) continue;
      painter.setFont(desk_.look.font(0.8, QFont::DemiBold));
      painter.setPen(desk_.look.ink());
      painter.drawText(QRectF(at(t.entry_lps_mm) + QPointF(6, -1.3 * desk_.look.em()),
                              QSizeF(4 * desk_.look.em(), 1.2 * desk_.look.em())),
                       Qt::AlignLeft | Qt::AlignVCenter, q(t.id));
    }
  }
}

ApprovePanel::ApprovePanel(Desk& desk) : Panel(desk, word("panel.approve")) {
  plan_ = add_note({});
  add_heading(word("approve.covers"));
  parts_ = add_note({});
  parts_->setTextFormat(Qt::RichText);
  add_heading(word("approve.changes"));
  former_ = new Choice;
  column_->addWidget(former_);
  picture_ = new ComparePicture(desk);
  column_->addWidget(picture_);
  changes_ = add_note({});
  add_heading(word("approve.statements"));
  statements_ = add_note({});
  add_heading(word("approve.yours"));
  auto* form = add_form();
  role_ = new Choice;
  for (const char* role : kRoles) role_->addItem(QString::fromUtf8(role));
  by_ = new QLineEdit;
  condition_ = new QLineEdit;
  note_ = new QLineEdit;
  form->addRow(word("approve.role"), role_);
  form->addRow(word("approve.by"), by_);
  form->addRow(word("approve.condition"), condition_);
  form->addRow(word("approve.note"), note_);
  approve_ = make_button(word("approve.approve"));
  decline_ = make_button(word("approve.decline"));
  add_row({approve_, decline_});
  add_note(word("approve.statement"));
  connect(approve_, &QPushButton::clicked, this, [this] { state(false); });
  connect(decline_, &QPushButton::clicked, this, [this] { state(true); });
  connect(former_, qOverload<int>(&QComboBox::activated), this, [this] { compare(); });
}

void ApprovePanel::state(bool declined) {
  desk_.bench.approve(role_->currentText().toStdString(), by_->text().trimmed().toStdString(),
                      declined, condition_->text().trimmed().toStdString(),
                      note_->text().trimmed().toStdString());
}

void ApprovePanel::opened() {
  if (!desk_.ready()) return;
  versions_ = former_versions(desk_.bench.root(), desk_.bench.file());
  former_->clear();
  for (const PlanVersion& v : versions_) former_->addItem(q(say("approve.former", v.label)));
  former_->setVisible(!versions_.empty());
  compare();
}

void ApprovePanel::compare() {
  const int n = former_->currentIndex();
  if (n < 0 || n >= static_cast<int>(versions_.size())) {
    picture_->show_former(nullptr);
    changes_->setText(word("approve.noformer"));
    return;
  }
  const CaseFile& former = versions_[static_cast<std::size_t>(n)].file;
  picture_->show_former(&former);
  std::string text;
  for (const std::string& line : plan_changes(former, desk_.bench.file()))
    text += (text.empty() ? "" : "\n") + line;
  changes_->setText(
      q(text.empty() ? say("approve.nochange") : text + "\n" + say("approve.legend")));
}

void ApprovePanel::fill_parts() {
  QString rows;
  for (const auto& [part, hash] : plan_parts(desk_.bench.file()))
    rows += QStringLiteral("<tr><td style='padding-right:%3px'>%1</td><td><tt>%2</tt></td></tr>")
                .arg(q(part), q(hash.substr(0, 12)), QString::number(desk_.look.px(1)));
  parts_->setText(QStringLiteral("<table cellspacing='0'>%1</table>").arg(rows));
}

void ApprovePanel::fill_statements() {
  const CaseFile& file = desk_.bench.file();
  std::string text;
  for (const Approval& a : file.approvals) {
    const auto since = changed_since(a, file);
    text += (text.empty() ? "" : "\n") +
            say("approve.line", a.by, a.role,
                a.decision == "declined" ? say("approve.declined") : say("approve.approved")) +
            ", " + a.at.substr(0, 10);
    if (!a.condition.empty()) text += "; " + say("approve.if", a.condition);
    if (!a.note.empty()) text += "; " + a.note;
    if (!since.empty())
      text += "; " + say("approve.void", joined(since));
    else if (!a.voided.empty())
      text += "; " + say("approve.void", a.voided);
  }
  statements_->setText(q(text.empty() ? say("approve.none") : text));
}

void ApprovePanel::refresh(unsigned changed) {
  // Nothing is hashed while a track is dragged.
  if (!desk_.ready() || !(changed & (kDraftChanged | kKeptChanged | kStageChanged | kGroundChanged))) return;
  const CaseFile& file = desk_.bench.file();
  const bool any = !desk_.bench.tracks().empty();
  const std::string hash = plan_sha256(file);
  plan_->setText(any ? q(say("approve.plan", plan_label(file),
                             hash.substr(0, hash.size() / 2) + "\n" + hash.substr(hash.size() / 2)))
                     : word("approve.noplan"));
  approve_->setEnabled(any);
  decline_->setEnabled(any);
  fill_parts();
  fill_statements();
  if (changed & (kKeptChanged | kStageChanged)) opened();
}

}  // namespace leastharm

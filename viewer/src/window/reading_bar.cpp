#include "window/reading_bar.h"

#include <QHBoxLayout>
#include <QSignalBlocker>
#include <cmath>

#include "slice.h"
#include "words.h"

namespace leastharm {

ReadingBar::ReadingBar(Desk& desk, QWidget* parent) : QWidget(parent), desk_(desk) {
  auto* line = new QHBoxLayout(this);
  line->setContentsMargins(desk.look.px(0.8), 0, desk.look.px(0.8), desk.look.px(0.2));
  line->setSpacing(desk.look.px(0.5));
  pointed_ = new QLabel;
  pointed_->setSizePolicy(QSizePolicy::Ignored, QSizePolicy::Preferred);
  line->addWidget(pointed_, 1);
  hatches_ = new QCheckBox(word("read.hatches"));
  confidence_ = new QCheckBox(word("read.confidence"));
  words_ = new QCheckBox(word("read.words"));
  ruler_ = new QCheckBox(word("read.ruler"));
  line->addWidget(ruler_);
  connect(ruler_, &QCheckBox::toggled, this, [this](bool on) {
    if (!setting_) desk_.tool = on ? Tool::ruler : Tool::needle;
    if (desk_.on_look) desk_.on_look();
  });
  for (QCheckBox* box : {words_, hatches_, confidence_}) {
    line->addWidget(box);
    connect(box, &QCheckBox::toggled, this, [this] {
      if (setting_) return;
      ViewState view = desk_.bench.view();
      view.hatches = hatches_->isChecked();
      view.confidence = confidence_->isChecked();
      view.words = words_->isChecked();
      desk_.bench.set_view(view);
    });
  }
  line->addSpacing(desk.look.px(1));
  hu_ = new QLabel(word("read.hu"));
  to_ = new QLabel(word("read.to"));
  black_ = new QDoubleSpinBox;
  white_ = new QDoubleSpinBox;
  for (QDoubleSpinBox* field : {black_, white_}) {
    field->setDecimals(0);
    field->setRange(-1024, 4096);
    field->setSingleStep(50);
    field->setAlignment(Qt::AlignRight);
    field->setKeyboardTracking(false);
    connect(field, qOverload<double>(&QDoubleSpinBox::valueChanged), this, [this] {
      if (setting_ || white_->value() <= black_->value()) return;
      ViewState view = desk_.bench.view();
      view.grey = {black_->value(), white_->value()};
      desk_.bench.set_view(view);
    });
  }
  black_->setAccessibleName(word("read.black"));
  white_->setAccessibleName(word("read.white"));
  line->addWidget(hu_);
  line->addWidget(black_);
  line->addWidget(to_);
  line->addWidget(white_);
  line->addSpacing(desk.look.px(1));
  kept_ = new QLabel;
  line->addWidget(kept_);
}

void ReadingBar::refresh() {
  setting_ = true;
  const ViewState& view = desk_.bench.view();
  hatches_->setChecked(view.hatches);
  confidence_->setChecked(view.confidence);
  words_->setChecked(view.words);
  ruler_->setChecked(desk_.tool == Tool::ruler);
  black_->setValue(view.grey.black_hu);
  white_->setValue(view.grey.white_hu);
  setting_ = false;
  const std::string& fault = desk_.bench.keep_fault();
  kept_->setText(!fault.empty()          ? word("read.notkept")
                 : desk_.bench.is_kept() ? word("read.kept")
                                         : word("read.keeping"));
  show_pointed();
}

QString ReadingBar::pointed_text() const {
  if (!desk_.ready() || !desk_.pointed) return word("read.hint");
  const Body& body = desk_.bench.ground().body;
  const Vec3 p = desk_.pointed->lps_mm;
  const VoxelIndex v = body.grid.voxel_at(p);
  std::string text;
  if (desk_.pointed->depth_mm) text += say("read.depth", mm(*desk_.pointed->depth_mm)) + "   ";
  if (!body.grid.contains(v)) return q(text + say("read.outside"));
  const double hu = hu_at(body, p);
  text += (std::isfinite(hu) ? number(hu, 0) + " HU" : say("read.noreading")) + "   " +
          spoken(body.material_at(v));
  if (!body.confidence.empty())
    text += "   " + say("read.sure", number(100.0 * body.confidence[body.grid.offset(v)] / 255, 0));
  std::string marks;
  for (const Mark& mark : body.marks)
    if (mark.mask.contains(v)) marks += (marks.empty() ? "" : ", ") + mark.name;
  if (!marks.empty()) text += "   " + say("read.inmark", marks);
  return q(text + "   LPS " + point(p));
}

void ReadingBar::show_pointed() { pointed_->setText(pointed_text()); }

}  // namespace leastharm

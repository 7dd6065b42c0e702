#include "window/pages.h"

#include <QDragEnterEvent>
#include <QHBoxLayout>
#include <QLabel>
#include <QListWidget>
#include <QMimeData>
#include <QPushButton>
#include <QSettings>
#include <QVBoxLayout>
#include <algorithm>

#include "words.h"

namespace leastharm {

namespace fs = std::filesystem;

namespace {

constexpr int kMostRecent = 8;
constexpr Material kLegend[] = {Material::wrapping, Material::body,  Material::packing,
                                Material::bone,     Material::resin, Material::dense,
                                Material::support};

QPushButton* act_button(const QString& text) {
  auto* button = new QPushButton(text);
  button->setProperty("act", true);
  button->setAutoDefault(true);
  return button;
}

QLabel* wrapped(const QString& text, const QFont& font) {
  auto* label = new QLabel(text);
  label->setFont(font);
  label->setWordWrap(true);
  return label;
}

/// The materials as they are drawn everywhere, with their names: the window's legend, laid out like a log.
class Legend : public QWidget {
 public:
  explicit Legend(const Look& look) : look_(look) { setFixedHeight(look.px(6)); }

 protected:
  void paintEvent(QPaintEvent*) override {
    QPainter painter(this);
    painter.setRenderHint(QPainter::Antialiasing);
    const double high = look_.px(2.4), top = look_.px(1.6), each = static_cast<double>(width()) / static_cast<double>(std::size(kLegend));
    paint_by_cairo(painter, QRect(0, static_cast<int>(top), width(), static_cast<int>(high)), [&](cairo_t* cairo) {
      for (std::size_t n = 0; n < std::size(kLegend); ++n) {
        add_rect(cairo, {static_cast<double>(n) * each, 0, each, high});
        fill_as(cairo, kLegend[n]);
        add_rect(cairo, {static_cast<double>(n) * each + 0.5, 0.5, each - 1, std::floor(high) - 1});
        stroke(cairo, kInk, 0.8);
      }
    });
    painter.setFont(look_.font(0.86));
    painter.setPen(look_.quiet());
    painter.drawText(QRectF(0, 0, width(), look_.px(1.4)), Qt::AlignLeft | Qt::AlignVCenter, word("start.legend"));
    painter.setFont(look_.font(0.9, QFont::DemiBold));
    painter.setPen(look_.ink());
    for (std::size_t n = 0; n < std::size(kLegend); ++n)
      painter.drawText(QRectF(static_cast<double>(n) * each, top + high + look_.px(0.2), each, look_.px(1.4)), Qt::AlignCenter,
                       q(spoken(kLegend[n])));
  }

 private:
  const Look& look_;
};

/// What stands at the foot of every page without a case.
void add_foot(QVBoxLayout* page, const Look& look) {
  page->addWidget(wrapped(word("start.caution"), look.small()));
  page->addSpacing(look.px(1.6));
  page->addWidget(new Legend(look));
}

}  // namespace

std::vector<fs::path> recent_cases() {
  std::vector<fs::path> cases;
  for (const QString& path : QSettings(QStringLiteral("leastharm"), QStringLiteral("leastharm"))
                                 .value(QStringLiteral("recent"))
                                 .toStringList())
    if (std::error_code none; fs::exists(path.toStdString(), none))
      cases.emplace_back(path.toStdString());
  return cases;
}

void remember_case(const fs::path& root) {
  QSettings settings(QStringLiteral("leastharm"), QStringLiteral("leastharm"));
  QStringList list = settings.value(QStringLiteral("recent")).toStringList();
  const QString path = QString::fromStdString(fs::absolute(root).lexically_normal().string());
  list.removeAll(path);
  list.prepend(path);
  while (list.size() > kMostRecent) list.removeLast();
  settings.setValue(QStringLiteral("recent"), list);
}

StartPage::StartPage(const Look& look, Errands errands)
    : look_(look), errands_(std::move(errands)) {
  setAcceptDrops(true);
  auto* middle = new QVBoxLayout(this);
  middle->setContentsMargins(look.px(6), look.px(5), look.px(6), look.px(2));
  auto* name = new QLabel(word("start.name"));
  name->setFont(look.font(3.4, QFont::Black));
  middle->addWidget(name);
  middle->addWidget(wrapped(word("start.what"), look.font(1.15)));
  middle->addSpacing(look.px(2.2));
  auto* columns = new QHBoxLayout;
  columns->setSpacing(look.px(4));
  const auto add_column = [&](const QString& title, const QString& text,
                              std::vector<QPushButton*> buttons) {
    auto* column = new QVBoxLayout;
    column->setSpacing(look.px(0.6));
    column->addWidget(wrapped(title, look.title()));
    column->addWidget(wrapped(text, look.font()));
    for (QPushButton* button : buttons) column->addWidget(button, 0, Qt::AlignLeft);
    column->addStretch(1);
    columns->addLayout(column, 1);
  };
  auto* choose_ct = act_button(word("start.choosect"));
  auto* choose_case = act_button(word("start.choosecase"));
  auto* demo = act_button(word("start.demobutton"));
  connect(choose_ct, &QPushButton::clicked, this, [this] { errands_.choose_ct(); });
  connect(choose_case, &QPushButton::clicked, this, [this] { errands_.choose_case(); });
  connect(demo, &QPushButton::clicked, this, [this] { errands_.make_demo(); });
  choose_ct->setEnabled(static_cast<bool>(errands_.read_ct));
  demo->setEnabled(static_cast<bool>(errands_.make_demo));
  add_column(word("start.ct"), word("start.ctwhat"), {choose_ct});
  add_column(word("start.case"), word("start.casewhat"), {choose_case});
  add_column(word("start.demo"), word("start.demowhat"), {demo});
  middle->addLayout(columns);
  middle->addSpacing(look.px(1.6));
  middle->addWidget(wrapped(word("start.recent"), look.title()));
  recent_ = new QListWidget;
  recent_->setFrameShape(QFrame::NoFrame);
  recent_->setStyleSheet(QStringLiteral("background: transparent;"));
  connect(recent_, &QListWidget::itemActivated, this, [this](QListWidgetItem* item) {
    const QString path = item->data(Qt::UserRole).toString();
    if (!path.isEmpty()) errands_.open_case(path.toStdString());
  });
  middle->addWidget(recent_);
  middle->addSpacing(look.px(1.6));
  auto* drop = wrapped(word("start.drop"), look.font(1.3));
  // A frame to aim at; the whole page takes what is dropped.
  drop->setAlignment(Qt::AlignCenter);
  drop->setStyleSheet(QStringLiteral("color: %1; border: %2px dashed %1;").arg(look.quiet().name()).arg(look.px(0.1)));
  middle->addWidget(drop, 1);
  middle->addSpacing(look.px(0.8));
  add_foot(middle, look);
}

void StartPage::refresh() {
  recent_->clear();
  for (const fs::path& root : recent_cases()) {
    auto* item =
        new QListWidgetItem(q(root.filename().string() + "   " + root.parent_path().string()));
    item->setData(Qt::UserRole, q(root.string()));
    recent_->addItem(item);
  }
  if (recent_->count() == 0) {
    auto* none = new QListWidgetItem(word("start.norecent"));
    none->setFlags(Qt::NoItemFlags);
    recent_->addItem(none);
  }
  recent_->setFixedHeight(static_cast<int>(recent_->count() * 1.9 * look_.em() + look_.px(0.6)));
}

void StartPage::dragEnterEvent(QDragEnterEvent* event) {
  if (event->mimeData()->hasUrls()) event->acceptProposedAction();
}

void StartPage::dropEvent(QDropEvent* event) {
  const auto urls = event->mimeData()->urls();
  if (urls.isEmpty() || !urls.front().isLocalFile()) return;
  const fs::path path = urls.front().toLocalFile().toStdString();
  if (fs::exists(path / "case.json"))
    errands_.open_case(path);
  else if (errands_.read_ct)
    errands_.read_ct(path);
}

ReadingPage::ReadingPage(const Look& look) {
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(look.px(6), look.px(5), look.px(6), look.px(2));
  column->setSpacing(look.px(0.8));
  title_ = wrapped({}, look.font(2, QFont::Bold));
  lines_ = wrapped({}, look.font(1.05));
  lines_->setTextFormat(Qt::PlainText);
  lines_->setTextInteractionFlags(Qt::TextSelectableByMouse);
  busy_ = wrapped({}, look.font());
  column->addWidget(title_);
  column->addWidget(lines_);
  column->addWidget(busy_);
  ways_ = new QVBoxLayout;
  ways_->setSpacing(look.px(0.6));
  column->addLayout(ways_);
  column->addStretch(1);
  add_foot(column, look);
}

void ReadingPage::show_lines(const QString& title, const std::vector<std::string>& lines,
                             bool busy) {
  title_->setText(title);
  std::string text;
  for (const std::string& line : lines) text += (text.empty() ? "" : "\n") + line;
  lines_->setText(q(text));
  if (busy && timer_ == 0) {
    seconds_ = 0;
    timer_ = startTimer(1000);
    busy_->setText(word("page.busy"));
  }
  if (!busy && timer_ != 0) {
    killTimer(timer_);
    timer_ = 0;
  }
  busy_->setVisible(busy);
  show_ways({});
}

void ReadingPage::show_ways(const std::vector<std::pair<QString, std::function<void()>>>& ways) {
  while (QLayoutItem* item = ways_->takeAt(0)) {
    item->widget()->deleteLater();
    delete item;
  }
  for (const auto& [text, way] : ways) {
    auto* button = act_button(text);
    connect(button, &QPushButton::clicked, this, [way = way] { way(); });
    ways_->addWidget(button, 0, Qt::AlignLeft);
    if (&text == &ways.front().first) button->setFocus();
  }
}

void ReadingPage::timerEvent(QTimerEvent*) {
  busy_->setText(q(say("page.seconds", std::to_string(++seconds_))));
}

std::vector<std::string> inspection_lines(const Inspection& inspection) {
  std::vector<std::string> lines;
  for (std::size_t n = 0; n < inspection.series.size(); ++n) {
    const Series& s = inspection.series[n];
    const Grid& g = s.grid;
    lines.push_back((inspection.series.size() > 1 ? std::to_string(n + 1) + ".  " : "") +
                    say("intake.series", s.modality, std::to_string(s.slices),
                        std::to_string(g.size[0]) + " × " + std::to_string(g.size[1]) + " × " +
                            std::to_string(g.size[2])) +
                    ", " + number(g.spacing_mm.x(), 2) + " × " + number(g.spacing_mm.y(), 2) +
                    " × " + mm(g.spacing_mm.z(), 2) + (s.usable ? "" : say("intake.unusable")));
    for (const Finding& f : s.findings)
      lines.push_back("    " + std::string(name_of(f.level)) + ": " + f.what);
  }
  if (inspection.non_image_files > 0)
    lines.push_back(say("intake.others", counted(inspection.non_image_files, "file")));
  for (const Finding& f : inspection.findings)
    lines.push_back(std::string(name_of(f.level)) + ": " + f.what);
  if (inspection.series.empty()) lines.push_back(say("intake.none"));
  return lines;
}

std::vector<std::string> inspection_lines(const InspectionSoFar& so_far) {
  std::vector<std::string> lines{
      say("page.headers", std::to_string(so_far.files), std::to_string(so_far.read))};
  for (const auto& [uid, series] : so_far.series)
    lines.push_back(say("intake.sofar", series.modality, counted(static_cast<int>(series.images), "image")));
  for (const std::string& text : so_far.set_aside)
    lines.push_back(std::string(name_of(Level::note)) + ": " + text);
  if (so_far.broken > 0)
    lines.push_back(say("intake.broken", counted(static_cast<int>(so_far.broken), "file"), so_far.first_broken));
  return lines;
}

}  // namespace leastharm

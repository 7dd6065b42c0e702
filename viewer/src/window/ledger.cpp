#include "window/ledger.h"

#include <QKeyEvent>
#include <QMouseEvent>
#include <QWheelEvent>
#include <algorithm>

#include "words.h"

namespace leastharm {
namespace {

enum Cell : std::size_t { kTrack, kSide, kNeedle, kPath, kBar, kMass, kEnough, kNearest, kScore, kCells };
constexpr double kHeadEms = 1.5, kLeastBarEms = 6;
constexpr double kFootRows = 2;  // all tracks together, and the verdict

/// As much of a text as whole lines of a room hold, three dots where some is left out.
QString fitting(const QFontMetrics& metrics, const QString& text, const QRectF& room) {
  const auto fits = [&](const QString& part) {
    return metrics.boundingRect(QRect(0, 0, static_cast<int>(room.width()), 100'000), Qt::TextWordWrap, part).height() <=
           room.height();
  };
  if (fits(text)) return text;
  int length = text.size();
  while (length > 0 && !fits(text.left(length) + QStringLiteral(" …"))) length = text.lastIndexOf(QLatin1Char(' '), length - 1);
  return length > 0 ? text.left(length) + QStringLiteral(" …") : QString();
}

QString head_text(std::size_t cell) {
  switch (cell) {
    case kTrack:
      return word("ledger.track");
    case kSide:
      return word("ledger.side");
    case kNeedle:
      return word("ledger.needle");
    case kPath:
      return word("ledger.path");
    case kBar:
      return word("ledger.crossings");
    case kMass:
      return word("ledger.mass");
    case kEnough:
      return word("ledger.enough");
    case kNearest:
      return word("ledger.nearest");
    default:
      return word("ledger.score");
  }
}

}  // namespace

QString verdict(const Workbench& bench) {
  const auto certificate = bench.certificate();
  if (!certificate) return bench.draft().bound ? word("verdict.outside") : word("verdict.none");
  const double score = bench.figures().programme.score, bound = certificate->lower_bound;
  if (bound <= 0) return q(say("verdict.zero", number(score, 1)));
  const double above = 100 * (score / bound - 1);
  return above < 0.5 ? word("verdict.least") : q(say("verdict.above", number(above, 0)));
}

Ledger::Ledger(Desk& desk, QWidget* parent) : QWidget(parent), desk_(desk) {
  setFocusPolicy(Qt::StrongFocus);
  setAttribute(Qt::WA_OpaquePaintEvent);
}

std::vector<QString> Ledger::texts(std::size_t n) const {
  const Track& track = desk_.bench.tracks()[n];
  const auto figures = desk_.bench.figures_of(n);
  std::vector<QString> text(kCells);
  const bool faulty = figures && !figures->fault.empty();
  const bool bad = faulty || (figures && !figures->assessment.admissible);
  text[kTrack] = q(track.id) + (bad ? QStringLiteral(" ✕") : QString());
  text[kNeedle] = q(track.needle.name.empty()
                        ? number(track.needle.outer_mm, 1) + "/" + mm(track.needle.bore_mm)
                        : track.needle.name);
  if (!figures || faulty) return text;
  const TrackAssessment& a = figures->assessment;
  const bool chances = figures->with_chances;
  text[kSide] = q(a.side);
  text[kPath] = q(number(a.path_length_mm, 1));
  text[kMass] = chances ? q(number(a.core.mass_mg, 1) + " (" + number(a.core.mass_mg_p05, 1) + "–" +
                            number(a.core.mass_mg_p95, 1) + ")")
                        : q(number(a.core.mass_mg, 1)) + QStringLiteral(" …");
  text[kEnough] = !chances         ? QStringLiteral("…")
                  : a.core.p_enough ? q(chance(*a.core.p_enough))
                                    : QStringLiteral("–");
  const auto nearest =
      std::ranges::min_element(a.clearance_mm, {}, [](const auto& entry) { return entry.second; });
  text[kNearest] = nearest == a.clearance_mm.end()
                       ? QStringLiteral("–")
                       : q(nearest->first + " " + number(nearest->second, 1));
  text[kScore] = q(number(a.damage.score, 1));
  return text;
}

/// As wide as what stands in them. Where there is no room for all, the needle's name goes first, then
/// the bar, the nearest keep-out and so on: the Needle drawer has them in full.
std::vector<Ledger::Column> Ledger::columns() const {
  const double e = desk_.look.em(), left = desk_.look.px(0.8), gap = 0.9 * e;
  const QFontMetrics head(desk_.look.font(0.82, QFont::DemiBold)),
      body(desk_.look.font(1, QFont::DemiBold));
  const double least[kCells] = {3.2 * e, 0, 0, 0, 0, 9.2 * e, 3.8 * e, 0, 3.2 * e};
  std::vector<double> wide(kCells);
  for (std::size_t c = 0; c < kCells; ++c)
    wide[c] = std::max(least[c], head.horizontalAdvance(head_text(c)) + 2.0);
  for (std::size_t n = 0; n < desk_.bench.tracks().size(); ++n) {
    const std::vector<QString> text = texts(n);
    for (std::size_t c = 0; c < kCells; ++c)
      if (c != kBar) wide[c] = std::max(wide[c], body.horizontalAdvance(text[c]) + 2.0);
  }
  wide[kBar] = kLeastBarEms * e;
  const auto spare = [&] {
    double sum = left;
    for (const double w : wide) sum += w > 0 ? w + gap : 0;
    return width() - sum;
  };
  for (const std::size_t c : {kNeedle, kBar, kNearest, kPath, kEnough, kSide})
    if (spare() < 0) wide[c] = 0;
  if (wide[kBar] > 0) wide[kBar] += std::max(0.0, spare());
  std::vector<Column> columns(kCells);
  double x = left;
  for (std::size_t c = 0; c < kCells; ++c) {
    columns[c] = {x, wide[c], c == kPath || c == kMass || c == kEnough || c == kScore};
    x += wide[c] > 0 ? wide[c] + gap : 0;
  }
  return columns;
}

void Ledger::draw_cell(QPainter& painter, const Column& column, double y,
                       const QString& text) const {
  if (column.width <= 0) return;
  const QString fitting =
      painter.fontMetrics().elidedText(text, Qt::ElideRight, static_cast<int>(column.width));
  painter.drawText(QRectF(column.x, y, column.width, row_height()),
                   Qt::AlignVCenter | (column.right ? Qt::AlignRight : Qt::AlignLeft), fitting);
}

void Ledger::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  painter.fillRect(rect(), desk_.look.paper());
  if (!desk_.ready()) return;
  painter.setRenderHint(QPainter::Antialiasing);
  if (desk_.bench.tracks().empty()) return draw_without_needle(painter);
  const auto c = columns();
  draw_head(painter, c);
  double y = desk_.look.px(kHeadEms);
  const QString findings = findings_text();
  setToolTip(findings);
  const std::size_t shown = fit_rows(!findings.isEmpty());
  for (std::size_t n = first_; n < first_ + shown; ++n, y += row_height())
    draw_track(painter, c, y, n);
  if (shown < desk_.bench.tracks().size()) draw_scroll_bar(painter, shown);
  y = draw_together(painter, c, y);
  painter.setFont(desk_.look.font(0.9));
  const auto figures = desk_.bench.figures_of(desk_.bench.in_hand());
  painter.setPen(figures && figures->assessment.admissible ? desk_.look.quiet()
                                                           : desk_.look.warn());
  const QRectF room(desk_.look.px(0.8), y, width() - desk_.look.px(1.6), height() - y);
  painter.drawText(room, Qt::AlignLeft | Qt::AlignTop | Qt::TextWordWrap,
                   fitting(painter.fontMetrics(), findings, room));
}

/// What a person can do where there is no track yet.
void Ledger::draw_without_needle(QPainter& painter) const {
  const double e = desk_.look.em(), left = desk_.look.px(0.8);
  painter.setFont(desk_.look.title());
  painter.setPen(desk_.look.ink());
  painter.drawText(QRectF(left, 0.4 * e, width() - left, 2 * e), Qt::AlignLeft | Qt::AlignVCenter,
                   word("ledger.empty"));
  painter.setFont(desk_.look.font());
  painter.setPen(desk_.look.quiet());
  painter.drawText(QRectF(left, 2.8 * e, std::min(width() - 2 * left, 46 * e), height() - 2.8 * e),
                   Qt::AlignLeft | Qt::AlignTop | Qt::TextWordWrap, word("ledger.begin"));
}

std::size_t Ledger::fit_rows(bool findings) {
  const std::size_t count = desk_.bench.tracks().size(), in_hand = desk_.bench.in_hand();
  const double room = height() - desk_.look.px(kHeadEms) - kFootRows * row_height() -
                      (findings ? 1.2 * desk_.look.em() : 0);
  const std::size_t shown =
      std::clamp<std::size_t>(static_cast<std::size_t>(std::max(1.0, room / row_height())), 1, count);
  if (followed_ != in_hand) {
    if (in_hand < first_) first_ = in_hand;
    if (in_hand >= first_ + shown) first_ = in_hand + 1 - shown;
    followed_ = in_hand;
  }
  first_ = std::min(first_, count - shown);
  return shown;
}

void Ledger::draw_scroll_bar(QPainter& painter, std::size_t shown) const {
  const double top = desk_.look.px(kHeadEms), high = static_cast<double>(shown) * row_height(),
               each = high / static_cast<double>(desk_.bench.tracks().size());
  painter.fillRect(QRectF(width() - desk_.look.px(0.35), top + static_cast<double>(first_) * each,
                          desk_.look.px(0.25), static_cast<double>(shown) * each),
                   desk_.look.rule());
}

void Ledger::draw_head(QPainter& painter, const std::vector<Column>& c) const {
  painter.setFont(desk_.look.font(0.82, QFont::DemiBold));
  painter.setPen(desk_.look.quiet());
  for (std::size_t n = 0; n < kCells; ++n)
    draw_cell(painter, c[n], -0.1 * desk_.look.em(), head_text(n));
  painter.setPen(
      QPen(hasFocus() ? desk_.look.curve() : desk_.look.ink(), hasFocus() ? 2 : desk_.look.line()));
  const double y = desk_.look.px(kHeadEms) - 1;
  painter.drawLine(QPointF(c[0].x, y), QPointF(c[kScore].x + c[kScore].width, y));
}

void Ledger::draw_track(QPainter& painter, const std::vector<Column>& c, double y,
                        std::size_t n) {
  const auto figures = desk_.bench.figures_of(n);
  const bool in_hand = n == desk_.bench.in_hand();
  if (in_hand)
    painter.fillRect(
        QRectF(c[0].x - 0.4 * desk_.look.em(), y,
               c[kScore].x + c[kScore].width - c[0].x + 0.8 * desk_.look.em(), row_height()),
        desk_.look.chosen());
  painter.setPen(desk_.look.ink());
  const std::vector<QString> text = texts(n);
  for (std::size_t cell = 0; cell < kCells; ++cell) {
    painter.setFont(cell == kTrack ? desk_.look.font(1, in_hand ? QFont::Bold : QFont::DemiBold)
                    : cell == kScore ? desk_.look.strong()
                                     : desk_.look.font());
    draw_cell(painter, c[cell], y, text[cell]);
  }
  if (figures && figures->fault.empty()) return draw_bar(painter, c[kBar], y, figures->assessment);
  const double x = c[kPath].x;
  painter.setFont(desk_.look.font());
  draw_cell(painter, {x, c[kScore].x + c[kScore].width - x, false}, y,
            figures ? q(figures->fault) : word("ledger.computing"));
}

void Ledger::draw_bar(QPainter& painter, const Column& column, double y,
                      const TrackAssessment& track) {
  if (column.width <= 0) return;
  double longest = 60;
  for (std::size_t n = 0; n < desk_.bench.tracks().size(); ++n)
    if (const auto f = desk_.bench.figures_of(n); f && f->fault.empty())
      longest = std::max(longest, f->assessment.path_length_mm);
  const double scale = (column.width - 2) / longest;
  const QRect where(static_cast<int>(column.x), static_cast<int>(y + row_height() * 0.24),
                    static_cast<int>(column.width), static_cast<int>(row_height() * 0.52));
  for (const Crossing& crossing : track.crossings)
    bands_.draw(painter, where, column.x + crossing.from_mm * scale, column.x + crossing.to_mm * scale,
                crossing.material, desk_.look);
}

double Ledger::draw_together(QPainter& painter, const std::vector<Column>& c, double y) const {
  const FiguresAnswer& f = desk_.bench.figures();
  painter.setPen(QPen(desk_.look.ink(), desk_.look.line()));
  const double right = c[kScore].x + c[kScore].width;
  painter.drawLine(QPointF(c[0].x, y + 1), QPointF(right, y + 1));
  if (!f.programme_known) return y + 2 * row_height();
  painter.setFont(desk_.look.strong());
  painter.setPen(desk_.look.ink());
  const Programme& p = f.programme;
  const QString together = q(say("ledger.together", counted(p.holes, "hole")));
  const double room_before = c[kMass].x - c[0].x;
  painter.drawText(QRectF(c[0].x, y, room_before, row_height()), Qt::AlignVCenter | Qt::AlignLeft,
                   painter.fontMetrics().horizontalAdvance(together) < room_before
                       ? together
                       : word("ledger.alltogether"));
  draw_cell(painter, c[kMass], y,
            f.programme_with_chances ? q(number(p.mass_mg, 1) + " (" + number(p.mass_mg_p05, 1) +
                                         "–" + number(p.mass_mg_p95, 1) + ")")
                                     : q(number(p.mass_mg, 1)) + QStringLiteral(" …"));
  draw_cell(painter, c[kScore], y, q(number(p.score, 1)));
  y += row_height() * 0.95;
  painter.setFont(desk_.look.font());
  painter.setPen(desk_.look.quiet());
  const auto certificate = desk_.bench.certificate();
  const QString bound = certificate && certificate->lower_bound > 0 ? q(say("ledger.bound", number(certificate->lower_bound, 1))) +
                                          QStringLiteral("   ")
                                    : QString();
  const double room = right - c[0].x;
  // Where both do not fit, the verdict is what counts.
  const bool both = painter.fontMetrics().horizontalAdvance(bound + verdict(desk_.bench)) < room;
  painter.drawText(QRectF(c[0].x, y, room, row_height()), Qt::AlignVCenter | Qt::AlignRight,
                   painter.fontMetrics().elidedText((both ? bound : QString()) + verdict(desk_.bench),
                                                    Qt::ElideRight, static_cast<int>(room)));
  return y + row_height();
}

QString Ledger::findings_text() const {
  if (!desk_.bench.has_track()) return {};
  const auto figures = desk_.bench.figures_of(desk_.bench.in_hand());
  if (!figures || !figures->fault.empty()) return {};
  std::string text;
  for (const auto* list : {&figures->assessment.findings, &desk_.bench.figures().programme.findings})
    for (const Finding& f : *list)
      text += (text.empty() ? "" : "; ") + std::string(f.level == Level::refused ? "✕ " : "") + f.what;
  return text.empty() ? QString() : q(desk_.bench.track().id + ": " + text);
}

void Ledger::mousePressEvent(QMouseEvent* event) {
  if (!desk_.ready()) return;
  const double row = (event->localPos().y() - desk_.look.px(kHeadEms)) / row_height();
  if (row >= 0) desk_.bench.take_in_hand(first_ + static_cast<std::size_t>(row));
}

void Ledger::wheelEvent(QWheelEvent* event) {
  if (event->angleDelta().y() < 0) ++first_;
  if (event->angleDelta().y() > 0 && first_ > 0) --first_;
  update();
}

void Ledger::keyPressEvent(QKeyEvent* event) {
  if (!desk_.ready()) return;
  if (event->key() == Qt::Key_Down) return desk_.bench.take_in_hand(desk_.bench.in_hand() + 1);
  if (event->key() == Qt::Key_Up && desk_.bench.in_hand() > 0)
    return desk_.bench.take_in_hand(desk_.bench.in_hand() - 1);
  QWidget::keyPressEvent(event);
}

}  // namespace leastharm

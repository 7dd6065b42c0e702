#include "window/comparison.h"

#include <QKeyEvent>
#include <QMouseEvent>
#include <algorithm>
#include <array>
#include <cmath>

#include "words.h"

namespace leastharm {
namespace {

constexpr double kHeadEms = 3.3, kFootEms = 2.7, kLeastColumnEms = 5.9, kMostColumnEms = 11;

/// Rows of figures, below the heads and the bar.
enum Row : std::size_t { kScore, kBar, kAgainst, kEnough, kMass, kInterval, kNearest, kCores, kRows };
constexpr double kAllRows = static_cast<double>(kRows), kBarRow = static_cast<double>(kBar);

QString row_name(std::size_t row) {
  switch (row) {
    case kBar:
      return word("compare.parts");
    case kScore:
      return word("ledger.score");
    case kAgainst:
      return word("compare.against");
    case kEnough:
      return word("ledger.enough");
    case kMass:
      return word("compare.mass");
    case kInterval:
      return word("compare.interval");
    case kNearest:
      return word("ledger.nearest");
    default:
      return word("compare.cores");
  }
}

QString signed_number(double value, int decimals) {
  const std::string text = number(std::abs(value), decimals);
  const bool none = text == number(0, decimals);
  return none ? QStringLiteral("±0") : (value > 0 ? QStringLiteral("+") : QStringLiteral("−")) + q(text);
}

/// What stands in a cell, and the difference to the first plan before it.
struct Cell {
  QString value, difference;
};

Cell cell_of(const ComparedPlan& first, const ComparedPlan& plan, std::size_t row) {
  const bool itself = &first == &plan;
  const Cell none{plan.found ? QStringLiteral("–") : QString(), {}};
  if (row == kScore && plan.found) return {q(number(plan.score(), 1)), {}};
  if (row == kAgainst && plan.found && !itself) return {signed_number(plan.score() - first.score(), 1), {}};
  if (row == kBar) return {};
  if (plan.assessment == nullptr || row == kAgainst) return none;
  const Programme& p = plan.assessment->programme;
  const auto with_difference = [&](const QString& value, std::optional<double> mine, std::optional<double> other,
                                   double factor, int decimals) {
    return Cell{value, itself || !mine || !other ? QString() : signed_number(factor * (*mine - *other), decimals)};
  };
  switch (row) {
    case kEnough: {
      const auto enough = chance_of_enough(plan);
      return enough ? with_difference(q(chance(*enough)), enough, chance_of_enough(first), 100, 0) : none;
    }
    case kMass:
      return with_difference(q(number(p.mass_mg, 1)), p.mass_mg, first.assessment->programme.mass_mg, 1, 1);
    case kInterval:
      return {q(number(p.mass_mg_p05, 0) + "–" + number(p.mass_mg_p95, 0)), {}};
    case kNearest: {
      const auto nearest = nearest_keep_out_mm(plan);
      return nearest ? with_difference(q(number(*nearest, 0)), nearest, nearest_keep_out_mm(first), 1, 0) : none;
    }
    case kCores:
      return {q(std::to_string(plan.assessment->tracks.size()) + ", " + std::to_string(p.holes)), {}};
    default:
      return {};
  }
}

QString title_of(const ComparedPlan& plan) { return plan.name.empty() ? word("search.answer") : q(plan.name); }

QString below_title(const ComparedPlan& plan, bool kept) {
  if (plan.name.empty()) return kept ? word("compare.askept") : word("compare.asfound");
  if (!plan.found) return word("compare.none");
  // What follows a semicolon is said in full below the table.
  return plan.lesser ? QString() : q(say("compare.for", plan.in_place_of, plan.best_in.substr(0, plan.best_in.find(';'))));
}

}  // namespace

Comparison::Comparison(Desk& desk, QWidget* parent) : QWidget(parent), desk_(desk) {
  setObjectName(QStringLiteral("comparison"));
  setFocusPolicy(Qt::StrongFocus);
  setAttribute(Qt::WA_OpaquePaintEvent);
}

std::vector<ComparedPlan> Comparison::plans() const {
  const auto& proposal = desk_.bench.search().proposal;
  return proposal ? compared_plans(*proposal) : std::vector<ComparedPlan>{};
}

bool Comparison::has_plans() const {
  return desk_.ready() && !desk_.bench.search().running && !plans().empty();
}

int Comparison::wanted_height() const {
  return desk_.look.px(kHeadEms + kFootEms) + static_cast<int>(std::ceil(kAllRows * row_px()));
}

void Comparison::refresh() {
  const std::size_t count = plans().size();
  desk_.compared = std::min(desk_.compared, count == 0 ? 0 : count - 1);
  update();
}

Comparison::Columns Comparison::columns(std::size_t count) const {
  const double e = desk_.look.em(), names = desk_.gutter_px(), room = width() - names - 0.8 * e;
  const std::size_t most = std::clamp<std::size_t>(static_cast<std::size_t>(std::max(2.0, room / (kLeastColumnEms * e))), 2,
                                                   std::max<std::size_t>(2, count));
  Columns columns{names, std::min(kMostColumnEms * e, room / static_cast<double>(std::min(most, count))), {0}};
  // The chosen one's neighbours come into sight with it.
  const std::size_t beside = std::min(most, count) - 1;
  const std::size_t first = desk_.compared <= beside ? 1 : desk_.compared + 1 - beside;
  for (std::size_t n = first; n < count && columns.shown.size() <= beside; ++n) columns.shown.push_back(n);
  return columns;
}

void Comparison::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  painter.fillRect(rect(), desk_.look.paper());
  if (!has_plans()) return;
  painter.setRenderHint(QPainter::Antialiasing);
  const std::vector<ComparedPlan> all = plans();
  const Columns c = columns(all.size());
  const double e = desk_.look.em(), foot = desk_.look.px(kHeadEms) + kAllRows * row_px();
  for (std::size_t place = 0; place < c.shown.size(); ++place)
    draw_column(painter, all, c.shown[place], c.names_px + static_cast<double>(place) * c.wide_px, c.wide_px);
  draw_names(painter);
  painter.setPen(QPen(hasFocus() ? desk_.look.curve() : desk_.look.ink(), hasFocus() ? 2 : desk_.look.line()));
  const double right = c.names_px + static_cast<double>(c.shown.size()) * c.wide_px;
  painter.drawLine(QPointF(0.8 * e, desk_.look.px(kHeadEms) - 1), QPointF(right, desk_.look.px(kHeadEms) - 1));
  const bool stale = desk_.bench.search_is_stale();
  painter.setFont(desk_.look.font(0.9));
  painter.setPen(stale ? desk_.look.warn() : desk_.look.quiet());
  const std::string text = stale ? say("compare.stale") : in_words(all, desk_.compared);
  painter.drawText(QRectF(c.names_px, foot + 0.3 * e, right - c.names_px, height() - foot - 0.3 * e),
                   Qt::AlignLeft | Qt::AlignTop | Qt::TextWordWrap, q(text));
  setToolTip(q(text));
}

void Comparison::draw_names(QPainter& painter) const {
  const double e = desk_.look.em();
  painter.setFont(desk_.look.font(0.86, QFont::DemiBold));
  painter.setPen(desk_.look.quiet());
  for (std::size_t row = 0; row < kRows; ++row)
    painter.drawText(QRectF(0.8 * e, desk_.look.px(kHeadEms) + static_cast<double>(row) * row_px(),
                            desk_.gutter_px() - 1.2 * e, row_px()),
                     Qt::AlignLeft | Qt::AlignVCenter, row_name(row));
}

void Comparison::draw_column(QPainter& painter, const std::vector<ComparedPlan>& plans, std::size_t n, double x,
                             double wide) const {
  const ComparedPlan& plan = plans[n];
  const double e = desk_.look.em(), head = desk_.look.px(kHeadEms), inside = 0.4 * e;
  const bool chosen = n == desk_.compared;
  if (chosen) painter.fillRect(QRectF(x, 0, wide, head + kAllRows * row_px()), desk_.look.chosen());
  if (chosen && hasFocus()) painter.fillRect(QRectF(x, 0, wide, 3), desk_.look.curve());
  const QRectF title(x + inside, 0.25 * e, wide - 2 * inside, 1.2 * e);
  painter.setFont(desk_.look.font(0.95, chosen ? QFont::Bold : QFont::DemiBold));
  painter.setPen(desk_.look.ink());
  // A name that is too long for one line takes the two below it.
  const bool one_line = painter.fontMetrics().horizontalAdvance(title_of(plan)) <= title.width();
  painter.drawText(one_line ? title : title.adjusted(0, 0, 0, head - title.bottom()),
                   Qt::AlignRight | (one_line ? Qt::AlignVCenter : Qt::AlignTop) | Qt::TextWordWrap, title_of(plan));
  painter.setFont(desk_.look.font(0.78));
  painter.setPen(desk_.look.quiet());
  if (one_line)
    painter.drawText(QRectF(title.left(), title.bottom(), title.width(), head - title.bottom()),
                     Qt::AlignRight | Qt::AlignTop | Qt::TextWordWrap, below_title(plan, desk_.bench.search().kept));
  painter.setPen(QPen(desk_.look.rule(), 1));
  painter.drawLine(QPointF(x + wide, title.top()), QPointF(x + wide, head + kAllRows * row_px()));
  draw_bar(painter, plans, n, QRectF(x + inside, head + (kBarRow + 0.2) * row_px(), wide - 2 * inside, 0.62 * row_px()));
  for (std::size_t row = 0; row < kRows; ++row) {
    const Cell cell = cell_of(plans.front(), plan, row);
    const QRectF where(x + inside, head + static_cast<double>(row) * row_px(), wide - 2 * inside, row_px());
    painter.setFont(row == kScore ? desk_.look.strong() : desk_.look.font(0.95));
    painter.setPen(desk_.look.ink());
    painter.drawText(where, Qt::AlignRight | Qt::AlignVCenter, cell.value);
    const double taken = painter.fontMetrics().horizontalAdvance(cell.value) + 0.4 * e;
    painter.setFont(desk_.look.font(0.78));
    painter.setPen(desk_.look.quiet());
    if (painter.fontMetrics().horizontalAdvance(cell.difference) <= where.width() - taken)
      painter.drawText(where.adjusted(0, 0, -taken, 0), Qt::AlignRight | Qt::AlignVCenter, cell.difference);
  }
}

/// The score's parts in their hatches, all plans to one scale.
void Comparison::draw_bar(QPainter& painter, const std::vector<ComparedPlan>& plans, std::size_t n,
                          const QRectF& where) const {
  double highest = 0;
  for (const ComparedPlan& plan : plans) highest = std::max(highest, plan.score());
  if (highest <= 0) return;
  const auto parts = damage_parts(plans[n]);
  double sum = 0;
  for (const auto& [part, value] : parts) sum += value;
  if (sum <= 0) return;
  // A hole that tracks share stands in each of their parts, but once in the score.
  const double scale = where.width() * (plans[n].score() / highest) / sum;
  paint_by_cairo(painter, where.toAlignedRect(), [&](cairo_t* cairo) {
    double x = 0.5;
    for (const auto& [part, value] : parts) {
      if (value <= 0) continue;
      const Rect piece{x, 0.5, std::max(0.0, value * scale - 1), where.height() - 1};
      add_rect(cairo, piece);
      fill_as_part(cairo, part);
      add_rect(cairo, piece);
      stroke(cairo, kInk, 0.7);
      x += value * scale;
    }
  });
}

void Comparison::choose(std::size_t n) {
  desk_.compared = n;
  refresh();
  if (desk_.on_look) desk_.on_look();
}

void Comparison::mousePressEvent(QMouseEvent* event) {
  if (!has_plans()) return;
  setFocus(Qt::MouseFocusReason);
  const Columns c = columns(plans().size());
  const double place = (event->localPos().x() - c.names_px) / c.wide_px;
  if (place >= 0 && place < static_cast<double>(c.shown.size())) choose(c.shown[static_cast<std::size_t>(place)]);
}

void Comparison::mouseDoubleClickEvent(QMouseEvent*) {
  if (has_plans()) desk_.bench.adopt(desk_.compared);
}

void Comparison::keyPressEvent(QKeyEvent* event) {
  if (!has_plans()) return QWidget::keyPressEvent(event);
  const std::size_t last = plans().size() - 1;
  switch (event->key()) {
    case Qt::Key_Left:
      return choose(desk_.compared == 0 ? 0 : desk_.compared - 1);
    case Qt::Key_Right:
      return choose(std::min(last, desk_.compared + 1));
    case Qt::Key_Home:
      return choose(0);
    case Qt::Key_End:
      return choose(last);
    case Qt::Key_Return:
    case Qt::Key_Enter:
      return desk_.bench.adopt(desk_.compared);
    default:
      return QWidget::keyPressEvent(event);
  }
}

}  // namespace leastharm

#include "window/search_pictures.h"

#include <QKeyEvent>
#include <QMouseEvent>
#include <QPainterPath>
#include <algorithm>
#include <cmath>

#include "words.h"

namespace leastharm {
namespace {

double least_chance(const Assessment& a) {
  double least = 1;
  for (const auto& [request, p] : a.programme.p_enough) least = std::min(least, p);
  return least;
}

std::map<std::string, double> parts_of(const Assessment& a) {
  std::map<std::string, double> parts;
  for (const TrackAssessment& t : a.tracks)
    for (const auto& [part, value] : t.damage.parts) parts[part] += value;
  return parts;
}

/// "spares body 4.1, hole 2.0; costs wrapping 3.3": the parts of the score that differ most.
std::string spared(const Assessment& first, const Assessment& other) {
  auto difference = parts_of(other);
  for (const auto& [part, value] : parts_of(first)) difference[part] -= value;
  std::string less, more;
  for (const auto& [part, value] : difference) {
    if (value < -0.05) less += (less.empty() ? "" : ", ") + part + " " + number(-value, 1);
    if (value > 0.05) more += (more.empty() ? "" : ", ") + part + " " + number(value, 1);
  }
  if (less.empty() && more.empty()) return say("search.same");
  return (less.empty() ? "" : say("search.spares", less)) +
         (less.empty() || more.empty() ? "" : "; ") +
         (more.empty() ? "" : say("search.costs", more));
}

}  // namespace

GapCurve::GapCurve(Desk& desk, QWidget* parent) : QWidget(parent), desk_(desk) {
  setFixedHeight(desk.look.px(8));
}

void GapCurve::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  const SearchState& search = desk_.bench.search();
  const double left = desk_.look.px(2.6), right = width() - desk_.look.px(0.4),
               top = desk_.look.px(0.7), bottom = height() - desk_.look.px(1.5);
  painter.setRenderHint(QPainter::Antialiasing);
  painter.setFont(desk_.look.font(0.8));
  painter.setPen(QPen(desk_.look.rule(), 1));
  painter.drawLine(QPointF(left, bottom), QPointF(right, bottom));
  double high = 0, seconds = 1;
  for (const auto& p : search.curve) {
    if (std::isfinite(p.best)) high = std::max(high, p.best);
    if (std::isfinite(p.bound)) high = std::max(high, p.bound);
    seconds = std::max(seconds, p.seconds);
  }
  painter.setPen(desk_.look.quiet());
  if (search.curve.empty()) {
    if (search.running) painter.drawText(rect(), Qt::AlignCenter, word("search.begins"));
    return;
  }
  high = std::max(1.0, high * 1.08);
  const auto at = [&](double t, double score) {
    return QPointF(left + (right - left) * t / seconds,
                   bottom - (bottom - top) * std::clamp(score / high, 0.0, 1.0));
  };
  QPainterPath best, bound, between;
  bool begun = false;
  QPolygonF upper, lower;
  for (const auto& p : search.curve) {
    const bool found = std::isfinite(p.best) && p.best > 0;  // 0: nothing found yet
    const double low = std::isfinite(p.bound) ? std::max(0.0, p.bound) : 0;
    bound.elementCount() == 0 ? bound.moveTo(at(p.seconds, low)) : bound.lineTo(at(p.seconds, low));
    if (!found) continue;
    begun ? best.lineTo(at(p.seconds, p.best)) : best.moveTo(at(p.seconds, p.best));
    begun = true;
    upper << at(p.seconds, p.best);
    lower.prepend(at(p.seconds, low));
  }
  between.addPolygon(upper + lower);
  painter.fillPath(between, desk_.look.chosen());
  painter.setPen(QPen(desk_.look.ink(), 1.8));
  painter.drawPath(best);
  painter.setPen(QPen(desk_.look.curve(), 1.8, Qt::DashLine));
  painter.drawPath(bound);
  const auto& last = search.curve.back();
  painter.setPen(desk_.look.ink());
  const bool found_at_last = std::isfinite(last.best) && last.best > 0;
  const double last_best = found_at_last ? at(seconds, last.best).y() : top;
  if (!found_at_last) painter.drawText(rect(), Qt::AlignCenter, word("search.nothingyet"));
  if (found_at_last)
    painter.drawText(QRectF(0, last_best - 9, left - 4, 18), Qt::AlignRight | Qt::AlignVCenter,
                   q(number(last.best, 1)));
  const double last_bound =
      std::max(at(seconds, std::max(0.0, last.bound)).y(), last_best + desk_.look.em());
  painter.setPen(desk_.look.curve());
  painter.drawText(QRectF(0, last_bound - 9, left - 4, 18), Qt::AlignRight | Qt::AlignVCenter,
                   q(number(last.bound, 1)));
  painter.setPen(desk_.look.quiet());
  painter.drawText(QRectF(left, bottom + 2, right - left, desk_.look.px(1.3)), Qt::AlignRight,
                   q(number(seconds, 0) + " s"));
  painter.drawText(QRectF(left, bottom + 2, right - left, desk_.look.px(1.3)), Qt::AlignLeft,
                   word("search.legend"));
}

Alternatives::Alternatives(Desk& desk, QWidget* parent) : QWidget(parent), desk_(desk) {
  setObjectName(QStringLiteral("alternatives"));
  setFocusPolicy(Qt::StrongFocus);
}

int Alternatives::count() const {
  const auto& proposal = desk_.bench.search().proposal;
  return proposal && proposal->feasible ? static_cast<int>(proposal->alternatives.size()) + 1 : 0;
}

void Alternatives::refresh() {
  chosen_ = std::clamp(chosen_, 0, std::max(0, count() - 1));
  setFixedHeight(static_cast<int>(count() * row_height()));
  update();
}

void Alternatives::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  for (int n = 0; n < count(); ++n) {
    const Proposal& proposal = *desk_.bench.search().proposal;
    const Assessment& a = n == 0
                              ? proposal.assessment
                              : proposal.alternatives[static_cast<std::size_t>(n - 1)].assessment;
    const double y = n * row_height(), e = desk_.look.em();
    if (n == chosen_)
      painter.fillRect(QRectF(0, y, width(), row_height() - 0.3 * e), desk_.look.chosen());
    if (n == chosen_ && hasFocus())
      painter.fillRect(QRectF(0, y, 3, row_height() - 0.3 * e), desk_.look.curve());
    painter.setFont(desk_.look.strong());
    painter.setPen(desk_.look.ink());
    const QString title = n == 0
                              ? word("search.answer")
                              : q(proposal.alternatives[static_cast<std::size_t>(n - 1)].id + "  " +
                                  proposal.alternatives[static_cast<std::size_t>(n - 1)].best_in);
    const QRectF line(0.5 * e, y + 0.15 * e, width() - 1 * e, 1.2 * e);
    painter.drawText(line, Qt::AlignLeft | Qt::AlignVCenter,
                     painter.fontMetrics().elidedText(title, Qt::ElideRight,
                                                      static_cast<int>(line.width() - 5 * e)));
    painter.drawText(line, Qt::AlignRight | Qt::AlignVCenter, q(number(a.programme.score, 1)));
    painter.setFont(desk_.look.font(0.9));
    painter.drawText(line.translated(0, 1.2 * e), Qt::AlignLeft | Qt::AlignVCenter,
                     q(counted(static_cast<int>(a.tracks.size()), "core") + ", " +
                       counted(a.programme.holes, "hole") + ", " + mg(a.programme.mass_mg) + ", " +
                       say("search.enough", chance(least_chance(a)))));
    painter.setPen(desk_.look.quiet());
    const QString spares = n == 0 ? word("search.against") : q(spared(proposal.assessment, a));
    painter.drawText(
        line.translated(0, 2.4 * e), Qt::AlignLeft | Qt::AlignVCenter,
        painter.fontMetrics().elidedText(spares, Qt::ElideRight, static_cast<int>(line.width())));
  }
}

void Alternatives::mousePressEvent(QMouseEvent* event) {
  chosen_ = std::clamp(static_cast<int>(event->localPos().y() / row_height()), 0,
                       std::max(0, count() - 1));
  setFocus(Qt::MouseFocusReason);
  update();
}

void Alternatives::mouseDoubleClickEvent(QMouseEvent*) {
  if (count() > 0) desk_.bench.adopt(static_cast<std::size_t>(chosen_));
}

void Alternatives::keyPressEvent(QKeyEvent* event) {
  if (event->key() == Qt::Key_Down)
    chosen_ = std::min(chosen_ + 1, std::max(0, count() - 1));
  else if (event->key() == Qt::Key_Up)
    chosen_ = std::max(chosen_ - 1, 0);
  else if ((event->key() == Qt::Key_Return || event->key() == Qt::Key_Enter) && count() > 0)
    desk_.bench.adopt(static_cast<std::size_t>(chosen_));
  else
    return QWidget::keyPressEvent(event);
  update();
}

}  // namespace leastharm

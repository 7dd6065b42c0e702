#include "window/search_pictures.h"

#include <QPainterPath>
#include <algorithm>
#include <cmath>

#include "words.h"

namespace leastharm {
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

}  // namespace leastharm

#include "window/log_view.h"

#include <QMouseEvent>
#include <algorithm>
#include <cmath>

#include "words.h"

namespace leastharm {
namespace {

constexpr double kRowsEms = 8.45;  // the four rows, without the gaps between them
constexpr double kScaleEms = 3.3;  // the depth scale with its numbers and the core's words
constexpr double kKeepOutTopMm = 40;
constexpr double kLowHu = -1000;

double top_hu(const NeedleLog& log) {
  double top = 500;
  for (const auto& sample : log.samples)
    if (std::isfinite(sample.hu)) top = std::max(top, std::ceil(sample.hu / 500) * 500);
  return top;
}

/// A curve over the log's samples, broken where there is no value.
template <typename Y>
QVector<QLineF> curve_of(const NeedleLog& log, const ScreenAxis& axis, Y y_of) {
  QVector<QLineF> curve;
  std::optional<QPointF> former;
  for (const auto& sample : log.samples) {
    if (sample.depth_mm < axis.from_mm || sample.depth_mm > axis.to_mm) continue;
    const QPointF at(axis.x(sample.depth_mm), y_of(sample));
    const bool there = std::isfinite(at.y());
    if (former && there) curve << QLineF(*former, at);
    former = there ? std::optional(at) : std::nullopt;
  }
  return curve;
}

}  // namespace

LogView::LogView(Desk& desk, QWidget* parent) : QWidget(parent), desk_(desk) {
  setMouseTracking(true);
  setAttribute(Qt::WA_OpaquePaintEvent);
}

int LogView::wanted_height() const {
  return desk_.ready() && !desk_.bench.has_track() ? 0 : desk_.look.px(14.6);
}

void LogView::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  painter.fillRect(rect(), desk_.look.paper());
  if (!desk_.ready() || !desk_.bench.has_track()) return;
  const auto figures = desk_.bench.figures_of(desk_.bench.in_hand());
  if (!figures) return;
  const ScreenAxis axis = desk_.axis(width());
  if (!figures->fault.empty()) {
    painter.setFont(desk_.look.font());
    painter.setPen(desk_.look.warn());
    painter.drawText(QRectF(axis.x0, 0, axis.x1 - axis.x0, height()),
                     Qt::AlignCenter | Qt::TextWordWrap, q(figures->fault));
    return;
  }
  const TrackAssessment& track = figures->assessment;
  // Rows shrink with the room they are given; their type does not.
  const double foot = desk_.look.px(kScaleEms), gap = 0.95 * desk_.look.em(),
               e = std::clamp((height() - foot - 3 * gap) / kRowsEms, 0.25 * desk_.look.em(), desk_.look.em());
  const Row bands{0.5 * e, 1.9 * e}, hu{bands.bottom() + gap, 3.1 * e},
      keep_out{hu.bottom() + gap, 2.0 * e}, certainty{keep_out.bottom() + gap, 0.95 * e};
  painter.setRenderHint(QPainter::Antialiasing);
  draw_core(painter, axis, track, bands.bottom(), certainty.bottom());
  draw_bands(painter, bands, axis, track);
  draw_hu(painter, hu, axis, figures->log);
  const double line_x = axis.x(desk_.bench.view().depth_mm);
  painter.setPen(QPen(desk_.look.ink(), desk_.look.line(), Qt::DashLine));
  painter.drawLine(QPointF(line_x, 0), QPointF(line_x, certainty.bottom() + 0.45 * e));  // before the texts: they cover it
  draw_keep_out(painter, keep_out, axis, figures->log);
  draw_certainty(painter, certainty, axis, figures->log);
  draw_row_name(painter, bands, word("log.material"), {});
  draw_row_name(painter, hu, word("log.hu"), word("log.hu.unit"));
  draw_row_name(painter, keep_out, word("log.keepout"), word("log.keepout.unit"));
  draw_row_name(painter, certainty, word("log.confidence"), {});
  draw_scale(painter, certainty.bottom() + 0.45 * e, axis, track);
}

void LogView::draw_row_name(QPainter& painter, const Row& row, const QString& name,
                            const QString& unit) const {
  const QRectF where(desk_.look.px(0.8), row.y - 0.15 * desk_.look.em(),
                     desk_.gutter_px() - desk_.look.px(2.6), row.height);
  painter.setFont(desk_.look.font(0.86, QFont::DemiBold));
  painter.setPen(desk_.look.ink());
  painter.drawText(where, Qt::AlignLeft | Qt::AlignTop | Qt::TextDontClip, name);
  if (row.height < 1.7 * desk_.look.em()) return;  // no room for a second line
  painter.setFont(desk_.look.font(0.8));
  painter.setPen(desk_.look.quiet());
  painter.drawText(where.translated(0, 1.1 * desk_.look.em()),
                   Qt::AlignLeft | Qt::AlignTop | Qt::TextDontClip, unit);
}

void LogView::draw_tick(QPainter& painter, const ScreenAxis& axis, double y,
                        const QString& text) const {
  painter.setFont(desk_.look.font(0.76));
  painter.setPen(desk_.look.quiet());
  painter.drawText(QRectF(0, y - 10, axis.x0 - 5, 20), Qt::AlignRight | Qt::AlignVCenter, text);
}

void LogView::draw_bands(QPainter& painter, const Row& row, const ScreenAxis& axis,
                         const TrackAssessment& track) {
  const QRect whole(static_cast<int>(axis.x0), static_cast<int>(row.y), static_cast<int>(axis.x1 - axis.x0) + 1,
                    static_cast<int>(row.height));
  for (const Crossing& crossing : track.crossings)
    bands_.draw(painter, whole, axis.x(crossing.from_mm), axis.x(crossing.to_mm), crossing.material, desk_.look);
  painter.setFont(desk_.look.font(0.86, QFont::DemiBold));
  const QFontMetrics metrics = painter.fontMetrics();
  for (const Crossing& crossing : track.crossings) {
    const double x0 = std::max(axis.x0, axis.x(crossing.from_mm)),
                 x1 = std::min(axis.x1, axis.x(crossing.to_mm));
    const QString name = q(spoken(crossing.material));
    const QString with_length =
        name + QStringLiteral("  ") + q(mm(crossing.to_mm - crossing.from_mm));
    const QString text = metrics.horizontalAdvance(with_length) + 8 < x1 - x0 ? with_length : name;
    if (metrics.horizontalAdvance(text) + 6 >= x1 - x0) continue;
    draw_on_hatch(painter, QRectF(x0, row.y, x1 - x0, row.height), text);
  }
}

void LogView::draw_hu(QPainter& painter, const Row& row, const ScreenAxis& axis,
                      const NeedleLog& log) const {
  const double high = top_hu(log);
  const auto y_of = [&](double hu) {
    return row.bottom() - (std::clamp(hu, kLowHu, high) - kLowHu) / (high - kLowHu) * row.height;
  };
  const double step = high - kLowHu > 2500 ? 1000 : 500;
  for (double hu = kLowHu; hu <= high; hu += step) {
    painter.setPen(QPen(desk_.look.rule(), hu == 0 ? 1.2 : 0.7));
    painter.drawLine(QPointF(axis.x0, y_of(hu)), QPointF(axis.x1, y_of(hu)));
    const bool room = (high - kLowHu) / step * 0.8 * desk_.look.em() < row.height + 0.1;
    if (room || hu == kLowHu || hu + step > high) draw_tick(painter, axis, y_of(hu), q(number(hu, 0)));
  }
  painter.setPen(QPen(desk_.look.curve(), 1.6 * desk_.look.line(), Qt::SolidLine, Qt::SquareCap));
  painter.drawLines(curve_of(log, axis, [&](const NeedleLog::Sample& s) {
    return std::isfinite(s.hu) ? y_of(s.hu) : s.hu;
  }));
}

void LogView::draw_keep_out(QPainter& painter, const Row& row, const ScreenAxis& axis,
                            const NeedleLog& log) const {
  const auto y_of = [&](double free_mm) {
    return row.bottom() - std::clamp(free_mm, 0.0, kKeepOutTopMm) / kKeepOutTopMm * row.height;
  };
  for (const double tick : {0.0, 20.0, 40.0}) {
    painter.setPen(QPen(desk_.look.rule(), 0.7));
    painter.drawLine(QPointF(axis.x0, y_of(tick)), QPointF(axis.x1, y_of(tick)));
    if (tick != 20 || row.height > 1.5 * desk_.look.em()) draw_tick(painter, axis, y_of(tick), q(number(tick, 0)));
  }
  painter.setFont(desk_.look.font(0.8));
  painter.setPen(desk_.look.quiet());
  if (log.nearest.empty()) {
    painter.drawText(QRectF(axis.x0 + 6, row.y, axis.x1 - axis.x0, row.height),
                     Qt::AlignVCenter | Qt::AlignLeft, word("log.nokeepout"));
    return;
  }
  const double limit = desk_.bench.request().limits.clearance_mm;
  painter.setPen(QPen(desk_.look.ink(), 0.9 * desk_.look.line(), Qt::DashLine));
  painter.drawLine(QPointF(axis.x0, y_of(limit)), QPointF(axis.x1, y_of(limit)));
  painter.setPen(desk_.look.quiet());
  painter.drawText(
      QRectF(axis.x1 - 200, y_of(limit) - 1.15 * desk_.look.em(), 196, 1.1 * desk_.look.em()),
      Qt::AlignRight | Qt::AlignBottom, q(say("log.limit", mm(limit, 0))));
  painter.setPen(QPen(desk_.look.ink(), 1.5 * desk_.look.line(), Qt::SolidLine, Qt::SquareCap));
  painter.drawLines(curve_of(log, axis, [&](const NeedleLog::Sample& s) { return y_of(s.keep_out_mm); }));
  const QPointF at(axis.x(log.nearest_at_mm), y_of(log.nearest_mm));
  painter.setBrush(desk_.look.ink());
  painter.drawEllipse(at, 2.6, 2.6);
  painter.setBrush(Qt::NoBrush);
  painter.setFont(desk_.look.font(0.8, QFont::DemiBold));
  const QString text = q(log.nearest + ", " + mm(log.nearest_mm)) +
                       (log.nearest_mm > kKeepOutTopMm ? word("log.beyond") : QString());
  const double text_width = painter.fontMetrics().horizontalAdvance(text);
  const bool left = at.x() + 8 + text_width > axis.x1 - 90;
  painter.fillRect(
      QRectF(left ? at.x() - 8 - text_width : at.x() + 8,
             at.y() < row.y + row.height / 2 ? at.y() + 2 : at.y() - 1.15 * desk_.look.em(),
             text_width, 1.05 * desk_.look.em()),
      desk_.look.paper());
  painter.drawText(
      QRectF(left ? at.x() - 8 - text_width : at.x() + 8,
             at.y() < row.y + row.height / 2 ? at.y() + 2 : at.y() - 1.15 * desk_.look.em(),
             text_width + 4, 1.05 * desk_.look.em()),
      Qt::AlignLeft | Qt::AlignVCenter, text);
}

void LogView::draw_certainty(QPainter& painter, const Row& row, const ScreenAxis& axis,
                             const NeedleLog& log) const {
  QPolygonF under;
  for (const QLineF& piece : curve_of(log, axis, [&](const NeedleLog::Sample& s) {
         return row.bottom() - s.confidence * row.height;
       }))
    under << piece.p1() << piece.p2();
  if (!under.isEmpty()) {
    const double first = under.front().x(), last = under.back().x();
    under << QPointF(last, row.bottom()) << QPointF(first, row.bottom());
    painter.setPen(Qt::NoPen);
    painter.setBrush(desk_.look.high_contrast ? QColor(150, 150, 150) : desk_.look.rule());
    painter.drawPolygon(under);
    painter.setBrush(Qt::NoBrush);
  }
  for (const double tick : {0.0, 1.0}) {
    painter.setPen(QPen(desk_.look.rule(), 0.7));
    painter.drawLine(QPointF(axis.x0, row.bottom() - tick * row.height),
                     QPointF(axis.x1, row.bottom() - tick * row.height));
  }
  draw_tick(painter, axis, row.y, word("log.percent"));
}

void LogView::draw_core(QPainter& painter, const ScreenAxis& axis, const TrackAssessment& track,
                        double from_y, double to_y) const {
  const double from = axis.x(core_from_mm(track)), to = axis.x(track.path_length_mm);
  painter.fillRect(QRectF(from, from_y, to - from, to_y - from_y), desk_.look.chosen());
}

void LogView::draw_scale(QPainter& painter, double y, const ScreenAxis& axis,
                         const TrackAssessment& track) const {
  painter.setPen(QPen(desk_.look.ink(), desk_.look.line()));
  painter.drawLine(QPointF(axis.x0, y), QPointF(axis.x1, y));
  painter.setFont(desk_.look.font(0.8));
  const double step = axis.px_per_mm() * 10 > desk_.look.px(2.4) ? 10 : 20;
  for (double depth = std::ceil(2 * axis.from_mm / step) * step / 2; depth <= axis.to_mm; depth += step / 2) {
    const bool named = std::fmod(std::abs(depth), step) < 0.01;
    painter.setPen(QPen(desk_.look.ink(), 0.8 * desk_.look.line()));
    painter.drawLine(QPointF(axis.x(depth), y), QPointF(axis.x(depth), y + (named ? 5 : 3)));
    if (named && axis.x(depth) + desk_.look.em() < width())
      painter.drawText(QRectF(axis.x(depth) - 30, y + 5, 60, 1.1 * desk_.look.em()),
                       Qt::AlignHCenter | Qt::AlignTop, q(number(depth, 0)));
  }
  const double tip = axis.x(track.path_length_mm), core = axis.x(core_from_mm(track));
  painter.setPen(QPen(desk_.look.ink(), 2.4 * desk_.look.line()));
  painter.drawLine(QPointF(core, y), QPointF(tip, y));
  painter.setBrush(desk_.look.ink());
  painter.setPen(Qt::NoPen);
  painter.drawPolygon(
      QPolygonF({QPointF(tip, y), QPointF(tip - 4, y - 7), QPointF(tip + 4, y - 7)}));
  painter.setBrush(Qt::NoBrush);
  painter.setPen(desk_.look.quiet());
  painter.setFont(desk_.look.font(0.8));
  painter.drawText(
      QRectF(desk_.look.px(0.8), y - 0.2 * desk_.look.em(), axis.x0, 1.4 * desk_.look.em()),
      Qt::AlignLeft | Qt::AlignVCenter, word("log.depth"));
  painter.setPen(desk_.look.ink());
  const QString text =
      q(say("log.core", number(core_from_mm(track), 1), number(track.path_length_mm, 1)));
  const double wide = painter.fontMetrics().horizontalAdvance(text) + 4;
  const double x = std::clamp((core + tip - wide) / 2, axis.x0, std::max(axis.x0, axis.x1 - wide));
  painter.drawText(QRectF(x, y + 1.15 * desk_.look.em() + 5, wide, 1.1 * desk_.look.em()),
                   Qt::AlignCenter, text);
}

void LogView::mousePressEvent(QMouseEvent* event) {
  if (desk_.ready() && event->button() == Qt::LeftButton)
    desk_.set_depth_line(desk_.axis(width()).depth(event->localPos().x()));
}

void LogView::mouseMoveEvent(QMouseEvent* event) {
  if (!desk_.ready() || !desk_.bench.has_track()) return;
  const double depth = desk_.axis(width()).depth(event->localPos().x());
  if (event->buttons() & Qt::LeftButton) desk_.set_depth_line(depth);
  desk_.pointed = Pointed{desk_.section().entry + depth * desk_.section().along, depth};
  if (desk_.on_pointed) desk_.on_pointed();
}

void LogView::leaveEvent(QEvent*) {
  desk_.pointed.reset();
  if (desk_.on_pointed) desk_.on_pointed();
}

}  // namespace leastharm

#include "window/strip_view.h"

#include <QMouseEvent>
#include <algorithm>
#include <cmath>

#include "figure_body.h"
#include "window/aim.h"

namespace leastharm {

StripView::StripView(Desk& desk, QWidget* parent) : QWidget(parent), desk_(desk) {
  setMouseTracking(true);
  setAttribute(Qt::WA_OpaquePaintEvent);
}

QRectF StripView::picture() const {
  const BodyView& view = desk_.bench.body_view();
  const double margin_x = desk_.look.px(5.5), top = desk_.look.px(1.7), bottom = desk_.look.px(0.4);
  const double room_x = width() - 2 * margin_x, room_y = height() - top - bottom;
  const double scale =
      std::min(room_x / std::max(1, view.width), room_y / std::max(1, view.height));
  const double w = scale * view.width, h = scale * view.height;
  return {(width() - w) / 2, top + (room_y - h) / 2, w, h};
}

QPointF StripView::screen_of(const Vec3& lps_mm) const {
  const BodyView& view = desk_.bench.body_view();
  const QRectF where = picture();
  const double scale = where.width() / view.width_mm();
  return {where.x() + (lps_mm.dot(view.right) - view.left_mm) * scale,
          where.y() + (view.top_mm - lps_mm.dot(view.up)) * scale};
}

void StripView::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  painter.fillRect(rect(), desk_.look.paper());
  if (!desk_.ready()) return;
  const BodyView& view = desk_.bench.body_view();
  if (view.width == 0) return;
  if (drawn_ != desk_.bench.body_view_ptr()) {
    drawn_ = desk_.bench.body_view_ptr();
    image_ = grey_image(view);
  }
  painter.setRenderHints(QPainter::Antialiasing | QPainter::SmoothPixmapTransform);
  // The body's surroundings are white: multiplied, they take the paper's own tone.
  painter.setCompositionMode(QPainter::CompositionMode_Multiply);
  painter.drawImage(picture(), image_);
  painter.setCompositionMode(QPainter::CompositionMode_SourceOver);
  draw_slice_line(painter);
  draw_words(painter);
  if (desk_.frame_in_question != nullptr) draw_frame(painter, *desk_.frame_in_question);
  draw_tracks(painter);
}

Vec3 StripView::lps_of(const QPointF& at) const {
  const BodyView& view = desk_.bench.body_view();
  const Ground& ground = desk_.bench.ground();
  const QRectF where = picture();
  const double scale = where.width() / view.width_mm();
  const Vec3 middle = ground.body.grid.lps_from_index(
      Vec3(ground.object_low.i + ground.object_high.i, ground.object_low.j + ground.object_high.j,
           ground.object_low.k + ground.object_high.k) / 2);
  return (view.left_mm + (at.x() - where.x()) / scale) * view.right +
         (view.top_mm - (at.y() - where.y()) / scale) * view.up +
         middle.dot(view.toward) * view.toward;
}

/// Where the scanner's slice lies that is shown beside the ledger.
void StripView::draw_slice_line(QPainter& painter) const {
  const Grid& grid = desk_.bench.ground().body.grid;
  const double x = screen_of(grid.lps_from_index(Vec3((grid.size[0] - 1) / 2.0, (grid.size[1] - 1) / 2.0,
                                                      desk_.slice_index()))).x();
  const QRectF where = picture();
  painter.setPen(QPen(desk_.look.quiet(), desk_.look.line(), Qt::DashLine));
  painter.drawLine(QPointF(x, where.top()), QPointF(x, where.bottom()));
}

void StripView::draw_tracks(QPainter& painter) const {
  const auto& tracks = desk_.bench.tracks();
  std::vector<std::size_t> order(tracks.size());
  std::vector<double> wanted;
  for (std::size_t n = 0; n < order.size(); ++n) order[n] = n;
  const auto entry_of = [&](std::size_t n) {
    return n == desk_.bench.in_hand() ? desk_.shown_track().entry_lps_mm : tracks[n].entry_lps_mm;
  };
  std::ranges::stable_sort(order, {}, [&](std::size_t n) { return screen_of(entry_of(n)).x(); });
  for (const std::size_t n : order) wanted.push_back(screen_of(entry_of(n)).x());
  const std::vector<double> x = spread_labels(wanted, desk_.look.px(2.2), 0, width());
  for (std::size_t at = 0; at < order.size(); ++at) {
    const std::size_t n = order[at];
    const bool in_hand = n == desk_.bench.in_hand();
    const QPointF entry = screen_of(entry_of(n)), tip = screen_of(tracks[n].tip_lps_mm);
    painter.setPen(QPen(Qt::white, 4.2, Qt::SolidLine, Qt::RoundCap));
    painter.drawLine(entry, tip);
    painter.setPen(QPen(desk_.look.ink(), in_hand ? 2.2 : 1.4, Qt::SolidLine, Qt::RoundCap));
    painter.drawLine(entry, tip);
    painter.setBrush(in_hand ? QColor(0xF0, 0xE4, 0x42) : QColor(255, 255, 255));
    painter.setPen(QPen(desk_.look.ink(), 1.4));
    painter.drawEllipse(entry, 3.4, 3.4);
    painter.setBrush(Qt::NoBrush);
    painter.setPen(QPen(desk_.look.quiet(), 0.8));
    painter.drawLine(QPointF(x[at], desk_.look.px(1.35)), entry - QPointF(0, 4));
    painter.setFont(desk_.look.font(0.9, in_hand ? QFont::Black : QFont::DemiBold));
    painter.setPen(desk_.look.ink());
    painter.drawText(QRectF(x[at] - 40, 0, 80, desk_.look.px(1.3)), Qt::AlignCenter,
                     q(tracks[n].id));
    if (in_hand) {
      const double w = painter.fontMetrics().horizontalAdvance(q(tracks[n].id)) / 2.0;
      painter.setPen(QPen(desk_.look.ink(), 1.6));
      painter.drawLine(QPointF(x[at] - w, desk_.look.px(1.3)),
                       QPointF(x[at] + w, desk_.look.px(1.3)));
    }
  }
}

void StripView::draw_words(QPainter& painter) const {
  const Directions directions = desk_.directions();
  const BodyView& view = desk_.bench.body_view();
  const QRectF where = picture();
  painter.setFont(desk_.look.font(0.86));
  painter.setPen(desk_.look.quiet());
  const double line = desk_.look.px(1.2);
  painter.drawText(QRectF(0, where.center().y() - line, where.left() - 6, 2 * line),
                   Qt::AlignRight | Qt::AlignVCenter | Qt::TextWordWrap,
                   q(words_for(-view.right, directions)));
  painter.drawText(
      QRectF(where.right() + 6, where.center().y() - line, width() - where.right() - 6, 2 * line),
      Qt::AlignLeft | Qt::AlignVCenter | Qt::TextWordWrap, q(words_for(view.right, directions)));
  painter.drawText(QRectF(desk_.look.px(0.8), 0, 260, line), Qt::AlignLeft | Qt::AlignVCenter,
                   q(say("strip.seenfrom", words_for(view.toward, directions))));
  const double bar = 100 * where.width() / view.width_mm(), y = height() - 5,
               right = width() - desk_.look.px(0.8);
  painter.setPen(QPen(desk_.look.ink(), 1.2));
  painter.drawLine(QPointF(right - bar, y), QPointF(right, y));
  painter.setPen(desk_.look.quiet());
  painter.drawText(QRectF(right - 200, y - line - 2, 200, line), Qt::AlignRight | Qt::AlignBottom,
                   word("strip.bar"));
}

/// The midline, an arrow to where the head is taken to be, and the front: an arrow, or a ring where it
/// points at the reader (with a dot) or away (with a cross).
void StripView::draw_frame(QPainter& painter, const BodyFrame& frame) const {
  const BodyView& view = desk_.bench.body_view();
  QPolygonF midline;
  for (const Vec3& p : frame.midline_lps_mm) midline << screen_of(p);
  painter.setPen(QPen(Qt::white, 4));
  painter.drawPolyline(midline);
  painter.setPen(QPen(desk_.look.curve(), 2, Qt::DashDotLine));
  painter.drawPolyline(midline);
  const QRectF where = picture();
  const double e = desk_.look.em();
  const auto on_screen = [&](const Vec3& way) {
    return QPointF(way.dot(view.right), -way.dot(view.up));
  };
  const QPointF head = on_screen(frame.head), front = on_screen(frame.front);
  painter.setFont(desk_.look.strong());
  const auto arrow = [&](const QPointF& from, const QPointF& way, const QString& text) {
    const QPointF to = from + 2.6 * e * way, side(-way.y(), way.x());
    painter.setPen(QPen(desk_.look.curve(), 2));
    painter.drawLine(from, to);
    painter.drawPolyline(QPolygonF({to - 0.6 * e * way + 0.35 * e * side, to,
                                    to - 0.6 * e * way - 0.35 * e * side}));
    const double wide = painter.fontMetrics().horizontalAdvance(text) + 4;
    const QPointF at = to + (0.4 * e + (std::abs(way.x()) > 0.5 ? wide / 2 : 0.6 * e)) * way;
    painter.drawText(QRectF(at.x() - wide / 2, at.y() - e, wide, 2 * e), Qt::AlignCenter, text);
  };
  const QPointF end(head.x() < 0 ? where.left() : where.right(), where.center().y() + 1.9 * e);
  if (std::hypot(head.x(), head.y()) > 0.5) arrow(end, head, word("body.headhere"));
  const QPointF middle = midline.isEmpty() ? where.center() : midline[midline.size() / 2];
  if (std::hypot(front.x(), front.y()) > 0.5)
    return arrow(middle, front, word("body.fronthere"));
  const bool toward = frame.front.dot(view.toward) > 0;
  painter.setPen(QPen(desk_.look.curve(), 2));
  painter.setBrush(desk_.look.paper());
  painter.drawEllipse(middle, 0.55 * e, 0.55 * e);
  const double r = 0.38 * e;
  if (toward) {
    painter.setBrush(desk_.look.curve());
    painter.drawEllipse(middle, 0.14 * e, 0.14 * e);
  } else {
    painter.drawLine(middle - QPointF(r, r), middle + QPointF(r, r));
    painter.drawLine(middle - QPointF(r, -r), middle + QPointF(r, -r));
  }
  painter.setBrush(Qt::NoBrush);
  const QString text = toward ? word("body.frontyou") : word("body.frontaway");
  const QRectF place(middle.x() + 0.9 * e, middle.y() + 0.2 * e,
                     painter.fontMetrics().horizontalAdvance(text) + 0.6 * e, 1.3 * e);
  painter.fillRect(place, desk_.look.paper());
  painter.drawText(place, Qt::AlignCenter, text);
}

/// The nearest end of a track; of two that lie together, that of the track in hand.
void StripView::take_hold(const QPointF& at) {
  double nearest = desk_.look.px(0.8);
  std::size_t track = 0;
  held_ = Grip::none;
  const auto consider = [&](std::size_t n, const Vec3& end, Grip grip) {
    const double away = QLineF(at, screen_of(end)).length();
    const bool rather = away < nearest || (away == nearest && n == desk_.bench.in_hand());
    if (!rather) return;
    nearest = away;
    track = n;
    held_ = grip;
  };
  for (std::size_t n = 0; n < desk_.bench.tracks().size(); ++n) {
    consider(n, desk_.bench.tracks()[n].tip_lps_mm, Grip::tip);
    consider(n, desk_.bench.tracks()[n].entry_lps_mm, Grip::entry);
  }
  if (held_ != Grip::none) desk_.bench.take_in_hand(track);
}

void StripView::mousePressEvent(QMouseEvent* event) {
  if (!desk_.ready() || event->button() != Qt::LeftButton) return;
  pressed_ = event->localPos();
  take_hold(pressed_);
  if (held_ == Grip::none) {
    if (picture().contains(pressed_))
      desk_.show_slice(desk_.bench.ground().body.grid.voxel_at(lps_of(pressed_)).k);
    return;
  }
  desk_.grip = held_;
  track_before_ = desk_.shown_track();
  desk_.bench.begin_gesture(say("step.move", track_before_.id));
}

void StripView::mouseMoveEvent(QMouseEvent* event) {
  if (!desk_.ready() || held_ == Grip::none) return;
  const BodyView& view = desk_.bench.body_view();
  const QPointF by = (event->localPos() - pressed_) * view.width_mm() / picture().width();
  const Vec3 move = by.x() * view.right - by.y() * view.up;
  desk_.bench.move_track(held_ == Grip::tip
                             ? with_tip(track_before_, track_before_.tip_lps_mm + move)
                             : with_entry(desk_.bench.ground().body, track_before_,
                                          track_before_.entry_lps_mm + move));
}

void StripView::mouseReleaseEvent(QMouseEvent* event) {
  if (event->button() != Qt::LeftButton || held_ == Grip::none) return;
  held_ = Grip::none;
  desk_.bench.end_gesture();
}

}  // namespace leastharm

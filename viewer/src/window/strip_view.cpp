#include "window/strip_view.h"

#include <QMouseEvent>
#include <algorithm>
#include <cmath>

#include "figure_body.h"
#include "window/aim.h"

namespace leastharm {
namespace {

constexpr double kTogetherPx = 3;  // ends nearer to each other than this count as one place
constexpr double kMarginEms = 7.6, kTopEms = 1.7, kBottomEms = 0.4;

}  // namespace

StripView::StripView(Desk& desk, QWidget* parent) : QWidget(parent), desk_(desk) {
  setMouseTracking(true);
  setAttribute(Qt::WA_OpaquePaintEvent);
}

QPointF StripView::Placed::screen_of(const Vec3& lps_mm) const {
  return {where.x() + (lps_mm.dot(view->right) - view->left_mm) * scale(),
          where.y() + (view->top_mm - lps_mm.dot(view->up)) * scale()};
}

std::vector<StripView::Placed> StripView::places() const {
  const BodyViews& views = desk_.bench.body_views();
  const double margin = desk_.look.px(kMarginEms), top = desk_.look.px(kTopEms),
               room_y = height() - top - desk_.look.px(kBottomEms);
  const auto fit = [&](double room_x) {
    const BodyView& v = views.from_front;
    return std::min((room_x - 2 * margin) / std::max(1.0, v.width_mm()),
                    room_y / std::max({1.0, v.height_mm(), views.from_side.height_mm()}));
  };
  const double alone = fit(width());
  const bool both = views.from_side.width > 0 && fit(width() / 2.0) >= alone;
  std::vector<Placed> placed;
  for (const BodyView* view : {&views.from_front, &views.from_side}) {
    if (view == &views.from_side && !both) break;
    const double w = alone * view->width_mm(), h = alone * view->height_mm(),
                 middle = both ? width() * (placed.empty() ? 0.25 : 0.75) : width() / 2.0;
    placed.push_back({view, {middle - w / 2, top + (room_y - h) / 2, w, h}});
  }
  return placed;
}

QPointF StripView::screen_of(const Vec3& lps_mm) const {
  return places().front().screen_of(lps_mm);
}

Vec3 StripView::lps_of(const Placed& place, const QPointF& at) const {
  const Vec3 middle = middle_of(desk_.bench.ground());
  const BodyView& view = *place.view;
  return (view.left_mm + (at.x() - place.where.x()) / place.scale()) * view.right +
         (view.top_mm - (at.y() - place.where.y()) / place.scale()) * view.up +
         middle.dot(view.toward) * view.toward;
}

Vec3 StripView::entry_of(std::size_t track) const {
  return track == desk_.bench.in_hand() ? desk_.shown_track().entry_lps_mm
                                        : desk_.bench.tracks()[track].entry_lps_mm;
}

void StripView::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  painter.fillRect(rect(), desk_.look.paper());
  if (!desk_.ready() || desk_.bench.body_views().from_front.width == 0) return;
  if (drawn_ != desk_.bench.body_views_ptr()) {
    drawn_ = desk_.bench.body_views_ptr();
    images_ = {grey_image(drawn_->from_front), grey_image(drawn_->from_side)};
  }
  painter.setRenderHints(QPainter::Antialiasing | QPainter::SmoothPixmapTransform);
  const std::vector<Placed> all = places();
  for (std::size_t n = 0; n < all.size(); ++n) {
    // The body's surroundings are white: multiplied, they take the paper's own tone.
    painter.setCompositionMode(QPainter::CompositionMode_Multiply);
    painter.drawImage(all[n].where, images_[n]);
    painter.setCompositionMode(QPainter::CompositionMode_SourceOver);
    draw_slice_line(painter, all[n]);
    draw_words(painter, all[n]);
    if (desk_.frame_in_question != nullptr)
      draw_frame(painter, all[n], *desk_.frame_in_question);
    draw_tracks(painter, all[n]);
    draw_labels(painter, all[n]);
  }
  draw_scale_bar(painter, all.back());
}

/// Where the scanner's slice lies that is shown beside the ledger.
void StripView::draw_slice_line(QPainter& painter, const Placed& place) const {
  const Grid& grid = desk_.bench.ground().body.grid;
  const double x =
      place
          .screen_of(grid.lps_from_index(Vec3((grid.size[0] - 1) / 2.0, (grid.size[1] - 1) / 2.0,
                                              desk_.slice_index())))
          .x();
  painter.setPen(QPen(desk_.look.quiet(), desk_.look.line(), Qt::DashLine));
  painter.drawLine(QPointF(x, place.where.top()), QPointF(x, place.where.bottom()));
}

void StripView::draw_tracks(QPainter& painter, const Placed& place) const {
  for (std::size_t n = 0; n < desk_.bench.tracks().size(); ++n) {
    const bool in_hand = n == desk_.bench.in_hand();
    const QPointF entry = place.screen_of(entry_of(n)),
                  tip = place.screen_of(desk_.bench.tracks()[n].tip_lps_mm);
    painter.setPen(QPen(Qt::white, 4.2, Qt::SolidLine, Qt::RoundCap));
    painter.drawLine(entry, tip);
    painter.setPen(QPen(desk_.look.ink(), in_hand ? 2.2 : 1.4, Qt::SolidLine, Qt::RoundCap));
    painter.drawLine(entry, tip);
    painter.setBrush(in_hand ? QColor(0xF0, 0xE4, 0x42) : QColor(255, 255, 255));
    painter.setPen(QPen(desk_.look.ink(), 1.4));
    painter.drawEllipse(entry, 3.4, 3.4);
    painter.setBrush(Qt::NoBrush);
  }
  painter.setFont(desk_.look.font(0.9, QFont::DemiBold));
  for (const Track& track : desk_.weighed()) draw_weighed(painter, place, track);
}

/// A track that the case does not have yet: dashed, its name on the entry's side.
void StripView::draw_weighed(QPainter& painter, const Placed& place, const Track& track) const {
  const QPointF entry = place.screen_of(track.entry_lps_mm), tip = place.screen_of(track.tip_lps_mm);
  painter.setPen(QPen(Qt::white, 4.2, Qt::SolidLine, Qt::RoundCap));
  painter.drawLine(entry, tip);
  painter.setPen(QPen(desk_.look.curve(), 2, Qt::DashLine));
  painter.drawLine(entry, tip);
  painter.setBrush(Qt::white);
  painter.setPen(QPen(desk_.look.curve(), 1.6));
  painter.drawEllipse(entry, 3.4, 3.4);
  painter.setBrush(Qt::NoBrush);
  const double wide = painter.fontMetrics().horizontalAdvance(q(track.id)) + desk_.look.px(0.5),
               high = painter.fontMetrics().height(), beyond = desk_.look.px(0.4);
  const bool above = entry.y() <= tip.y();
  const QRectF label(entry.x() - wide / 2, above ? entry.y() - beyond - high : entry.y() + beyond, wide, high);
  painter.fillRect(label, desk_.look.paper());
  painter.drawText(label, Qt::AlignCenter, q(track.id));
}

/// The tracks' names above the body, spread so that none covers another.
void StripView::draw_labels(QPainter& painter, const Placed& place) const {
  const auto& tracks = desk_.bench.tracks();
  std::vector<std::size_t> order(tracks.size());
  for (std::size_t n = 0; n < order.size(); ++n) order[n] = n;
  std::ranges::stable_sort(order, {},
                           [&](std::size_t n) { return place.screen_of(entry_of(n)).x(); });
  std::vector<double> wanted;
  for (const std::size_t n : order) wanted.push_back(place.screen_of(entry_of(n)).x());
  const double margin = desk_.look.px(kMarginEms);
  const std::vector<double> x = spread_labels(wanted, desk_.look.px(2.2), place.where.left() - margin,
                                              place.where.right() + margin);
  for (std::size_t at = 0; at < order.size(); ++at) {
    const std::size_t n = order[at];
    const bool in_hand = n == desk_.bench.in_hand();
    painter.setPen(QPen(desk_.look.quiet(), 0.8));
    painter.drawLine(QPointF(x[at], desk_.look.px(1.35)),
                     place.screen_of(entry_of(n)) - QPointF(0, 4));
    painter.setFont(desk_.look.font(0.9, in_hand ? QFont::Black : QFont::DemiBold));
    painter.setPen(QPen(desk_.look.ink(), 1.6));
    painter.drawText(QRectF(x[at] - 40, 0, 80, desk_.look.px(1.3)), Qt::AlignCenter,
                     q(tracks[n].id));
    if (!in_hand) continue;
    const double w = painter.fontMetrics().horizontalAdvance(q(tracks[n].id)) / 2.0;
    painter.drawLine(QPointF(x[at] - w, desk_.look.px(1.3)),
                     QPointF(x[at] + w, desk_.look.px(1.3)));
  }
}

void StripView::draw_words(QPainter& painter, const Placed& place) const {
  const Directions directions = desk_.directions();
  const BodyView& view = *place.view;
  const QRectF& where = place.where;
  const double line = desk_.look.px(1.2), margin = desk_.look.px(kMarginEms);
  painter.setFont(desk_.look.font(0.86));
  painter.setPen(desk_.look.quiet());
  painter.drawText(QRectF(where.left() - margin, where.center().y() - line, margin - 6, 2 * line),
                   Qt::AlignRight | Qt::AlignVCenter, q(words_for(-view.right, directions)));
  painter.drawText(QRectF(where.right() + 6, where.center().y() - line, margin - 6, 2 * line),
                   Qt::AlignLeft | Qt::AlignVCenter, q(words_for(view.right, directions)));
  // A low strip has its tracks' names where the view's own name stands else: it goes below the head.
  const bool low = height() < 5 * line && desk_.frame_in_question == nullptr;
  painter.drawText(QRectF(where.left() - margin - desk_.look.px(4),
                          low ? where.center().y() + line / 2 : std::min(where.top(), where.center().y() - 2 * line),
                          margin + desk_.look.px(4) - 6, line),
                   Qt::AlignRight | Qt::AlignTop,
                   q(say("strip.seenfrom", words_for(view.toward, directions))));
}

void StripView::draw_scale_bar(QPainter& painter, const Placed& place) const {
  // Beside the feet, below their name; a low strip has no room there.
  const double bar = 100 * place.scale(), line = desk_.look.px(1.2), edge = width() - desk_.look.px(0.8);
  const bool beside = place.where.height() > 3.2 * line;
  const double y = beside ? place.where.bottom() - 1 : height() - 5;
  const double right = beside ? std::min(place.where.right() + 6 + std::max(bar, 3.3 * line), edge) : edge;
  painter.setPen(QPen(desk_.look.ink(), 1.2));
  painter.drawLine(QPointF(right - bar, y), QPointF(right, y));
  painter.setFont(desk_.look.font(0.86));
  painter.setPen(desk_.look.quiet());
  painter.drawText(QRectF(right - 200, y - line - 2, 200, line), Qt::AlignRight | Qt::AlignBottom,
                   word("strip.bar"));
}

/// The midline, and arrows to where the head and the front are taken to be.
void StripView::draw_frame(QPainter& painter, const Placed& place, const BodyFrame& frame) const {
  QPolygonF midline;
  for (const Vec3& p : frame.midline_lps_mm) midline << place.screen_of(p);
  painter.setPen(QPen(Qt::white, 4));
  painter.drawPolyline(midline);
  painter.setPen(QPen(desk_.look.curve(), 2, Qt::DashDotLine));
  painter.drawPolyline(midline);
  const QPointF head(frame.head.dot(place.view->right), -frame.head.dot(place.view->up));
  const QPointF end(head.x() < 0 ? place.where.left() : place.where.right(),
                    place.where.center().y() + 1.9 * desk_.look.em());
  if (std::hypot(head.x(), head.y()) > 0.5)
    draw_arrow(painter, end, head, word("body.headhere"));
  draw_front(painter, place, frame,
             midline.isEmpty() ? place.where.center() : midline[midline.size() / 2]);
}

/// An arrow, or a ring where the front points at the reader (with a dot) or away (with a cross).
void StripView::draw_front(QPainter& painter, const Placed& place, const BodyFrame& frame,
                           const QPointF& middle) const {
  const double e = desk_.look.em();
  const QPointF front(frame.front.dot(place.view->right), -frame.front.dot(place.view->up));
  if (std::hypot(front.x(), front.y()) > 0.5)
    return draw_arrow(painter, middle, front, word("body.fronthere"));
  const bool toward = frame.front.dot(place.view->toward) > 0;
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
  const double wide = painter.fontMetrics().horizontalAdvance(text) + 0.6 * e;
  const QRectF label(middle.x() - wide / 2, middle.y() + 0.75 * e, wide, 1.3 * e);
  painter.fillRect(label, desk_.look.paper());
  painter.drawText(label, Qt::AlignCenter, text);
}

void StripView::draw_arrow(QPainter& painter, const QPointF& from, const QPointF& way,
                           const QString& text) const {
  const double e = desk_.look.em();
  const QPointF to = from + 2.2 * e * way, side(-way.y(), way.x());
  painter.setFont(desk_.look.strong());
  painter.setPen(QPen(desk_.look.curve(), 2));
  painter.drawLine(from, to);
  painter.drawPolyline(QPolygonF(
      {to - 0.6 * e * way + 0.35 * e * side, to, to - 0.6 * e * way - 0.35 * e * side}));
  const double wide = painter.fontMetrics().horizontalAdvance(text) + 0.5 * e;
  const bool lying = std::abs(way.x()) > 0.5;
  const QPointF at = lying ? to + (0.3 * e + wide / 2) * way : to + QPointF(0.5 * e + wide / 2, 0);
  const QRectF label(at.x() - wide / 2, at.y() - 0.65 * e, wide, 1.3 * e);
  painter.fillRect(label, desk_.look.paper());
  painter.drawText(label, Qt::AlignCenter, text);
}

/// The nearest end of a track; of two that lie together, that which the keys hold.
void StripView::take_hold(const QPointF& at) {
  double nearest = desk_.look.px(0.8);
  std::size_t track = 0;
  held_ = Grip::none;
  for (const Placed& place : places()) {
    const auto consider = [&](std::size_t n, const Vec3& end, Grip grip) {
      const bool held_by_keys = n == desk_.bench.in_hand() && grip == desk_.grip;
      const double away = QLineF(at, place.screen_of(end)).length() - (held_by_keys ? kTogetherPx : 0);
      if (away >= nearest) return;
      nearest = away;
      track = n;
      held_ = grip;
      held_in_ = place;
    };
    for (std::size_t n = 0; n < desk_.bench.tracks().size(); ++n) {
      consider(n, desk_.bench.tracks()[n].tip_lps_mm, Grip::tip);
      consider(n, desk_.bench.tracks()[n].entry_lps_mm, Grip::entry);
    }
  }
  if (held_ != Grip::none) desk_.bench.take_in_hand(track);
}

void StripView::mousePressEvent(QMouseEvent* event) {
  if (!desk_.ready() || event->button() != Qt::LeftButton) return;
  pressed_ = event->localPos();
  take_hold(pressed_);
  if (held_ == Grip::none) {
    for (const Placed& place : places())
      if (place.where.contains(pressed_))
        desk_.show_slice(desk_.bench.ground().body.grid.voxel_at(lps_of(place, pressed_)).k);
    return;
  }
  desk_.grip = held_;
  track_before_ = desk_.shown_track();
  desk_.bench.begin_gesture(say("step.move", track_before_.id));
}

void StripView::mouseMoveEvent(QMouseEvent* event) {
  if (!desk_.ready() || held_ == Grip::none) return;
  const QPointF by = (event->localPos() - pressed_) / held_in_.scale();
  const Vec3 move = by.x() * held_in_.view->right - by.y() * held_in_.view->up;
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

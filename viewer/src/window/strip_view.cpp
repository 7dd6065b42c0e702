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

void StripView::show_frame(const BodyFrame* frame) {
  frame_ = frame;
  update();
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
  if (drawn_ != &view) {
    image_ = QImage(view.width, view.height, QImage::Format_Grayscale8);
    for (int row = 0; row < view.height; ++row)
      std::copy_n(view.light.begin() + static_cast<std::ptrdiff_t>(row) * view.width, view.width,
                  image_.scanLine(row));
    drawn_ = &view;
  }
  painter.setRenderHints(QPainter::Antialiasing | QPainter::SmoothPixmapTransform);
  // The body's surroundings are white: multiplied, they take the paper's own tone.
  painter.setCompositionMode(QPainter::CompositionMode_Multiply);
  painter.drawImage(picture(), image_);
  painter.setCompositionMode(QPainter::CompositionMode_SourceOver);
  draw_words(painter);
  if (frame_ != nullptr) draw_frame(painter);
  draw_tracks(painter);
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

void StripView::draw_frame(QPainter& painter) const {
  QPolygonF midline;
  for (const Vec3& p : frame_->midline_lps_mm) midline << screen_of(p);
  painter.setPen(QPen(Qt::white, 4));
  painter.drawPolyline(midline);
  painter.setPen(QPen(desk_.look.curve(), 2, Qt::DashDotLine));
  painter.drawPolyline(midline);
}

void StripView::mousePressEvent(QMouseEvent* event) {
  if (!desk_.ready() || event->button() != Qt::LeftButton) return;
  pressed_ = event->localPos();
  const double reach = desk_.look.px(0.8);
  for (std::size_t n = 0; n < desk_.bench.tracks().size(); ++n) {
    const QPointF entry = screen_of(desk_.bench.tracks()[n].entry_lps_mm),
                  tip = screen_of(desk_.bench.tracks()[n].tip_lps_mm);
    const bool at_entry = QLineF(pressed_, entry).length() < reach,
               at_tip = QLineF(pressed_, tip).length() < reach;
    if (!at_entry && !at_tip) continue;
    desk_.bench.take_in_hand(n);
    held_ = at_entry ? Grip::entry : Grip::tip;
    desk_.grip = held_;
    track_before_ = desk_.shown_track();
    desk_.bench.begin_gesture("move " + track_before_.id);
    return;
  }
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

#include "figure_body.h"

#include <algorithm>
#include <numbers>

#include "needle_log.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr double kLabelRow = 17;  // above and below each view: the labels and their leaders
constexpr double kTitleRow = 12;  // below them: how it is seen
constexpr double kLabelWidth = 26;

/// Ids too long for a label in a picture are cut; the tables carry them whole.
std::string short_id(const std::string& id) { return id.size() <= 5 ? id : id.substr(0, 4) + "…"; }

void draw_track(cairo_t* cairo, const PlacedView& placed, const TrackAssessment& track) {
  const double x0 = placed.x(track.track.entry_lps_mm), y0 = placed.y(track.track.entry_lps_mm);
  const double x1 = placed.x(track.track.tip_lps_mm), y1 = placed.y(track.track.tip_lps_mm);
  cairo_set_line_cap(cairo, CAIRO_LINE_CAP_ROUND);
  draw_segment(cairo, x0, y0, x1, y1);
  stroke(cairo, kWhite, 3.2);
  draw_segment(cairo, x0, y0, x1, y1);
  stroke(cairo, kInk, 1.4);
  cairo_set_line_cap(cairo, CAIRO_LINE_CAP_BUTT);
  cairo_arc(cairo, x0, y0, 2.4, 0, 2 * std::numbers::pi);
  set_colour(cairo, kWhite);
  cairo_fill_preserve(cairo);
  stroke(cairo, kInk, 1.1);
}

/// Labels in a row above or below the view, a thin leader from each to its hole.
void draw_labels(cairo_t* cairo, const PlacedView& placed, const std::vector<const Track*>& tracks,
                 const Rect& row, bool above) {
  std::vector<const Track*> order = tracks;
  const auto hole_x = [&](const Track* track) { return placed.x(track->entry_lps_mm); };
  std::stable_sort(order.begin(), order.end(),
                   [&](const Track* a, const Track* b) { return hole_x(a) < hole_x(b); });
  std::vector<double> wanted;
  for (const Track* track : order) wanted.push_back(hole_x(track));
  const double width =
      std::min(kLabelWidth, row.width / std::max<double>(1, static_cast<double>(order.size())));
  const std::vector<double> x = spread_labels(wanted, width, row.x, row.right());
  for (std::size_t n = 0; n < order.size(); ++n) {
    const double hole_y = placed.y(order[n]->entry_lps_mm);
    draw_segment(cairo, x[n], above ? row.y + 10 : row.bottom() - 9.5, wanted[n],
                 above ? hole_y - 2.4 : hole_y + 2.4);
    stroke(cairo, kQuiet, 0.5);
    draw_line_of_text(cairo, short_id(order[n]->id),
                      aligned(TextStyle{7.6, 9, Weight::bold}, Align::centre), x[n],
                      above ? row.y + 8 : row.bottom() - 2);
  }
}

/// Holes in the upper half are named above the view, the others below it.
void draw_all_labels(cairo_t* cairo, const Rect& where, const PlacedView& placed,
                     const std::vector<TrackAssessment>& tracks) {
  std::vector<const Track*> upper, lower;
  const double middle = placed.where.y + placed.where.height / 2;
  for (const TrackAssessment& t : tracks)
    (placed.y(t.track.entry_lps_mm) <= middle ? upper : lower).push_back(&t.track);
  draw_labels(cairo, placed, upper, {where.x, where.y, where.width, kLabelRow}, true);
  draw_labels(cairo, placed, lower, {where.x, placed.where.bottom(), where.width, kLabelRow},
              false);
}

void draw_view(cairo_t* cairo, const Rect& where, const BodyView& view, const Paper& paper,
               bool with_bar) {
  const PlacedView placed{
      view, {where.x, where.y + kLabelRow, where.width, where.height - 2 * kLabelRow - kTitleRow}};
  const Directions directions = directions_of(paper.file);
  paint_view(cairo, placed);
  for (const TrackAssessment& track : paper.assessment.tracks) draw_track(cairo, placed, track);
  draw_all_labels(cairo, where, placed, paper.assessment.tracks);
  const double y = where.bottom() - 3;
  const TextStyle quiet = coloured(style::label, kQuiet);
  draw_line_of_text(cairo, "seen from: " + words_for(view.toward, directions),
                    aligned(quiet, Align::centre), where.x + where.width / 2, y);
  draw_line_of_text(cairo, words_for(-view.right, directions), quiet, where.x, y);
  draw_line_of_text(cairo, words_for(view.right, directions), aligned(quiet, Align::right),
                    where.right(), y);
  if (with_bar) {
    const double bar = 100 * placed.scale();
    draw_segment(cairo, where.x, where.y + kLabelRow + 4, where.x + bar, where.y + kLabelRow + 4);
    stroke(cairo, kInk, 0.8);
    draw_line_of_text(cairo, "100 mm", quiet, where.x, where.y + kLabelRow + 14);
  }
}

}  // namespace

BodyPictures picture_body(const Paper& paper) {
  const BodyFrame frame = drawing_frame(paper.file);
  const Vec3 head = frame.head, front = frame.front, left = frame.left();
  const Body& body = paper.volumes.body;
  BodyPictures pictures{false, look_at(body, left, head), {}};
  pictures.lying = pictures.front.height > 1.5 * pictures.front.width;
  if (pictures.lying) pictures.front = look_at(body, -head, left);
  pictures.side = pictures.lying ? look_at(body, -head, front) : look_at(body, front, head);
  return pictures;
}

std::vector<double> spread_labels(const std::vector<double>& wanted, double width, double low,
                                  double high) {
  std::vector<double> at = wanted;
  for (std::size_t n = 0; n < at.size(); ++n)
    at[n] = std::max(at[n], n == 0 ? low + width / 2 : at[n - 1] + width);
  for (std::size_t n = at.size(); n-- > 0;)
    at[n] = std::min(at[n], n + 1 == at.size() ? high - width / 2 : at[n + 1] - width);
  return at;
}

double draw_body(cairo_t* cairo, const Rect& where, const BodyPictures& pictures,
                 const Paper& paper, bool both) {
  const BodyView& front = pictures.front;
  const BodyView& side = pictures.side;
  if (front.width == 0) return 0;
  constexpr double rows = 2 * kLabelRow + kTitleRow;
  // Lying views stand one below the other, standing ones side by side.
  const bool stacked = pictures.lying;
  const double gap = !both ? 0 : stacked ? 7 : 18;
  const double wide_mm = both && !stacked ? front.width_mm() + side.width_mm() : front.width_mm();
  const double high_mm = both && stacked ? front.height_mm() + side.height_mm() : front.height_mm();
  const double row_space = both && stacked ? 2 * rows + gap : rows;
  const double scale =
      std::min((where.width - (stacked ? 0 : gap)) / wide_mm, (where.height - row_space) / high_mm);
  const double used = wide_mm * scale + (stacked ? 0 : gap), x = where.x + (where.width - used) / 2;
  const Rect first{x, where.y, front.width_mm() * scale, front.height_mm() * scale + rows};
  draw_view(cairo, first, front, paper, true);
  if (!both) return first.height;
  const Rect second{stacked ? x : first.right() + gap, stacked ? first.bottom() + gap : where.y,
                    side.width_mm() * scale, side.height_mm() * scale + rows};
  draw_view(cairo, second, side, paper, false);
  return std::max(first.bottom(), second.bottom()) - where.y;
}

}  // namespace leastharm

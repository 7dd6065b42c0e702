#include "figure_body.h"

#include <algorithm>
#include <numbers>

#include "plan_facts.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr double kNameRow = 17;   // above and below each view: the labels and their leaders
constexpr double kTitleRow = 12;  // below them: how it is seen
constexpr double kNameWidth = 26;

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

/// A hole to be named in a picture.
struct Named {
  std::string name;
  double x = 0, y = 0;
};

/// Names in a row above or below the view, a thin leader from each to its hole.
void draw_names(cairo_t* cairo, std::vector<Named> holes, const Rect& row, bool above) {
  std::stable_sort(holes.begin(), holes.end(),
                   [](const Named& a, const Named& b) { return a.x < b.x; });
  std::vector<double> wanted;
  for (const Named& hole : holes) wanted.push_back(hole.x);
  const double width =
      std::min(kNameWidth, row.width / std::max<double>(1, static_cast<double>(holes.size())));
  const std::vector<double> x = spread_labels(wanted, width, row.x, row.right());
  const TextStyle style = aligned(TextStyle{7.6, 9, Weight::bold}, Align::centre);
  for (std::size_t n = 0; n < holes.size(); ++n) {
    draw_segment(cairo, x[n], above ? row.y + 10 : row.bottom() - 9.5, holes[n].x,
                 above ? holes[n].y - 2.4 : holes[n].y + 2.4);
    stroke(cairo, kQuiet, 0.5);
    draw_line_of_text(cairo, holes[n].name, style, x[n], above ? row.y + 8 : row.bottom() - 2);
  }
}

/// Holes in the upper half are named above the view, the others below it.
void draw_all_names(cairo_t* cairo, const PlacedView& placed,
                    const std::vector<TrackAssessment>& tracks, double free_from_x) {
  const std::vector<std::string> names = short_names(tracks);
  const Rect& where = placed.where;
  std::vector<Named> upper, lower;
  for (std::size_t n = 0; n < tracks.size(); ++n) {
    const Vec3& entry = tracks[n].track.entry_lps_mm;
    const Named hole{names[n], placed.x(entry), placed.y(entry)};
    (hole.y <= where.y + where.height / 2 ? upper : lower).push_back(hole);
  }
  draw_names(cairo, upper, {free_from_x, where.y - kNameRow, where.right() - free_from_x, kNameRow},
             true);
  draw_names(cairo, lower, {where.x, where.bottom(), where.width, kNameRow}, false);
}

/// In the row of names above the view. Returns where the row is free again.
double draw_body_bar(cairo_t* cairo, const PlacedView& placed) {
  const double length = 100 * placed.scale(), x = placed.where.x, y = placed.where.y - kNameRow + 6;
  for (const double end : {x, x + length}) draw_segment(cairo, end, y - 2, end, y + 2);
  draw_segment(cairo, x, y, x + length, y);
  stroke(cairo, kInk, 0.8);
  draw_line_of_text(cairo, "100 mm", style::label, x + length + 5, y + 2.5);
  return x + length + 38;
}

void draw_view(cairo_t* cairo, const Rect& where, const BodyView& view, const Paper& paper,
               bool with_bar) {
  const PlacedView placed{
      view, {where.x, where.y + kNameRow, where.width, where.height - 2 * kNameRow - kTitleRow}};
  const Directions directions = directions_of(paper.file);
  paint_view(cairo, placed);
  for (const TrackAssessment& track : paper.assessment.tracks) draw_track(cairo, placed, track);
  const double free_from_x = with_bar ? draw_body_bar(cairo, placed) : where.x;
  draw_all_names(cairo, placed, paper.assessment.tracks, free_from_x);
  const double y = where.bottom() - 3;
  const TextStyle quiet = coloured(style::label, kQuiet);
  draw_line_of_text(cairo, "seen from: " + words_for(view.toward, directions),
                    aligned(quiet, Align::centre), where.x + where.width / 2, y);
  draw_line_of_text(cairo, words_for(-view.right, directions), quiet, where.x, y);
  draw_line_of_text(cairo, words_for(view.right, directions), aligned(quiet, Align::right),
                    where.right(), y);
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
  for (const Mask* mask : withheld_masks(paper)) {
    withhold(pictures.front, *mask);
    withhold(pictures.side, *mask);
  }
  return pictures;
}

std::vector<double> spread_labels(const std::vector<double>& wanted, double width, double low,
                                  double high) {
  // Labels that would overlap join a group, which then stands as a whole about the mean of what its
  // members want.
  struct Group {
    std::size_t count = 1;
    double first = 0;  ///< sum of the places that the members want for the group's first label
    [[nodiscard]] double start() const { return first / static_cast<double>(count); }
  };
  std::vector<Group> groups;
  for (const double place : wanted) {
    groups.push_back({1, place});
    while (groups.size() > 1) {
      Group& before = groups[groups.size() - 2];
      const Group& last = groups.back();
      const double reach = static_cast<double>(before.count) * width;
      if (before.start() + reach <= last.start()) break;
      before.first += last.first - reach * static_cast<double>(last.count);
      before.count += last.count;
      groups.pop_back();
    }
  }
  std::vector<double> at;
  for (const Group& group : groups)
    for (std::size_t n = 0; n < group.count; ++n)
      at.push_back(group.start() + static_cast<double>(n) * width);
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
  constexpr double rows = 2 * kNameRow + kTitleRow;
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

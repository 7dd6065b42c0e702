#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "directions.h"
#include "window/look.h"
#include "window/workbench.h"

namespace leastharm {

/// Which part of the needle a person holds.
enum class Grip { none, entry, tip, whole };

/// What the pointer does on a picture.
enum class Tool { needle, ruler, ball, connected, outline, brush, midline, add_track };

/// The frame of the section: depth 0 at the entry, running to the right; `up` on the page.
struct SectionFrame {
  Vec3 entry{0, 0, 0}, along{1, 0, 0}, up{0, 0, 1};
  [[nodiscard]] Vec3 across() const {
    return along.cross(up);
  }  ///< toward the reader... away from the page's back
};

/// One millimetre axis for the section and the log: depth from left to right, in px of the desk.
struct ScreenAxis {
  double from_mm = -12, to_mm = 100, x0 = 0, x1 = 1;
  [[nodiscard]] double px_per_mm() const { return (x1 - x0) / (to_mm - from_mm); }
  [[nodiscard]] double x(double depth_mm) const { return x0 + (depth_mm - from_mm) * px_per_mm(); }
  [[nodiscard]] double depth(double px) const { return from_mm + (px - x0) / px_per_mm(); }
};

/// What lies under the pointer.
struct Pointed {
  Vec3 lps_mm{0, 0, 0};
  std::optional<double> depth_mm;  ///< along the needle, on the section and the log
};

/// What all pictures of the window share: the workbench, the look, the tool, the section's frame,
/// the pointer.
class Desk {
 public:
  Desk(Workbench& workbench, Look& set) : bench(workbench), look(set) {}

  Workbench& bench;
  Look& look;
  Tool tool = Tool::needle;
  Grip grip = Grip::tip;  ///< what the keys move
  double brush_mm = 3, ball_mm = 8;
  std::optional<Pointed> pointed;
  bool comparing = false;     ///< plans stand side by side
  std::size_t compared = 0;  ///< the column that is chosen then
  bool section_held = false;  ///< while a grip is dragged in the section, its frame stays
  const BodyFrame* frame_in_question = nullptr;  ///< that a person is asked to confirm; drawn over the pictures

  std::function<void()> on_look;  ///< repaint everything
  std::function<void()> on_pointed;
  std::function<void(const std::function<void()>&)>
      defer;  ///< runs once all events at hand are through
  /// A tool was used: ball and seed give one point; outline, brush and midline their points in
  /// order.
  std::function<void(Tool, const std::vector<Vec3>&)> on_tool;

  [[nodiscard]] bool ready() const { return bench.stage() == Stage::ready; }
  [[nodiscard]] Directions directions() const { return directions_of(bench.file()); }
  /// The track as it lies: its entry on the surface, as the figures will have it.
  [[nodiscard]] Track shown_track() const;
  /// Tracks that the plan being compared has and the case's own has not; none while nothing is compared.
  [[nodiscard]] std::vector<Track> weighed() const;
  /// All tracks but the one in hand: the plan's, then those weighed.
  [[nodiscard]] std::vector<Track> other_tracks() const;
  /// Follows the track, unless it is held; lies along the whole body where there is none.
  void follow_track();
  [[nodiscard]] const SectionFrame& section() const { return section_; }
  [[nodiscard]] ScreenAxis axis(double width_px) const;
  /// Width of the margin that the names of the log's rows stand in.
  [[nodiscard]] int gutter_px() const { return look.px(8.2); }
  /// Where the depth line stands on this track.
  [[nodiscard]] double depth_mm() const;
  void set_depth_line(double depth_mm);
  [[nodiscard]] Vec3 depth_point() const { return section_.entry + depth_mm() * section_.along; }
  /// The scanner's slice that is shown, and that the depth line's point lies in.
  [[nodiscard]] int slice_index() const;
  [[nodiscard]] int slice_of_line() const;
  void show_slice(int k);
  /// Slices toward the head, or toward the feet where negative.
  void step_slice(int headward);

 private:
  void lie_along_body();

  SectionFrame section_;
  double span_to_mm_ = 140;
};

/// The direction on the page that is up for a section along `along`: the object's front, or what is
/// nearest to it.
[[nodiscard]] Vec3 section_up(const Vec3& along, const Vec3& normal, const Directions& directions);

}  // namespace leastharm

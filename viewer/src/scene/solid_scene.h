#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "planner/assess.h"
#include "planner/body.h"

class vtkRenderer;
class vtkRenderWindow;

namespace leastharm {

/// The surface of one material, or of the whole object, in LPS mm.
struct Surface;
using SurfacePtr = std::shared_ptr<const Surface>;

/// What the scene shows of the body: made once a map, in any thread.
struct SolidBody {
  SurfacePtr object;  ///< everything but air and support
  PerMaterial<SurfacePtr>
      materials{};  ///< null where there is none; air, wrapping and support always null
  Vec3 low_lps_mm{0, 0, 0}, high_lps_mm{0, 0, 0};
};
/// Surfaces where half of a cell is material; cells of `cell_mm` or the voxels' own size, whichever
/// is larger. Within half a cell of the map's border (tests/viewer/scene_solid_test.cpp).
[[nodiscard]] SolidBody make_solid_body(const Body& body, double cell_mm = 2.5);

/// The number of a surface's triangles and its enclosed volume, mm3: positive for a surface that is
/// not inside out.
struct SurfaceMeasure {
  std::int64_t triangles = 0;
  double volume_mm3 = 0;
  Vec3 centre_lps_mm{0, 0, 0};
};
[[nodiscard]] SurfaceMeasure measure(const SurfacePtr& surface);

/// Directions that the scene names at the body's sides: what is written there, and which way it
/// lies.
struct NamedDirection {
  std::string name;
  Vec3 direction{0, 0, 1};
};

/// A picture, 8-bit RGB, rows from the top.
struct Picture {
  int width = 0, height = 0;
  std::vector<std::uint8_t> rgb;
};

/// The body in the round: surfaces of its materials, tracks with their outer cylinders, holes at
/// true size, cut open along the track in hand. Builds VTK actors; knows no window. Belongs to the
/// thread that renders it.
class SolidScene {
 public:
  SolidScene();
  SolidScene(const SolidScene&) = delete;
  SolidScene& operator=(const SolidScene&) = delete;
  ~SolidScene();

  void set_body(const SolidBody& body);
  void show(Material material, bool shown);
  /// Tracks as assessed: entries on the surface, with the outward normal there.
  struct ShownTrack {
    Track track;
    Vec3 outward{0, 0, 1};
    bool in_hand = false;
  };
  /// Each with its name at the needle's outer end, in letters of that height.
  void set_tracks(const std::vector<ShownTrack>& tracks, int letters_px = 16);
  /// Takes away what lies on the positive side of a plane; tracks and dense objects stay whole.
  void set_clip(const std::optional<std::pair<Vec3, Vec3>>& point_and_normal);
  void set_names(const std::vector<NamedDirection>& names, int letters_px = 16);
  /// Looks along `-toward`, the whole object in view.
  void look_from(const Vec3& toward, const Vec3& up);
  /// Closer: the sphere of `radius_mm` about `centre` fills the view.
  void look_at(const Vec3& centre, double radius_mm);

  [[nodiscard]] vtkRenderer* renderer() const;
  /// Draws without a window. Throws BadInput where this machine cannot draw at all.
  [[nodiscard]] Picture draw(int width_px, int height_px);

 private:
  struct Parts;
  std::unique_ptr<Parts> parts_;
};

/// What draws: "llvmpipe ..." says that it is the processor. Precondition: the window has been
/// rendered.
[[nodiscard]] std::string drawn_by(vtkRenderWindow& window);

}  // namespace leastharm

#include <cairo.h>

#include <algorithm>
#include <functional>

#include "figure_body.h"
#include "figure_route.h"
#include "imaging/error.h"
#include "imaging/whole_file.h"
#include "viewer/print.h"

namespace leastharm {
namespace {

constexpr double kPixelsPerPt = 2.4;
constexpr double kMargin = 12;

cairo_status_t append(void* bytes, const unsigned char* data, unsigned length) {
  static_cast<std::string*>(bytes)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

/// A white picture of `width` x `height` points, drawn by `draw` inside a margin.
void write_picture(const std::filesystem::path& path, double width, double height,
                   const std::function<void(cairo_t*, const Rect&)>& draw) {
  cairo_surface_t* surface =
      cairo_image_surface_create(CAIRO_FORMAT_RGB24, static_cast<int>(width * kPixelsPerPt),
                                 static_cast<int>(height * kPixelsPerPt));
  cairo_t* cairo = cairo_create(surface);
  cairo_scale(cairo, kPixelsPerPt, kPixelsPerPt);
  set_colour(cairo, kWhite);
  cairo_paint(cairo);
  draw(cairo, {kMargin, kMargin, width - 2 * kMargin, height - 2 * kMargin});
  std::string bytes;
  cairo_surface_write_to_png_stream(surface, append, &bytes);
  cairo_destroy(cairo);
  cairo_surface_destroy(surface);
  write_whole(path, bytes);
}

void draw_route(cairo_t* cairo, const Rect& where, const Paper& paper,
                const TrackAssessment& track) {
  const DepthAxis axis = depth_axis(track, where);
  const double section = where.height - kLogHeight - 7;
  draw_section_along(cairo, {where.x, where.y, where.width, section}, paper, track, axis);
  draw_crossing_log(cairo, {where.x, where.y + section + 7, where.width, kLogHeight}, paper, track,
                    axis);
}

}  // namespace

std::vector<std::filesystem::path> draw_pictures(const Paper& paper,
                                                 const std::filesystem::path& folder) {
  require_typeface();
  std::filesystem::create_directories(folder);
  std::vector<std::filesystem::path> written{folder / "body.png"};
  const BodyPictures pictures = picture_body(paper);
  write_picture(written.back(), 560, 360, [&](cairo_t* cairo, const Rect& where) {
    draw_body(cairo, where, pictures, paper);
  });
  if (paper.assessment.tracks.empty()) return written;
  // The route that passes most shows most.
  const TrackAssessment& telling = std::ranges::max(
      paper.assessment.tracks, {}, [](const TrackAssessment& t) { return t.crossings.size(); });
  written.push_back(folder / "routes.png");
  write_picture(written.back(), 560, 400,
                [&](cairo_t* cairo, const Rect& where) { draw_route(cairo, where, paper, telling); });
  written.push_back(folder / "log.png");
  write_picture(written.back(), 560, kLogHeight + 2 * kMargin,
                [&](cairo_t* cairo, const Rect& where) {
                  draw_crossing_log(cairo, where, paper, telling, depth_axis(telling, where));
                });
  return written;
}

}  // namespace leastharm

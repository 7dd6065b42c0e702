// Every invented body scanned twice, turned by 7 degrees and shifted by 40 mm between, on other
// voxels, with fresh noise: how far the registration carries its named places off (known exactly),
// what it expects itself, and what it says of the inside. Then the same day mirrored, which must be
// refused, and the next body's scan, which is another object.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <optional>
#include <string>
#include <vector>

#include "imaging/error.h"
#include "imaging/registration.h"
#include "phantom_data/phantom.h"

namespace leastharm {
namespace {

using phantom::make_phantom;
using phantom::Phantom;

Phantom on_the_day(const std::string& name) {
  phantom::PhantomOptions options;
  options.scan = 2;
  options.pose.rotation_deg = Vec3(2, -3, 6);
  options.pose.shift_mm = Vec3(30, -18, 20);
  options.spacing_mm = Vec3(1.7, 1.7, 2.5);
  return make_phantom(name, options);
}

Volume<std::int16_t> mirrored(Volume<std::int16_t> hu) {
  const Grid& g = hu.grid;
  for (std::size_t row = 0; row < hu.values.size(); row += static_cast<std::size_t>(g.size[0]))
    std::reverse(hu.values.begin() + static_cast<std::ptrdiff_t>(row),
                 hu.values.begin() + static_cast<std::ptrdiff_t>(row) + g.size[0]);
  return hu;
}

std::string answer_to(const RegistrationInput& input) {
  try {
    static_cast<void>(register_ct(input));
    return "ACCEPTED";
  } catch (const BadInput& fault) {
    return std::string(fault.what()).substr(0, 60);
  }
}

void print_row(const std::string& name, const Phantom& planned, const Phantom& day) {
  std::vector<Vec3> places, truth;
  for (const auto& [place, p] : planned.points)
    places.push_back(p), truth.push_back(day.points.at(place));
  const auto begun = std::chrono::steady_clock::now();
  try {
    const Registration r = register_ct({planned.hu, planned.truth, day.hu, places});
    double worst = 0, expected = 0;
    for (std::size_t n = 0; n < places.size(); ++n) {
      worst = std::max(worst, (r.day_from_planning.apply(places[n]) - truth[n]).norm());
      expected = std::max(expected, r.target_error_p95_mm[n]);
    }
    std::printf("%-22s %5.2f %8.2f %8.2f %8.2f %8.2f %9.4f %9.4f", name.c_str(), worst, expected,
                r.surface.mean_mm, r.bone.mean_mm, r.inner_shift_mm, r.correlation, r.changed);
  } catch (const BadInput& fault) {
    std::printf("%-22s %s", name.c_str(), fault.what());
  }
  std::printf(" %7.1f s\n",
              std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count());
}

void run() {
  std::printf(
      "body                   error expected  surface     bone   inside  correlat.   changed\n");
  std::optional<Phantom> former;
  for (const std::string& name : phantom::scenario_names()) {
    phantom::PhantomOptions coarse;
    coarse.spacing_mm = Vec3(1.5, 1.5, 3);
    const Phantom planned = make_phantom(name, coarse), day = on_the_day(name);
    print_row(name, planned, day);
    std::printf("    mirrored: %s\n",
                answer_to({planned.hu, planned.truth, mirrored(day.hu), {}}).c_str());
    if (former)
      std::printf("    another:  %s\n",
                  answer_to({planned.hu, planned.truth, former->hu, {}}).c_str());
    std::fflush(stdout);
    former = day;
  }
}

}  // namespace
}  // namespace leastharm

int main() { leastharm::run(); }

#include "planner/needle.h"

#include <cmath>
#include <numbers>

#include "imaging/error.h"
#include "planner/text.h"

namespace leastharm {

namespace {

constexpr const char* kChart =
    "Birmingham gauge, nominal regular wall (needle gauge comparison chart); throw and usable length: common practice";

struct Gauge {
  int number;
  double outer_mm, bore_mm, bore_tolerance_mm;
};

// Nominal regular-wall chart with its tolerances; 7 to 9 G lie outside ISO 9626 and are the maker's to state.
constexpr Gauge kGauges[]{{7, 4.572, 3.810, 0.076},  {8, 4.191, 3.429, 0.076},  {9, 3.759, 2.997, 0.076},
                          {10, 3.404, 2.692, 0.076}, {11, 3.048, 2.388, 0.076}, {12, 2.769, 2.159, 0.076},
                          {13, 2.413, 1.803, 0.076}, {14, 2.108, 1.600, 0.076}, {15, 1.829, 1.372, 0.038},
                          {16, 1.651, 1.194, 0.038}};

Needle end_cut(const Gauge& gauge, double throw_mm, double usable_mm) {
  Needle needle;
  needle.name = "end-cut " + std::to_string(gauge.number) + "G " + brief(throw_mm) + " mm";
  needle.outer_mm = gauge.outer_mm;
  needle.bore_mm = gauge.bore_mm;
  needle.throw_mm = throw_mm;
  needle.usable_mm = usable_mm;
  needle.bore_tolerance_mm = gauge.bore_tolerance_mm;
  needle.source = kChart;
  return needle;
}

// The best cores of 14 G spring-loaded side-notch needles weighed 17.7 mg, a full cylinder would be 42 mg: 0.42 of the
// bore's volume at best. The lower end is our own allowance for dry, loose matter.
Needle side_notch(const Gauge& gauge) {
  Needle needle = end_cut(gauge, 20, 150);
  needle.name = "side-notch " + std::to_string(gauge.number) + "G 20 mm";
  needle.kind = NeedleKind::side_notch;
  needle.dead_tip_mm = 6;
  needle.recovery_p05 = 0.25;
  needle.recovery_p95 = 0.42;
  needle.source =
      "gauge chart; recovery derived from Berg et al., Radiology 1997;205:203 (best core 0.42 of the bore, 20 mm notch "
      "assumed); dead tip and lower recovery: common practice, no published source";
  return needle;
}

std::vector<Needle> make_catalogue() {
  std::vector<Needle> needles;
  Needle usual;
  usual.name = "core 2.4 mm bore 20 mm";
  usual.outer_mm = 3.0;
  usual.bore_mm = 2.4;
  usual.throw_mm = 20;
  usual.usable_mm = 150;
  usual.source = "common practice, no published source";
  needles.push_back(usual);
  for (const Gauge& gauge : kGauges) {
    needles.push_back(end_cut(gauge, 10, 100));
    needles.push_back(end_cut(gauge, 20, 150));
  }
  for (const Gauge& gauge : kGauges)
    if (gauge.number == 11 || gauge.number == 14) needles.push_back(side_notch(gauge));
  return needles;
}

void check_length(double value_mm, const char* key, const std::string& where, double high_mm) {
  if (!(std::isfinite(value_mm) && value_mm > 0 && value_mm <= high_mm))
    throw BadInput(where + "." + key + " is " + brief(value_mm) + "; allowed: above 0 and up to " + brief(high_mm) +
                   " mm.");
}

}  // namespace

double Needle::bore_volume_mm3() const { return std::numbers::pi / 4 * bore_mm * bore_mm * throw_mm; }

const std::vector<Needle>& needle_catalogue() {
  static const std::vector<Needle> catalogue = make_catalogue();
  return catalogue;
}

void check_needle(const Needle& needle, const std::string& where) {
  check_length(needle.outer_mm, "outer_mm", where, 20);
  check_length(needle.bore_mm, "bore_mm", where, 20);
  check_length(needle.throw_mm, "throw_mm", where, 1000);
  check_length(needle.usable_mm, "usable_mm", where, 1000);
  if (needle.bore_mm >= needle.outer_mm)
    throw BadInput(where + ".bore_mm is " + brief(needle.bore_mm) + "; allowed: below outer_mm, which is " +
                   brief(needle.outer_mm) + ".");
  if (!(needle.dead_tip_mm >= 0 && needle.dead_tip_mm <= 100))
    throw BadInput(where + ".dead_tip_mm is " + brief(needle.dead_tip_mm) + "; allowed: from 0 to 100 mm.");
  if (needle.throw_mm + needle.dead_tip_mm > needle.usable_mm)
    throw BadInput(where + ".throw_mm is " + brief(needle.throw_mm) +
                   "; with the dead tip it must not exceed usable_mm, which is " + brief(needle.usable_mm) + ".");
  const bool range = needle.recovery_p05 > 0 && needle.recovery_p05 <= needle.recovery_p95 && needle.recovery_p95 <= 1;
  if (!range)
    throw BadInput(where + ".recovery is [" + brief(needle.recovery_p05) + ", " + brief(needle.recovery_p95) +
                   "]; allowed: two numbers above 0 and up to 1, the smaller first.");
  if (!(needle.bore_tolerance_mm >= 0 && needle.bore_tolerance_mm < needle.bore_mm / 2))
    throw BadInput(where + ".bore_tolerance_mm is " + brief(needle.bore_tolerance_mm) +
                   "; allowed: from 0 to below half of bore_mm.");
}

}  // namespace leastharm

#pragma once

#include <string>
#include <vector>

#include "figure_bars.h"
#include "figure_body.h"
#include "sheet.h"
#include "viewer/print.h"

namespace leastharm {

/// A printout under way. In the draft run only the pages are counted, and no figure is drawn.
struct Print {
  Sheet& sheet;
  const Paper& paper;
  const BodyPictures& pictures;
  bool draft;

  [[nodiscard]] const CaseFile& file() const { return paper.file; }
  [[nodiscard]] const std::vector<TrackAssessment>& tracks() const {
    return paper.assessment.tracks;
  }
};

/// The sections' titles, in the order in which they are printed.
namespace title {
inline constexpr const char* summary = "Summary in plain words";
inline constexpr const char* object = "Object and CT";
inline constexpr const char* why = "Why sample, and what else was considered";
inline constexpr const char* taken = "What will be taken";
inline constexpr const char* routes = "Routes";
inline constexpr const char* damage = "Damage score, its weights and how firm the order is";
inline constexpr const char* certainty = "Certainty and what can go wrong";
inline constexpr const char* mass = "What the mass can and cannot show";
inline constexpr const char* hazards = "Hazards and cautions";
inline constexpr const char* day = "On the day: entry, angle, depth for each track";
inline constexpr const char* after = "Afterwards: labels, storage, remainder, records";
inline constexpr const char* approvals = "Approvals and signatures";
inline constexpr const char* identity = "Plan identity";
}  // namespace title

/// Stacked bars over the whole width, what each hatch means below them.
void print_bars_with_legend(const Print& print, const std::vector<Bar>& bars, double top);

void print_summary(const Print& print);
void print_object(const Print& print);
void print_why(const Print& print);
void print_taken(const Print& print);
void print_routes(const Print& print);
void print_damage(const Print& print);
void print_certainty(const Print& print);
void print_mass(const Print& print);
void print_hazards(const Print& print);
void print_day(const Print& print);
void print_after(const Print& print);
void print_approvals(const Print& print);
void print_identity(const Print& print);

}  // namespace leastharm

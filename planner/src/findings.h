#pragma once

#include <string>

#include "planner/assess.h"

namespace leastharm {

/// A broken limit: the track is not admissible.
inline void refuse(TrackAssessment& a, std::string what) {
  a.findings.push_back({Level::refused, std::move(what)});
  a.admissible = false;
}

inline void note(TrackAssessment& a, std::string what) { a.findings.push_back({Level::note, std::move(what)}); }

/// Sets p_enough and refuses where it is under the limit; `what` as in "the core yields".
void judge_enough(TrackAssessment& a, double p_enough, double need_mg, double least, const std::string& what);

}  // namespace leastharm

#pragma once

#include "imaging/body_frame.h"
#include "imaging/grid.h"

namespace leastharm::segment_detail {

/// Proposes the object's own frame from a finished map, by shape alone.
///
/// The long axis is that of the body; the head is at the end where bone closes round a hollow (the skull); left and
/// right are mirror images, which gives the plane between them; the spine is the bone that runs farthest in that plane, and
/// lies behind the body's middle. Certainty says how clear each of these was; 0 where there is too little bone.
[[nodiscard]] BodyFrame propose_frame(const Volume<std::uint8_t>& materials, int threads);

}  // namespace leastharm::segment_detail

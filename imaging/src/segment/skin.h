#pragma once

#include <cstdint>

#include "classes.h"

namespace leastharm::segment_detail {

/// Tells linen of a voxel or two from the mixed skin of a bare body, and gives it back what `classify` took for mixed. Between air
/// and tissue a scanner blurs a bare skin over some width, the same everywhere; linen widens it. What is usual is seen where air
/// meets tissue inside the body. Judged place by place, so that linen may be left on a part of the body alone.
/// Returns whether the body is wrapped at all.
[[nodiscard]] bool settle_skin(bool living, int threads, Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail

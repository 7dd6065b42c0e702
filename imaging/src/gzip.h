#pragma once

#include <cstddef>
#include <functional>
#include <span>
#include <string>

namespace leastharm {

/// Compresses bytes as one gzip member (RFC 1952), on all cores, in fixed blocks: same bytes, same file, on any number
/// of threads. `take` gets the pieces in order. Light compression: speed counts more than size here.
void gzip(std::span<const std::byte> bytes, const std::function<void(const std::string&)>& take);

}  // namespace leastharm

#pragma once

#include <cstddef>
#include <functional>
#include <initializer_list>
#include <span>
#include <string>

namespace leastharm {

/// What is packed: maps of labels hold runs of one byte, which are found fastest where nothing else is looked for.
enum class Content { runs, anything };

/// Compresses parts, one after the other, as one gzip member (RFC 1952), on all cores, in fixed blocks: same bytes, same
/// file, on any number of threads. `take` gets the pieces in order. Light compression: speed counts more than size here.
void gzip(Content content, std::initializer_list<std::span<const std::byte>> parts,
          const std::function<void(const std::string&)>& take);

}  // namespace leastharm

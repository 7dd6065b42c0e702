#include <algorithm>

#include "dicom_codec.h"

namespace leastharm {
namespace {

constexpr std::uint32_t kItem = 0xe000fffe, kSequenceEnd = 0xe0ddfffe;   // as little-endian words

std::uint32_t dword(std::string_view raw, std::size_t at) {
  std::uint32_t value = 0;
  for (std::size_t n = 4; n-- > 0;) value = value << 8 | static_cast<unsigned char>(raw[at + n]);
  return value;
}

struct Chain {
  std::vector<std::uint32_t> offsets;   ///< of each frame's first fragment, from the first fragment's item on
  std::vector<Fragment> fragments;
};

Chain read_chain(DicomBytes& bytes, std::uint64_t at) {
  Chain chain;
  for (bool first = true;; first = false) {
    const std::string_view raw = bytes.view(at, 8);
    const std::uint32_t item = dword(raw, 0), length = dword(raw, 4);
    if (item == kSequenceEnd) return chain;
    if (item != kItem) throw Unreadable("has a broken chain of pixel fragments");
    if (!bytes.reaches(at + 8, length)) throw Unreadable("is cut short");
    if (first) {
      const std::string table(bytes.view(at + 8, length));
      for (std::size_t n = 0; n + 4 <= table.size(); n += 4) chain.offsets.push_back(dword(table, n));
    } else {
      chain.fragments.push_back({at + 8, length});
    }
    at += 8 + std::uint64_t{length};
  }
}

}  // namespace

std::vector<std::vector<Fragment>> find_fragments(DicomBytes& bytes, std::uint64_t at, int frames) {
  const Chain chain = read_chain(bytes, at);
  const auto count = static_cast<std::size_t>(frames);
  std::vector<std::vector<Fragment>> found(count);
  if (count == 1) {
    found[0] = chain.fragments;
  } else if (chain.fragments.size() == count) {
    for (std::size_t n = 0; n < count; ++n) found[n] = {chain.fragments[n]};
  } else if (chain.offsets.size() == count) {
    std::size_t frame = 0;
    for (const Fragment& fragment : chain.fragments) {
      const std::uint64_t offset = fragment.at - chain.fragments.front().at;
      while (frame + 1 < count && offset >= chain.offsets[frame + 1]) ++frame;
      found[frame].push_back(fragment);
    }
  }
  if (std::any_of(found.begin(), found.end(), [](const auto& list) { return list.empty(); }))
    throw Unreadable("does not tell which pixel fragments belong to which frame");
  return found;
}

}  // namespace leastharm

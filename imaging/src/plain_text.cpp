#include "plain_text.h"

#include <algorithm>

namespace leastharm {
namespace {

/// Bytes of the sound character that starts here; 0 where there is none.
std::size_t character_length(std::string_view text) {
  const auto byte = [&](std::size_t n) { return static_cast<unsigned char>(text[n]); };
  const unsigned first = byte(0);
  if (first < 0x80) return first < 0x20 || first == 0x7f ? 0 : 1;
  const std::size_t length = first >= 0xf0 ? 4 : first >= 0xe0 ? 3 : 2;
  if (first < 0xc2 || first > 0xf4 || text.size() < length) return 0;
  for (std::size_t n = 1; n < length; ++n)
    if ((byte(n) & 0xc0) != 0x80) return 0;
  const unsigned second = byte(1);
  const bool too_long = (first == 0xe0 && second < 0xa0) || (first == 0xf0 && second < 0x90);
  const bool no_character = (first == 0xed && second > 0x9f) || (first == 0xf4 && second > 0x8f);
  const bool control = first == 0xc2 && second < 0xa0;
  return too_long || no_character || control ? 0 : length;
}

}  // namespace

std::string plain_text(std::string_view text) {
  std::string plain;
  while (!text.empty()) {
    const std::size_t length = character_length(text);
    plain += length > 0 ? text.substr(0, length) : "?";
    text.remove_prefix(std::max<std::size_t>(length, 1));
  }
  return plain;
}

}  // namespace leastharm

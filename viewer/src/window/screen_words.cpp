#include "window/screen_words.h"

#include <initializer_list>

namespace leastharm {
namespace {

std::string filled(Word word, std::initializer_list<const std::string*> parts) {
  std::string text;
  const std::string_view pattern = word.english();
  for (std::size_t n = 0; n < pattern.size(); ++n) {
    const bool place = pattern[n] == '%' && n + 1 < pattern.size() && pattern[n + 1] >= '1' &&
                       pattern[n + 1] <= '9';
    const std::size_t which = place ? static_cast<std::size_t>(pattern[n + 1] - '1') : 0;
    if (place && which < parts.size()) {
      text += **(parts.begin() + which);
      ++n;
    } else {
      text += pattern[n];
    }
  }
  return text;
}

}  // namespace

std::string say(Word word) { return std::string(word.english()); }
std::string say(Word word, const std::string& one) { return filled(word, {&one}); }
std::string say(Word word, const std::string& one, const std::string& two) {
  return filled(word, {&one, &two});
}
std::string say(Word word, const std::string& one, const std::string& two,
                const std::string& three) {
  return filled(word, {&one, &two, &three});
}

}  // namespace leastharm

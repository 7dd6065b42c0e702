#pragma once

#include <cstddef>
#include <string>
#include <string_view>

#include "window/words_table.h"

namespace leastharm {

/// A text of the window, by its key; a key that the table does not hold does not compile.
class Word {
 public:
  consteval Word(const char* key)
      : index_(find(key)) {}  // NOLINT: written as a plain text where it is used
  [[nodiscard]] std::string_view english() const { return kWords[index_].english; }

 private:
  static consteval std::size_t find(std::string_view key) {
    for (std::size_t n = 0; n < kWords.size(); ++n)
      if (kWords[n].key == key) return n;
    throw "no such key in the table of words";
  }
  std::size_t index_;
};

/// The text, with %1, %2, ... replaced in order.
[[nodiscard]] std::string say(Word word);
[[nodiscard]] std::string say(Word word, const std::string& one);
[[nodiscard]] std::string say(Word word, const std::string& one, const std::string& two);
[[nodiscard]] std::string say(Word word, const std::string& one, const std::string& two,
                              const std::string& three);

}  // namespace leastharm

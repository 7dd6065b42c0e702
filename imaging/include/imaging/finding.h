#pragma once

#include <string>
#include <string_view>

namespace leastharm {

/// How much a finding matters: worth knowing, put right by us, or so bad that we would not go on.
enum class Level { note, mended, refused };

[[nodiscard]] constexpr std::string_view name_of(Level level) {
  return level == Level::note ? "note" : level == Level::mended ? "mended" : "refused";
}

/// Something a person should read about an input or an answer.
struct Finding {
  Level level = Level::note;
  std::string what;
};

}  // namespace leastharm

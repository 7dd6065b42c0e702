#include "planner/body.h"

#include <algorithm>

namespace leastharm {

std::string_view name_of(MarkKind kind) {
  switch (kind) {
    case MarkKind::cavity: return "cavity";
    case MarkKind::keep_out: return "keep-out";
    case MarkKind::opening: return "opening";
    case MarkKind::zone: return "zone";
  }
  return "";
}

const Mark* Body::find_mark(std::string_view name) const {
  const auto found = std::ranges::find(marks, name, &Mark::name);
  return found == marks.end() ? nullptr : &*found;
}

}  // namespace leastharm

#include "planner/nearest.h"

#include <algorithm>
#include <vector>

namespace leastharm {

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::vector<std::size_t>> d(a.size() + 1, std::vector<std::size_t>(b.size() + 1));
  for (std::size_t i = 0; i <= a.size(); ++i) d[i][0] = i;
  for (std::size_t j = 0; j <= b.size(); ++j) d[0][j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i)
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t replaced = d[i - 1][j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1);
      d[i][j] = std::min({d[i - 1][j] + 1, d[i][j - 1] + 1, replaced});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        d[i][j] = std::min(d[i][j], d[i - 2][j - 2] + 1);
    }
  return d[a.size()][b.size()];
}

std::string nearest_name(std::string_view word, std::span<const std::string> candidates) {
  // A name that holds the whole word is nearer than one that merely has as few other letters.
  const auto distance = [&](const std::string& c) {
    const bool holds = word.size() >= 3 && c.find(word) != std::string::npos;
    return edit_distance(word, c) - (holds ? c.size() - word.size() : 0) + (holds ? 1 : 0);
  };
  const auto best = std::ranges::min_element(candidates, {}, distance);
  return best == candidates.end() ? std::string{} : *best;
}

}  // namespace leastharm

#pragma once

#include <gmock/gmock.h>

#include <string>
#include <vector>

#include "imaging/error.h"
#include "imaging/finding.h"
#include "imaging/intake.h"

namespace leastharm::test {

/// "level: what" for each finding, one a line.
inline std::string texts(const std::vector<Finding>& findings) {
  std::string text;
  for (const Finding& f : findings) text += std::string(name_of(f.level)) + ": " + f.what + "\n";
  return text;
}

/// The message that reading a path is refused with; empty where it is read.
inline std::string refusal(const std::filesystem::path& path, const IntakeOptions& options = {}) {
  try {
    (void)read_ct(path, options);
  } catch (const BadInput& error) {
    return error.what();
  }
  return {};
}

/// The only series of a path.
inline Series only_series(const std::filesystem::path& path) {
  const Inspection inspection = inspect(path);
  EXPECT_EQ(inspection.series.size(), 1u);
  return inspection.series.empty() ? Series{} : inspection.series.front();
}

}  // namespace leastharm::test

#pragma once

#include <CLI/CLI.hpp>
#include <iostream>
#include <nlohmann/json.hpp>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "imaging/finding.h"
#include "imaging/grid.h"
#include "planner/assess.h"
#include "planner/case.h"
#include "planner/propose.h"
#include "planner/text.h"
#include "viewer/command_line.h"

namespace leastharm {

/// A check that did not hold: exit status 4.
class CheckFailed : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// Where a command speaks: answers on `out`, everything else on `err`.
struct Console {
  std::ostream& out;
  std::ostream& err;
};

/// Each adds its commands to the program. A command's work is its callback; it throws to say what went wrong.
void add_intake_commands(CLI::App& program, const Console& console);    // inspect, segment
void add_mark_commands(CLI::App& program, const Console& console);      // orient, mark
void add_plan_commands(CLI::App& program, const Console& console);      // needles, enough, propose, adopt, assess
void add_paper_commands(CLI::App& program, const Console& console);     // print, approve, verify
void add_transfer_command(CLI::App& program, const Console& console);
void add_record_command(CLI::App& program, const Console& console);
void add_sample_commands(CLI::App& program, const Console& console);    // use, archive
void add_export_command(CLI::App& program, const Console& console);
void add_demo_command(CLI::App& program, const Console& console);
void add_view_command(CLI::App& program, const OpenWindow& open_window);

/// "1,2.5,-3" to numbers. Throws BadInput naming the option unless there are exactly `count`, all finite.
[[nodiscard]] std::vector<double> numbers_from(const std::string& text, std::size_t count, std::string_view option);
[[nodiscard]] Vec3 point_from(const std::string& text, std::string_view option);
/// Reads a JSON file. Throws BadInput with the line where the text stops being JSON.
[[nodiscard]] nlohmann::json json_from_file(const std::filesystem::path& path);
/// Now, UTC, ISO 8601; SOURCE_DATE_EPOCH holds it still.
[[nodiscard]] std::string time_now();
[[nodiscard]] nlohmann::json to_json(const std::vector<Finding>& findings);
void print_findings(std::ostream& out, const std::vector<Finding>& findings);
/// Nearest word by edit distance, or empty where none is near.
[[nodiscard]] std::string nearest_word(const std::string& word, const std::vector<std::string>& words);
/// The request of a case, or the defaults where nothing was asked yet.
[[nodiscard]] RequestFile request_of(const CaseFile& file);
[[nodiscard]] std::string tracks_csv(const Assessment& assessment);
/// The case's own tracks, assessed.
[[nodiscard]] Assessment assess_plan(const CaseFolder& folder, const OpenedCase& volumes, std::uint64_t seed);


/// A search's answer takes the place of the case's tracks.
void take_proposal(CaseFile& file, const RequestFile& request, const Proposal& proposal);
/// Why there is no admissible answer, with the remedies.
[[nodiscard]] std::string why_not(const Proposal& proposal);
/// The gap closing, on a terminal only.
[[nodiscard]] SearchProgress terminal_progress(const Console& console);
void print_assessment(std::ostream& out, const Assessment& a, const std::optional<Certificate>& certificate);

}  // namespace leastharm

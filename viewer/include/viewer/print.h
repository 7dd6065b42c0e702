#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "planner/case.h"
#include "planner/transfer.h"

namespace leastharm {

/// One page set: everything the printout says comes from here.
struct Paper {
  const CaseFile& file;                       ///< object, CT, marks, request, approvals
  const OpenedCase& volumes;                  ///< CT, materials, confidence, marks' masks
  Assessment assessment;                      ///< of the plan's tracks
  std::vector<Alternative> alternatives;
  std::vector<Price> prices;                  ///< of the lesser choices; empty = not worked out
  std::string plan_sha256;
  std::map<std::string, std::string> parts;   ///< hash of each bound part
  std::string software_version;
  std::optional<Transfer> transfer = {};      ///< of this plan into the day's CT, where there is one
  std::vector<std::string> withheld = {};     ///< names of marks that no picture shows
};

enum class PageSize { a4, letter };

/// Writes the plan as a PDF with the contract's sections. Same paper, same bytes. Throws BadInput where the file
/// cannot be written.
void print_plan(const Paper& paper, const std::filesystem::path& output, PageSize size = PageSize::a4);

/// Writes the day's card: what the operator needs beside the scanner, in large type, a page a session of up to five
/// tracks. Same transfer, same bytes. Throws BadInput as above.
void print_day_card(const CaseFile& file, const Transfer& transfer, const std::filesystem::path& output,
                    PageSize size = PageSize::a4);

/// The pictures of the printout as PNG files, for README and screens: "body", "routes", "log"; returns what it wrote.
std::vector<std::filesystem::path> draw_pictures(const Paper& paper, const std::filesystem::path& folder);

}  // namespace leastharm

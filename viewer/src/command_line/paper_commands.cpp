// print, approve and verify: the plan on paper, who agreed, and whether it still is what they agreed to.
#include <algorithm>
#include <fstream>
#include <iterator>
#include <sstream>

#include "commands.h"
#include "imaging/error.h"
#include "imaging/hash.h"
#include "planner/approvals.h"
#include "viewer/command_line.h"
#include "viewer/print.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

using nlohmann::json;

constexpr std::size_t kLeastPrefix = 4;

std::string file_sha256(const fs::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::stringstream bytes;
  bytes << stream.rdbuf();
  return stream ? sha256_hex(std::string_view(bytes.str())) : "";
}

Paper paper_of(const CaseFolder& folder, const OpenedCase& volumes) {
  return {.file = folder.file,
              .volumes = volumes,
              .assessment = assess_plan(folder, volumes, 1),
              .alternatives = alternatives_of(folder.file, volumes.body),
              .prices = prices_of(folder.file, volumes.body),
              .plan_sha256 = plan_sha256(folder.file),
              .parts = plan_parts(folder.file),
              .software_version = software_version()};
}

struct PrintOptions {
  std::string case_path, output, pictures, page = "a4";
  std::vector<std::string> withhold;
  bool day_card = false;
};

void check_withheld(const PrintOptions& o, const OpenedCase& volumes) {
  for (const std::string& name : o.withhold)
    if (volumes.body.find_mark(name) == nullptr)
      throw BadInput("--withhold \"" + name + "\": no such mark stands in this case; mark the region first with  leastharm mark");
}

/// Only ever in the day's CT: where nothing was transferred, there is nothing to print.
void print_card(const PrintOptions& o, const Console& console) {
  const CaseFolder folder = CaseFolder::open(o.case_path);
  const auto transfer = standing_transfer(folder);
  if (!transfer)
    throw BadInput("this plan was not transferred into the CT of the day: do so with  leastharm transfer --case " + o.case_path +
                   " --ct PATH  (where the needle is set in the planning CT itself, name that CT)");
  const PageSize page = o.page == "a4" ? PageSize::a4 : PageSize::letter;
  fs::create_directories(folder.root() / "printouts");
  const fs::path kept = folder.root() / "printouts" / ("day-card-" + transfer->plan + "-" + std::to_string(transfer->number) + ".pdf");
  const fs::path output = o.output.empty() ? kept : fs::path(o.output);
  print_day_card(folder.file, *transfer, output, page);
  if (output != kept) print_day_card(folder.file, *transfer, kept, page);   // the archive holds what hung beside the scanner
  for (const std::string& missing : missing_approvals(folder.file)) console.err << "not approved: " << missing << "\n";
  console.out << "day's card of plan " << transfer->plan << ", transfer " << transfer->number << ", printed to " << output.string() << "\n";
}

void print_case(const PrintOptions& o, const Console& console) {
  if (o.page != "a4" && o.page != "letter") throw BadInput("--page \"" + o.page + "\": use a4 or letter");
  if (o.day_card) return print_card(o, console);
  CaseFolder folder = CaseFolder::open(o.case_path);
  const auto volumes = open_volumes(folder);
  check_withheld(o, *volumes);
  Paper paper = paper_of(folder, *volumes);
  paper.transfer = standing_transfer(folder);
  paper.withheld = o.withhold;
  fs::path output = o.output;
  if (output.empty()) {
    fs::create_directories(folder.root() / "printouts");
    output = folder.root() / "printouts" / ("plan-" + plan_label(folder.file) + ".pdf");
  }
  print_plan(paper, output, o.page == "a4" ? PageSize::a4 : PageSize::letter);
  if (!o.pictures.empty())
    for (const fs::path& picture : draw_pictures(paper, o.pictures)) console.out << picture.string() << "\n";
  const std::string name = fs::proximate(fs::absolute(output), fs::absolute(folder.root())).string();
  std::erase_if(folder.file.printouts, [&](const Printout& p) { return p.file == name; });
  folder.file.printouts.push_back({name, file_sha256(output), paper.plan_sha256});
  folder.save();
  console.out << "plan " << plan_label(folder.file) << " printed to " << output.string() << "\n";
}

struct ApproveOptions {
  std::string case_path, role, by, plan, condition, note;
  bool decline = false;
};

void approve(const ApproveOptions& o, const Console& console) {
  if (std::ranges::find(approval_roles(), o.role) == approval_roles().end())
    throw BadInput("--role \"" + o.role + "\": use one of " + joined(approval_roles()));
  if (o.by.empty()) throw BadInput("--by needs the name of who speaks");
  CaseFolder folder = CaseFolder::open(o.case_path);
  if (folder.file.plan.tracks.empty())
    throw BadInput("there is no plan to approve yet: find one with  leastharm propose");
  const std::string plan = plan_sha256(folder.file);
  if (!o.plan.empty() && o.plan.size() < kLeastPrefix)
    throw BadInput("--plan " + o.plan + ": give at least the first " + std::to_string(kLeastPrefix) +
                   " signs of the plan's SHA-256, as printed");
  if (!o.plan.empty() && !plan.starts_with(o.plan))
    throw BadInput("the plan is now " + plan.substr(0, 16) + "..., not " + o.plan +
                   ": it changed after that paper was printed; print it again and read it before approving");
  folder.file.approvals.push_back({.role = o.role,
                                   .by = o.by,
                                   .at = time_now(),
                                   .decision = o.decline ? "declined" : "approved",
                                   .condition = o.condition,
                                   .note = o.note,
                                   .plan_sha256 = plan,
                                   .parts = plan_parts(folder.file)});
  folder.save();
  console.out << o.by << " (" << o.role << ") " << (o.decline ? "declined" : "approved") << " plan "
              << plan_label(folder.file) << "; a recorded statement, not a legal signature\n";
}

/// What does not hold, in words.
using Failures = std::vector<std::string>;

template <typename Check>
void attempt(Failures& failures, const std::string& what, Check check) {
  try {
    check();
  } catch (const BadInput& fault) {
    failures.push_back(what + ": " + fault.what());
  }
}

void check_voxels(const CaseFolder& folder, Failures& failures) {
  const CaseFile& file = folder.file;
  attempt(failures, "CT", [&] { static_cast<void>(folder.read_ct()); });
  attempt(failures, "materials", [&] {
    if (sha256_hex(folder.read_materials()) != file.materials_sha256)
      failures.push_back("materials: materials.nrrd changed outside the program");
  });
  attempt(failures, "confidence", [&] {
    if (sha256_hex(folder.read_confidence()) != file.confidence_sha256)
      failures.push_back("materials: confidence.nrrd changed outside the program");
  });
  for (const MarkRecord& mark : file.marks)
    attempt(failures, "marks", [&] { static_cast<void>(folder.read_mark(mark)); });
}

void check_printouts(const CaseFolder& folder, Failures& failures) {
  if (folder.file.printouts.empty()) return;
  const Printout& last = folder.file.printouts.back();
  const std::string now = file_sha256(folder.root() / last.file);
  if (now.empty())
    failures.push_back("printout: " + last.file + " is gone: print the plan again");
  else if (now != last.sha256)
    failures.push_back("printout: " + last.file + " was changed after it was printed");
  if (last.plan_sha256 != plan_sha256(folder.file))
    failures.push_back("printout: " + last.file + " shows another state of the plan: print it again");
}

void check_records(const CaseFolder& folder, Failures& failures) {
  for (const std::string& fault : record_faults(folder.file.records)) failures.push_back(fault);
  attempt(failures, "records", [&] {
    for (const std::string& fault : lost_records(folder)) failures.push_back(fault);
  });
  for (const std::string& fault : transfer_faults(folder)) failures.push_back("transfer: " + fault);
}

void verify(const std::string& case_path, bool as_json, const Console& console) {
  const CaseFolder folder = CaseFolder::open(case_path);
  Failures failures;
  check_voxels(folder, failures);
  std::ranges::copy(missing_approvals(folder.file), std::back_inserter(failures));
  check_printouts(folder, failures);
  check_records(folder, failures);
  if (as_json)
    console.out << json{{"ok", failures.empty()}, {"plan_sha256", plan_sha256(folder.file)}, {"failures", failures}}.dump(1)
                << "\n";
  else if (failures.empty())
    console.out << "plan " << plan_label(folder.file) << ": hashes, approvals, printout and records agree\n";
  if (failures.empty()) return;
  std::string text = "verify failed";
  for (const std::string& failure : failures) text += "\n  " + failure;
  throw CheckFailed(text);
}

}  // namespace

void add_paper_commands(CLI::App& program, const Console& console) {
  auto* print_command = program.add_subcommand("print", "Print the plan as a PDF for the committee");
  auto p = std::make_shared<PrintOptions>();
  print_command->add_option("--case", p->case_path, "Case folder")->required();
  print_command->add_option("--output", p->output, "PDF to write (default: in the case's printouts)");
  print_command->add_option("--page", p->page, "a4 or letter");
  print_command->add_option("--pictures", p->pictures, "Folder for the main figures as PNG files");
  print_command->add_option("--withhold", p->withhold, "Mark that no picture shows, such as the face; may be given again");
  print_command->add_flag("--day-card", p->day_card, "The operator's card instead: a page a session, in the day's CT (after transfer)");
  print_command->callback([=] { print_case(*p, console); });

  auto* approve_command = program.add_subcommand("approve", "Record who agrees to the plan, or does not");
  auto a = std::make_shared<ApproveOptions>();
  approve_command->add_option("--case", a->case_path, "Case folder")->required();
  approve_command->add_option("--role", a->role, joined(approval_roles()))->required();
  approve_command->add_option("--by", a->by, "Name of who speaks")->required();
  approve_command->add_option("--plan", a->plan, "Head of the plan's SHA-256, as printed");
  approve_command->add_flag("--decline", a->decline, "Record a refusal");
  approve_command->add_option("--condition", a->condition, "Condition that the approval hangs on");
  approve_command->add_option("--note", a->note, "Anything else to record");
  approve_command->callback([=] { approve(*a, console); });

  auto* verify_command = program.add_subcommand("verify", "Check hashes, approvals, printout, records and balances");
  auto case_path = std::make_shared<std::string>();
  auto as_json = std::make_shared<bool>(false);
  verify_command->add_option("--case", *case_path, "Case folder")->required();
  verify_command->add_flag("--json", *as_json, "Answer as JSON");
  verify_command->callback([=] { verify(*case_path, *as_json, console); });
}

}  // namespace leastharm

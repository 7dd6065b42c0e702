// orient and mark: what a person says about the body.
#include <algorithm>
#include <string_view>

#include "commands.h"
#include "imaging/error.h"
#include "imaging/hash.h"
#include "imaging/volume_file.h"
#include "planner/json_file.h"

namespace leastharm {
namespace {

using nlohmann::json;

json from_vec(const Vec3& v) { return {v.x(), v.y(), v.z()}; }

/// A list of points, bare or under `key`; LPS, mm.
std::vector<Vec3> points_from(const json& j, const std::string& where) {
  if (!j.is_array()) throw BadInput(where + " must be a list of points [x, y, z], LPS in mm");
  std::vector<Vec3> points;
  for (const json& p : j) {
    if (!p.is_array() || p.size() != 3 || !std::ranges::all_of(p, [](const json& n) { return n.is_number(); }))
      throw BadInput(where + ": point " + std::to_string(points.size() + 1) + " is not three numbers");
    points.emplace_back(p[0].get<double>(), p[1].get<double>(), p[2].get<double>());
    if (!(points.back().cwiseAbs().maxCoeff() <= 1e5))
      throw BadInput(where + ": point " + std::to_string(points.size()) + " lies beyond 100000 mm");
  }
  return points;
}

const json& under_key(const json& j, const char* key) { return j.is_object() && j.contains(key) ? j[key] : j; }

/// A file drawn on another CT must not be taken for this one.
void check_frame_of_reference(const json& j, const std::string& uid, const std::string& where) {
  if (j.is_object() && j.contains("frame_of_reference_uid") && j["frame_of_reference_uid"] != uid)
    throw BadInput(where + " belongs to another frame of reference than the case's CT: draw it on this CT");
}

struct OrientOptions {
  std::string case_path, head, front, midline, by;
  bool accept = false, as_json = false;
};

std::vector<Vec3> midline_from(const std::string& path, const CaseFile& file) {
  const json j = json_from_file(path);
  check_frame_of_reference(j, file.ct.frame_of_reference_uid, path);
  auto points = points_from(under_key(j, "midline_lps_mm"), path);
  if (points.size() < 2) throw BadInput(path + ": a midline needs at least two points along the spine");
  return points;
}

BodyFrame frame_from(const OrientOptions& options, const CaseFile& file) {
  if (options.accept == (!options.head.empty() || !options.front.empty()))
    throw BadInput("orient needs either --accept, or both --head X,Y,Z and --front X,Y,Z");
  BodyFrame frame = file.proposed_frame;
  if (!options.accept) {
    if (options.head.empty() || options.front.empty()) throw BadInput("orient needs both --head and --front");
    frame = make_body_frame(point_from(options.head, "--head"), point_from(options.front, "--front"));
    frame.midline_lps_mm = file.proposed_frame.midline_lps_mm;
    frame.certainty = 1;
  }
  if (!options.midline.empty()) frame.midline_lps_mm = midline_from(options.midline, file);
  if (frame.midline_lps_mm.size() < 2)
    throw BadInput("no midline could be proposed for this body: give one with --midline FILE");
  const std::string whose = options.midline.empty() ? "the proposed midline" : options.midline + ": the midline";
  // From feet to head, whichever way it was drawn.
  if ((frame.midline_lps_mm.back() - frame.midline_lps_mm.front()).dot(frame.head) < 0)
    std::ranges::reverse(frame.midline_lps_mm);
  if ((frame.midline_lps_mm.back() - frame.midline_lps_mm.front()).cross(frame.front).norm() < 1e-6)
    throw BadInput(whose + " has no extent across the front direction: check its points and --front");
  return frame;
}

void orient(const OrientOptions& options, const Console& console) {
  CaseFolder folder = CaseFolder::open(options.case_path);
  const BodyFrame frame = frame_from(options, folder.file);
  folder.file.frame = frame;
  folder.file.frame_by = options.by;
  folder.file.frame_at = time_now();
  folder.save();
  if (options.as_json) {
    json midline = json::array();
    for (const Vec3& p : frame.midline_lps_mm) midline.push_back(from_vec(p));
    console.out << json{{"head", from_vec(frame.head)},   {"front", from_vec(frame.front)},
                        {"left", from_vec(frame.left())}, {"midline_lps_mm", midline},
                        {"proposal_certainty", frame.certainty}, {"confirmed_by", options.by}}
                       .dump(1)
                << "\n";
  } else {
    const Vec3 left = frame.left();
    console.out << "body frame confirmed by " << options.by << ": left is " << fixed(left.x(), 2) << ","
                << fixed(left.y(), 2) << "," << fixed(left.z(), 2) << " (LPS)\n";
  }
}

struct MarkOptions {
  std::string case_path, as, name, ball, connected, material, mask, contours, remove, waive, by, why;
  double weight_mm = 0;
  bool has_weight = false, as_json = false;
};

MarkKind kind_from(const std::string& as) {
  for (const MarkKind kind : {MarkKind::cavity, MarkKind::keep_out, MarkKind::opening, MarkKind::zone})
    if (name_of(kind) == as) return kind;
  throw BadInput("--as \"" + as + "\": a mark is a cavity, keep-out, opening or zone");
}

/// The mark's voxels, how they were found, and what the person should know about them.
struct Drawn {
  Mask mask;
  json made_by;
  std::vector<Finding> findings;
};

Drawn draw_contours(const CaseFolder& folder, const std::string& path) {
  const json j = json_from_file(path);
  check_frame_of_reference(j, folder.file.ct.frame_of_reference_uid, path);
  const json& list = under_key(j, "contours");
  if (!list.is_array()) throw BadInput(path + " must hold a list of closed outlines");
  std::vector<Outline> outlines;
  for (const json& outline : list)
    outlines.push_back(points_from(outline, path + ": outline " + std::to_string(outlines.size() + 1)));
  return {naming(path, [&] { return contours_mask(folder.file.ct.grid, outlines); }), {{"contours", outlines.size()}}, outline_findings(outlines)};
}

Drawn draw(const CaseFolder& folder, const MarkOptions& options) {
  const Grid& grid = folder.file.ct.grid;
  if (!options.ball.empty()) {
    const auto n = numbers_from(options.ball, 4, "--ball");
    return {ball_mask(grid, {n[0], n[1], n[2]}, n[3]), {{"ball_lps_mm", n}}, {}};
  }
  if (!options.connected.empty()) {
    const Vec3 seed = point_from(options.connected, "--connected");
    return {connected_mask(folder.read_materials(), seed), {{"connected_lps_mm", from_vec(seed)}}, {}};
  }
  if (!options.material.empty()) {
    const auto material = material_named(options.material);
    if (!material)
      throw BadInput("--material \"" + options.material +
                     "\": use air, wrapping, body, packing, bone, resin, dense or support");
    return {material_mask(folder.read_materials(), *material), {{"material", options.material}}, {}};
  }
  if (!options.mask.empty())
    return {read_mask(options.mask, grid), {{"mask", true}}, {}};
  return draw_contours(folder, options.contours);
}

/// "dense-1", "dense-2", ...
bool is_kept_for_dense(const std::string& name) {
  constexpr std::string_view kStem = "dense-";
  return name.size() > kStem.size() && name.starts_with(kStem) && name.find_first_not_of("0123456789", kStem.size()) == std::string::npos;
}

void check_mark_options(const MarkOptions& o) {
  const int ways = !o.ball.empty() + !o.connected.empty() + !o.material.empty() + !o.mask.empty() + !o.contours.empty();
  if (o.as.empty() || o.name.empty() || ways != 1)
    throw BadInput("a mark needs --as, --name, and one of --ball, --connected, --material, --mask, --contours");
  constexpr std::size_t kLongestName = 100;
  if (o.name.size() > kLongestName)
    throw BadInput("a mark's name has at most " + std::to_string(kLongestName) + " bytes; this one has " + std::to_string(o.name.size()));
  if (is_kept_for_dense(o.name))
    throw BadInput("the name \"" + o.name + "\" is kept for dense objects that the program protects: choose another");
  if (std::ranges::any_of(o.name, [](unsigned char c) { return c < 32 || c == '/'; }))
    throw BadInput("a mark's name holds no line breaks, tabs or slashes");
  const bool zone = kind_from(o.as) == MarkKind::zone;
  if (zone != o.has_weight)
    throw BadInput(zone ? "a zone needs --weight W (mm): what a hole's mm2 inside it costs" : "only a zone takes --weight");
  if (!(o.weight_mm >= 0) || !std::isfinite(o.weight_mm)) throw BadInput("--weight must be 0 or more, in mm");
}

void set_mark(const MarkOptions& options, const Console& console) {
  check_mark_options(options);
  CaseFolder folder = CaseFolder::open(options.case_path);
  const Drawn drawn = draw(folder, options);
  const bool replaced = folder.put_mark({.name = options.name,
                                         .kind = kind_from(options.as),
                                         .weight_mm = options.weight_mm,
                                         .made_by = drawn.made_by},
                                        drawn.mask);
  folder.save();
  const double volume_mm3 = drawn.mask.volume_mm3();
  if (options.as_json)
    console.out << json{{"name", options.name}, {"as", options.as}, {"volume_mm3", volume_mm3},
                        {"voxels", drawn.mask.voxel_count()}, {"replaced", replaced},
                        {"findings", to_json(drawn.findings)}}
                       .dump(1)
                << "\n";
  else {
    console.out << options.as << " \"" << options.name << "\" " << (replaced ? "replaced" : "set") << ": "
                << fixed(volume_mm3 / 1000, 2) << " cm3\n";
    print_findings(console.out, drawn.findings);
  }
}

const MarkRecord& known_mark(const CaseFile& file, const std::string& name) {
  const auto found = std::ranges::find(file.marks, name, &MarkRecord::name);
  if (found != file.marks.end()) return *found;
  std::string names;
  for (const MarkRecord& m : file.marks) names += (names.empty() ? "" : ", ") + m.name;
  throw BadInput("no mark \"" + name + "\" in this case; it has: " + (names.empty() ? "none" : names));
}

void remove_mark(const MarkOptions& options, const Console& console) {
  CaseFolder folder = CaseFolder::open(options.case_path);
  if (known_mark(folder.file, options.remove).made_by.contains("automatic"))
    throw BadInput("\"" + options.remove + "\" is a dense object that the program protects: waive it with  --waive " +
                   options.remove + " --by NAME --why TEXT");
  folder.remove_mark(options.remove);
  folder.save();
  if (options.as_json)
    console.out << json{{"removed", options.remove}}.dump(1) << "\n";
  else
    console.out << "mark \"" << options.remove << "\" removed (the former state is kept in history)\n";
}

void waive_mark(const MarkOptions& options, const Console& console) {
  if (options.by.empty() || options.why.empty())
    throw BadInput("a waiver needs the name of who answers for it (--by) and the reason (--why)");
  CaseFolder folder = CaseFolder::open(options.case_path);
  const MarkRecord& mark = known_mark(folder.file, options.waive);
  if (!mark.made_by.contains("automatic"))
    throw BadInput("\"" + options.waive + "\" was set by a person: remove it with --remove");
  std::erase_if(folder.file.waivers, [&](const Waiver& w) { return w.mark == mark.name; });
  folder.file.waivers.push_back({mark.name, mark.sha256, options.by, options.why, time_now()});
  folder.save();
  if (options.as_json)
    console.out << json{{"waived", options.waive}, {"by", options.by}}.dump(1) << "\n";
  else
    console.out << "\"" << options.waive << "\" waived by " << options.by << ": approvals given before are void\n";
}

void mark(const MarkOptions& options, const Console& console) {
  if (!options.remove.empty()) return remove_mark(options, console);
  if (!options.waive.empty()) return waive_mark(options, console);
  set_mark(options, console);
}

}  // namespace

void add_mark_commands(CLI::App& program, const Console& console) {
  auto* orient_command = program.add_subcommand("orient", "Confirm the object's own head, front and midline");
  auto o = std::make_shared<OrientOptions>();
  orient_command->add_option("--case", o->case_path, "Case folder")->required();
  orient_command->add_option("--head", o->head, "Direction from feet to head, LPS: X,Y,Z");
  orient_command->add_option("--front", o->front, "Direction from back to front, LPS: X,Y,Z");
  orient_command->add_flag("--accept", o->accept, "Take the frame that segmentation proposed");
  orient_command->add_option("--midline", o->midline, "JSON list of points along the spine, LPS in mm");
  orient_command->add_option("--by", o->by, "Who confirms it")->required();
  orient_command->add_flag("--json", o->as_json, "Answer as JSON");
  orient_command->callback([=] { orient(*o, console); });

  auto* mark_command = program.add_subcommand("mark", "Set, remove or waive a mark");
  auto m = std::make_shared<MarkOptions>();
  mark_command->add_option("--case", m->case_path, "Case folder")->required();
  mark_command->add_option("--as", m->as, "cavity, keep-out, opening or zone");
  mark_command->add_option("--name", m->name, "Name; the same name again replaces the mark");
  mark_command->add_option("--ball", m->ball, "Ball: X,Y,Z,R (LPS, mm)");
  mark_command->add_option("--connected", m->connected, "The seed's material, as far as it hangs together: X,Y,Z");
  mark_command->add_option("--material", m->material, "All voxels of one material");
  mark_command->add_option("--mask", m->mask, "Mask file on the CT's grid (NRRD, NIfTI, MetaImage or DICOM SEG)");
  mark_command->add_option("--contours", m->contours, "JSON: closed outlines on sparse slices, LPS in mm");
  auto* weight = mark_command->add_option("--weight", m->weight_mm, "Zones: weight of a hole's area, mm");
  mark_command->add_option("--remove", m->remove, "Remove the mark of this name");
  mark_command->add_option("--waive", m->waive, "Let needles come near the dense object of this name");
  mark_command->add_option("--by", m->by, "Waivers: who answers for it");
  mark_command->add_option("--why", m->why, "Waivers: the reason");
  mark_command->add_flag("--json", m->as_json, "Answer as JSON");
  mark_command->callback([=] {
    m->has_weight = weight->count() > 0;
    mark(*m, console);
  });
}

}  // namespace leastharm

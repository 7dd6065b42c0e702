#include "plan_facts.h"

#include <algorithm>
#include <regex>

#include "words.h"

namespace leastharm {
namespace {

template <typename Less>
const std::pair<const std::string, double>* best_of(const std::map<std::string, double>& values,
                                                    Less less) {
  const auto best =
      std::min_element(values.begin(), values.end(),
                       [&](const auto& a, const auto& b) { return less(a.second, b.second); });
  return best == values.end() ? nullptr : &*best;
}

}  // namespace

std::vector<std::string> short_names(const std::vector<TrackAssessment>& tracks) {
  constexpr std::size_t longest = 6;
  const bool by_number = std::any_of(tracks.begin(), tracks.end(), [](const TrackAssessment& t) {
    return t.track.id.size() > longest;
  });
  std::vector<std::string> names;
  for (std::size_t n = 0; n < tracks.size(); ++n)
    names.push_back(by_number ? std::to_string(n + 1) : tracks[n].track.id);
  return names;
}

std::string full_name(const std::vector<TrackAssessment>& tracks, std::size_t n) {
  const std::string name = short_names(tracks)[n];
  return name == tracks[n].track.id ? name : name + " · " + tracks[n].track.id;
}

const RequestFile& request_file_of(const Paper& paper) {
  static const RequestFile defaults;
  return paper.file.request ? *paper.file.request : defaults;
}

const Request* request_of(const Paper& paper, const TrackAssessment& track) {
  for (const Request& request : request_file_of(paper).requests)
    if (request.id == track.track.request) return &request;
  return nullptr;
}

std::string wanted_material(const Request& request) {
  return request.material ? spoken(*request.material) : "packing or resin";
}

std::string from_where(const Request& request) {
  return request.cavity.empty() ? "anywhere in the object" : "the cavity “" + request.cavity + "”";
}

MassRange range_of_one_core(const std::vector<TrackAssessment>& tracks) {
  if (tracks.empty()) return {};
  MassRange range{tracks.front().core.mass_mg_p05, tracks.front().core.mass_mg_p95};
  for (const TrackAssessment& track : tracks) {
    range.low_mg = std::min(range.low_mg, track.core.mass_mg_p05);
    range.high_mg = std::max(range.high_mg, track.core.mass_mg_p95);
  }
  return range;
}

std::vector<Material> materials_crossed(const std::vector<TrackAssessment>& tracks) {
  std::vector<Material> found;
  for (const TrackAssessment& track : tracks)
    for (const Crossing& crossing : track.crossings)
      if (crossing.material != Material::air &&
          std::find(found.begin(), found.end(), crossing.material) == found.end())
        found.push_back(crossing.material);
  return found;
}

double crossed_mm(const TrackAssessment& track, Material material) {
  double sum = 0;
  for (const Crossing& crossing : track.crossings)
    if (crossing.material == material) sum += crossing.to_mm - crossing.from_mm;
  return sum;
}

const std::pair<const std::string, double>* nearest_keep_out(const TrackAssessment& track) {
  return best_of(track.clearance_mm, std::less<>());
}

const std::pair<const std::string, double>* likeliest_touch(const TrackAssessment& track) {
  return best_of(track.p_touch, std::greater<>());
}

const Price* price_of(const Paper& paper, LesserChoice choice) {
  const auto found = std::find_if(paper.prices.begin(), paper.prices.end(),
                                  [&](const Price& p) { return p.choice == choice; });
  return found == paper.prices.end() ? nullptr : &*found;
}

bool has_proof(const Paper& paper) {
  const auto& certificate = paper.file.plan.certificate;
  return certificate && !certificate->method.empty() && certificate->method != "none yet";
}

std::string certificate_sentence(const Paper& paper) {
  if (!has_proof(paper)) return "No proof is given yet that no other plan scores less.";
  const Certificate& certificate = *paper.file.plan.certificate;
  const double score = paper.assessment.programme.score;
  std::string text = "No straight track with these needles can score below " +
                     number(certificate.lower_bound, 1) + "; the plan scores " + number(score, 1);
  if (paper.file.plan.tracks.size() > 1)
    text = "No set of straight tracks with these needles can score below " +
           number(certificate.lower_bound, 1) + "; the plan scores " + number(score, 1);
  const bool cut = paper.file.plan.stopped == "time";
  if (certificate.lower_bound <= 0)
    return text + ". A bound of nothing does not say how near that is to the least possible" +
           (cut ? "; a search with more time may." : ".");
  constexpr double kTight = 0.3;   // above this a share over the bound says more of the proof than of the plan
  if (score - certificate.lower_bound > kTight * certificate.lower_bound)
    return text + ". The least possible lies between the two" +
           (cut ? "; a search with more time brings them nearer to each other." : "; where, the search does not tell.");
  return text + ", at most " +
         number(100 * (score - certificate.lower_bound) / certificate.lower_bound, 1) +
         " % above the least possible.";
}

std::vector<const Mask*> withheld_masks(const Paper& paper) {
  std::vector<const Mask*> masks;
  for (const std::string& name : paper.withheld)
    if (const Mark* mark = paper.volumes.body.find_mark(name)) masks.push_back(&mark->mask);
  return masks;
}

std::string plan_name(const Paper& paper) {
  return "Plan version " + std::to_string(paper.file.plan_version) + " · " +
         paper.plan_sha256.substr(0, 8);
}

std::string latest_date(const CaseFile& file) {
  static const std::regex iso(R"(\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z)");
  std::string latest;
  const auto take = [&](const std::string& at) {
    if (std::regex_match(at, iso)) latest = std::max(latest, at);
  };
  take(file.frame_at);
  for (const Approval& approval : file.approvals) take(approval.at);
  for (const Waiver& waiver : file.waivers) take(waiver.at);
  for (const Record& record : file.records) take(record.at);
  return latest;
}

}  // namespace leastharm

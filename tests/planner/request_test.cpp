#include "planner/request.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <random>

#include "imaging/error.h"
#include "planner/assess.h"
#include "support/test_volumes.h"

namespace leastharm::test {
namespace {

using nlohmann::json;
using testing::HasSubstr;

json usual() {
  return json::parse(R"({"requests":[{"id":"P","from":{"cavity":"chest","material":"packing"},
    "assays":[{"name":"light microscopy","uses_mg":0},{"name":"GC-MS","uses_mg":20}],
    "retain_mg":5,"pooled":false,"replicates":5,"spacing_mm":15,"sides":"both","largest_particle_mm":2.5}]})");
}

std::string refusal(const json& value) {
  try {
    (void)parse_request_file(value);
  } catch (const BadInput& error) {
    return error.what();
  }
  return "";
}

/// The usual file with one value put in by its JSON pointer.
std::string refusal_with(const char* pointer, const json& value) {
  json file = usual();
  file[json::json_pointer(pointer)] = value;
  return refusal(file);
}

TEST(RequestFile, ReadsARequestAndFillsInTheRest) {
  const RequestFile file = parse_request_file(usual());
  ASSERT_EQ(file.requests.size(), 1u);
  const Request& r = file.requests[0];
  EXPECT_EQ(r.id, "P");
  EXPECT_EQ(r.cavity, "chest");
  EXPECT_EQ(r.material, Material::packing);
  EXPECT_EQ(r.need_mg(), 25);
  EXPECT_EQ(r.replicates, 5);
  EXPECT_EQ(r.sides, Sides::both);
  EXPECT_FALSE(file.needles.empty());
  EXPECT_EQ(file.limits.clearance_mm, 5);
  EXPECT_EQ(file.placement.placement_mm, 3);
  EXPECT_EQ(file.weights.material[static_cast<std::size_t>(Material::body)], 1);
  EXPECT_EQ(file.gap, 0.05);
}

TEST(RequestFile, WrittenOutReadsBackTheSame) {
  json value = usual();
  value["weights"] = {{"bone", 7.5}, {"hole_mm", 3}};
  value["limits"] = {{"tilt_deg", 12}};
  value["needles"] = {"end-cut 11G 20 mm", {{"outer_mm", 2}, {"bore_mm", 1.5}, {"throw_mm", 15}, {"usable_mm", 90}}};
  value["dossier"] = {{"owner", "an invented museum"}};
  value["requests"][0]["from"]["filling"] = "natron";
  const RequestFile file = parse_request_file(value);
  EXPECT_EQ(to_json(parse_request_file(to_json(file))), to_json(file));
  EXPECT_EQ(to_json(file).at("weights").at("bone"), 7.5);
  EXPECT_EQ(file.requests[0].filling, Filling::natron);
  EXPECT_EQ(to_json(file).at("dossier").at("owner"), "an invented museum");
}

TEST(RequestFile, NamesTheKeyThatIsWrongAndTheRange) {
  EXPECT_THAT(refusal_with("/requests/0/replicates", 0), HasSubstr("requests[0].replicates is 0; allowed: from 1 to 100"));
  EXPECT_THAT(refusal_with("/requests/0/replicates", 2.5), HasSubstr("whole number"));
  EXPECT_THAT(refusal_with("/requests/0/replicates", "two"), HasSubstr("requests[0].replicates"));
  EXPECT_THAT(refusal_with("/requests/0/assays/1/uses_mg", -3), HasSubstr("requests[0].assays[1].uses_mg is -3"));
  EXPECT_THAT(refusal_with("/requests/0/retain_mg", std::nan("")), HasSubstr("requests[0].retain_mg"));
  EXPECT_THAT(refusal_with("/requests/0/spacing_mm", -1), HasSubstr("requests[0].spacing_mm"));
  EXPECT_THAT(refusal_with("/requests/0/pooled", 1), HasSubstr("true or false"));
  EXPECT_THAT(refusal_with("/requests/0/sides", "Left"), HasSubstr("did you mean \"left\""));
  EXPECT_THAT(refusal_with("/requests/0/largest_particle_mm", 1e300), HasSubstr("requests[0].largest_particle_mm"));
  EXPECT_THAT(refusal_with("/requests/0/id", ""), HasSubstr("requests[0].id"));
  EXPECT_THAT(refusal_with("/requests/0/from/material", "pakcing"), HasSubstr("did you mean \"packing\""));
  EXPECT_THAT(refusal_with("/requests/0/from/material", "air"), HasSubstr("no sample"));
  EXPECT_THAT(refusal_with("/requests/0/from/filling", "sandd"), HasSubstr("did you mean \"sand\""));
  EXPECT_THAT(refusal_with("/requests/0/from", {{"material", "resin"}, {"filling", "sand"}}), HasSubstr("requests[0].from.filling"));
  EXPECT_THAT(refusal_with("/requests/0/from", {{"filling", "sand"}}), HasSubstr("requests[0].from is empty"));
  EXPECT_THAT(refusal_with("/requests/0/from", json::object()), HasSubstr("requests[0].from is empty"));
  EXPECT_THAT(refusal_with("/requests/0/assays", json::array()), HasSubstr("requests[0].assays"));
  EXPECT_THAT(refusal_with("/requests", json::array()), HasSubstr("requests"));
  EXPECT_THAT(refusal_with("/needles", json::array()), HasSubstr("needles"));
  EXPECT_THAT(refusal_with("/weights", {{"bone", -1}}), HasSubstr("weights.bone"));
  EXPECT_THAT(refusal_with("/weights", {{"air", 1}}), HasSubstr("weights.air"));
  EXPECT_THAT(refusal_with("/limits", {{"entry_angle_deg", 100}}), HasSubstr("limits.entry_angle_deg is 100"));
  EXPECT_THAT(refusal_with("/limits", {{"p_enough_min", 1.5}}), HasSubstr("from 0 to 1"));
  EXPECT_THAT(refusal_with("/placement", {{"shared_mm", 4}}), HasSubstr("placement.shared_mm is 4"));
  EXPECT_THAT(refusal_with("/gap", -0.1), HasSubstr("gap"));
  EXPECT_THAT(refusal_with("/time_s", 0), HasSubstr("time_s"));
  EXPECT_THAT(refusal_with("/limit", 3), HasSubstr("did you mean \"limits\""));
  EXPECT_THAT(refusal_with("/requests/0/replicate", 3), HasSubstr("requests[0].replicate is no known key; did you mean \"replicates\""));
  EXPECT_THAT(refusal_with("/dossier", {{"ownr", "x"}}), HasSubstr("did you mean \"owner\""));
  EXPECT_THAT(refusal(json::array()), HasSubstr("object"));
  EXPECT_THAT(refusal(json::object()), HasSubstr("requests is missing"));
}

TEST(RequestFile, RefusesANeedOfNothingAndEqualIds) {
  json file = usual();
  file["requests"][0]["assays"] = {{{"name", "light microscopy"}, {"uses_mg", 0}}};
  file["requests"][0]["retain_mg"] = 0;
  EXPECT_THAT(refusal(file), HasSubstr("retain_mg"));
  file = usual();
  file["requests"].push_back(file["requests"][0]);
  EXPECT_THAT(refusal(file), HasSubstr("requests[1].id"));
}

TEST(RequestFile, FromDiskNamesTheLineOfASyntaxError) {
  const ScratchFolder folder;
  const auto message = [&](const std::string& text) -> std::string {
    std::ofstream(folder / "request.json") << text;
    try {
      (void)read_request_file(folder / "request.json");
    } catch (const BadInput& error) {
      return error.what();
    }
    return "";
  };
  EXPECT_EQ(message(usual().dump()), "");
  EXPECT_THAT(message("{\n\"requests\": [\n  {\"id\": \"P\",,}\n]}"), HasSubstr("request.json, line 3"));
  EXPECT_THAT(message("{\"gap\": 0.1, \"gap\": 0.2}"), HasSubstr("\"gap\" occurs twice"));
  EXPECT_THAT(message("{\"gap\": 1e999}"), HasSubstr("too large"));
  EXPECT_THAT(message(std::string(100000, '[')), HasSubstr("deeper than 64"));
  EXPECT_THAT(message("{\"gap\": " + std::string(100, '[') + std::string(100, ']') + "}"), HasSubstr("deeper than 64"));
  EXPECT_THAT(message(""), HasSubstr("line 1"));
  EXPECT_THAT(message("\xff\xfe\x00 binary"), HasSubstr("request.json"));
  EXPECT_THROW((void)read_request_file(folder / "none.json"), BadInput);
  EXPECT_THROW((void)read_request_file(folder.path()), BadInput);
}

TEST(TracksFile, ReadsTracksOfTheSameFrameOnly) {
  const json file = json::parse(R"({"frame_of_reference_uid":"1.2.3","tracks":[{"id":"T1","entry_lps_mm":[1,2,3],
    "tip_lps_mm":[4,5,60],"needle":"end-cut 11G 20 mm","request":"P"}]})");
  const auto tracks = parse_tracks(file, "1.2.3");
  ASSERT_EQ(tracks.size(), 1u);
  EXPECT_EQ(tracks[0].tip_lps_mm, Vec3(4, 5, 60));
  EXPECT_EQ(tracks[0].needle.bore_mm, 2.388);
  EXPECT_EQ(tracks[0].request, "P");
  EXPECT_THROW((void)parse_tracks(file, "1.2.4"), BadInput);
  EXPECT_THROW((void)parse_tracks(file, ""), BadInput);
  const json again{{"tracks", {to_json(tracks[0])}}};
  EXPECT_EQ(to_json(parse_tracks(again, "1.2.3")[0]), to_json(tracks[0]));
}

TEST(TracksFile, NamesTheKeyThatIsWrong) {
  const json good = json::parse(R"({"tracks":[{"id":"T1","entry_lps_mm":[1,2,3],"tip_lps_mm":[4,5,60],"needle":"end-cut 11G 20 mm"}]})");
  const auto message = [&](const char* pointer, const json& value) -> std::string {
    json file = good;
    file[json::json_pointer(pointer)] = value;
    try {
      (void)parse_tracks(file, "");
    } catch (const BadInput& error) {
      return error.what();
    }
    return "";
  };
  EXPECT_THAT(message("/tracks/0/entry_lps_mm", {1, 2}), HasSubstr("tracks[0].entry_lps_mm"));
  EXPECT_THAT(message("/tracks/0/entry_lps_mm/1", "2"), HasSubstr("tracks[0].entry_lps_mm[1]"));
  EXPECT_THAT(message("/tracks/0/entry_lps_mm/1", std::nan("")), HasSubstr("tracks[0].entry_lps_mm[1]"));
  EXPECT_THAT(message("/tracks/0/tip_lps_mm", {1, 2, 3}), HasSubstr("coincide"));
  EXPECT_THAT(message("/tracks/0/needle", "none"), HasSubstr("tracks[0].needle"));
  EXPECT_THAT(message("/tracks/0/needle", {{"bore", 1}}), HasSubstr("tracks[0].needle.bore is no known key"));
  EXPECT_THAT(message("/tracks/0/tipp", 1), HasSubstr("tracks[0].tipp"));
  EXPECT_THAT(message("/tracks", json::array()), HasSubstr("tracks"));
  EXPECT_THAT(message("/tracks/1", good["tracks"][0]), HasSubstr("tracks[1].id"));
}

/// A random JSON value of small depth, made of things that a person or a broken program may write.
json random_value(std::mt19937& random, int depth) {
  static const std::vector<std::string> words{"requests", "P", "left", "both", "cavity", "", "needles", "end-cut 11G 20 mm", "from", "\xc3\xa9", "bore_mm"};
  switch (random() % (depth > 0 ? 9u : 7u)) {
    case 0: return nullptr;
    case 1: return random() % 2 == 0;
    case 2: return static_cast<int>(random() % 2000) - 1000;
    case 3: return std::ldexp(1.0, static_cast<int>(random() % 2000) - 1000);
    case 4: return std::nan("");
    case 5: return words[random() % words.size()];
    case 6: return -std::numeric_limits<double>::infinity();
    case 7: {
      json list = json::array();
      for (std::uint32_t n = random() % 4; n > 0; --n) list.push_back(random_value(random, depth - 1));
      return list;
    }
    default: {
      json object = json::object();
      for (std::uint32_t n = random() % 4; n > 0; --n) object[words[random() % words.size()]] = random_value(random, depth - 1);
      return object;
    }
  }
}

/// Every place in a document.
void collect(const json& value, const json::json_pointer& at, std::vector<json::json_pointer>& places) {
  places.push_back(at);
  if (value.is_object())
    for (const auto& [key, child] : value.items()) collect(child, at / key, places);
  if (value.is_array())
    for (std::size_t n = 0; n < value.size(); ++n) collect(value[n], at / n, places);
}

TEST(Parsers, TakeAnyJsonOrRefuseItInWords) {
  std::mt19937 random(2024);
  const json request = to_json(parse_request_file(usual()));
  const json tracks = json::parse(R"({"tracks":[{"id":"T1","entry_lps_mm":[1,2,3],"tip_lps_mm":[4,5,60],"needle":{"outer_mm":3,"bore_mm":2.4,"throw_mm":20,"usable_mm":150,"recovery":[0.6,0.9]}}]})");
  int refused = 0;
  for (int n = 0; n < 20000; ++n) {
    json file = n % 2 == 0 ? request : tracks;
    std::vector<json::json_pointer> places;
    collect(file, json::json_pointer(), places);
    file[places[random() % places.size()]] = random_value(random, 3);
    try {
      if (n % 2 == 0) (void)to_json(parse_request_file(file));
      else (void)parse_tracks(file, "");
    } catch (const BadInput& error) {
      ++refused;
      ASSERT_LT(std::string(error.what()).size(), 1200u) << error.what();
    }   // anything else fails the test
  }
  EXPECT_GT(refused, 15000);
}

TEST(Parsers, TakeAnyBytesOrRefuseThemInWords) {
  const ScratchFolder folder;
  std::mt19937 random(7);
  const std::string good = usual().dump(1);
  for (int n = 0; n < 1500; ++n) {
    std::string text = good;
    for (std::uint32_t change = 1 + random() % 4; change > 0; --change)
      text[random() % text.size()] = static_cast<char>(random());
    if (n % 3 == 0) text.resize(random() % text.size());
    std::ofstream(folder / "r.json", std::ios::binary) << text;
    try {
      (void)read_request_file(folder / "r.json");
    } catch (const BadInput&) {
    }
  }
}

}  // namespace
}  // namespace leastharm::test

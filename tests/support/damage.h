#pragma once

#include <nlohmann/json.hpp>
#include <random>
#include <string>
#include <vector>

namespace leastharm::test {

/// Damages files as people, editors and broken programs do. Same seed, same damage.
class Damage {
 public:
  explicit Damage(std::uint32_t seed) : random_(seed) {}

  /// A few bytes flipped, put in, taken out or said twice, and now and then the file cut short.
  std::string in_bytes(std::string text) {
    for (std::uint32_t n = 1 + below(4); n > 0 && !text.empty(); --n) {
      const std::size_t at = below(text.size()), length = std::min<std::size_t>(text.size() - at, 1 + below(20));
      switch (below(5)) {
        case 0: text[at] = static_cast<char>(text[at] ^ (1 << below(8))); break;
        case 1: text[at] = static_cast<char>(below(256)); break;
        case 2: text.erase(at, length); break;
        case 3: text.insert(at, text.substr(at, length)); break;
        default: text.insert(at, 1, "\"{}[],:0-eE.\n\\"[below(14)]);
      }
    }
    if (below(4) == 0) text.resize(below(text.size() + 1));
    return text;
  }

  /// One place of a JSON document changed; `changed` says which.
  std::string in_keys(nlohmann::json document, std::string& changed) {
    std::vector<nlohmann::json::json_pointer> places;
    collect(document, nlohmann::json::json_pointer(), places);
    const auto place = places[1 + below(places.size() - 1)];   // 0 is the whole
    changed = place.to_string();
    nlohmann::json& parent = document[place.parent_pointer()];
    nlohmann::json& value = document[place];
    const std::string key = place.back();
    std::string raw;   // what no JSON library would write
    switch (below(8)) {
      case 0:
        if (parent.is_array()) parent.erase(static_cast<std::size_t>(std::stoul(key)));
        else parent.erase(key);
        break;
      case 1: value = numbers()[below(numbers().size())]; break;
      case 2: value = nlohmann::json::parse(others()[below(others().size())]); break;
      case 3:
        if (parent.is_array()) parent.push_back(nlohmann::json(value));
        else parent[key + "x"] = nlohmann::json(value), parent.erase(key);
        break;
      case 4:
        if (value.is_number()) value = -value.get<double>();
        else value = "no such word";
        break;
      case 5: value = std::string(100'000, 'a'); break;
      default:
        raw = raws()[below(raws().size())];
        value = "@raw@";
    }
    std::string text = document.dump(1);
    if (const std::size_t at = text.find("\"@raw@\""); at != std::string::npos) text.replace(at, 7, raw);
    return text;
  }

 private:
  std::size_t below(std::size_t count) { return random_() % count; }
  std::uint32_t below(int count) { return static_cast<std::uint32_t>(random_() % static_cast<std::uint32_t>(count)); }

  static const std::vector<double>& numbers() {
    static const std::vector<double> list{0,    -1,     0.5,   1e-9, 5e-324, 99,   1001,  65537,
                                          1e6 + 1, 2147483648.0, -2147483649.0, 9.3e18, 1e300, -1e308, 1.7976931348623157e308};
    return list;
  }
  static const std::vector<std::string>& others() {
    static const std::vector<std::string> list{"null", "true", "\"\"", "\"1\"", "[]", "{}", "[1]", "[null,null,null]", "{\"a\":1}", "\"\\u0000\"", "\"../../x\""};
    return list;
  }
  static const std::vector<std::string>& raws() {
    static const std::vector<std::string> list{"NaN", "-Infinity", "1e999", "0x10", "01", "'a'", "\"\xff\xfe\"", "\"\xc3\"", "",
                                               std::string(3000, '[') + std::string(3000, ']'), "9999999999999999999999", "1,2", "/* none */ 1"};
    return list;
  }
  static void collect(const nlohmann::json& value, const nlohmann::json::json_pointer& at, std::vector<nlohmann::json::json_pointer>& places) {
    places.push_back(at);
    if (value.is_object())
      for (const auto& [key, child] : value.items()) collect(child, at / key, places);
    if (value.is_array())
      for (std::size_t n = 0; n < value.size(); ++n) collect(value[n], at / n, places);
  }

  std::mt19937 random_;
};

}  // namespace leastharm::test

#include "json_reader.h"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <set>
#include <sstream>

#include "imaging/error.h"
#include "planner/json_file.h"
#include "planner/nearest.h"
#include "planner/text.h"

namespace leastharm {

using nlohmann::json;

namespace {

std::string shown(const json& value) {
  std::string text = value.dump(-1, ' ', true, json::error_handler_t::replace);
  if (text.size() > 40) text = text.substr(0, 37) + "...";
  return text;
}

/// A key or word as a message shows it: one that fills a page says no more than its beginning.
std::string shortened(const std::string& word) { return word.size() > 60 ? word.substr(0, 57) + "..." : word; }

std::string shown(Allowed allowed) {
  const std::string low = brief(allowed.low);
  if (allowed.high == std::numeric_limits<double>::max())
    return (allowed.above_low ? "above " : "at least ") + low;
  return (allowed.above_low ? "above " + low + " and up to " : "from " + low + " to ") + brief(allowed.high);
}

long line_of(const std::string& text, std::size_t byte) {
  const auto end = text.begin() + static_cast<std::ptrdiff_t>(std::min(byte, text.size()));
  return 1 + std::count(text.begin(), end, '\n');
}

}  // namespace

void refuse_unknown(const std::string& where, const std::string& word, const std::vector<std::string>& known) {
  throw BadInput(where + " is \"" + shortened(word) + "\", which is not known; did you mean \"" + nearest_name(word, known) +
                 "\"? Known: " + joined(known) + ".");
}

double read_number(const json& value, const std::string& path, Allowed allowed) {
  if (!value.is_number())
    throw BadInput(path + " is " + shown(value) + "; give a number " + shown(allowed) + ".");
  const double number = value.get<double>();
  const bool in_range = number >= allowed.low && number <= allowed.high && !(allowed.above_low && number == allowed.low);
  if (!std::isfinite(number) || !in_range)
    throw BadInput(path + " is " + shown(value) + "; allowed: " + shown(allowed) + ".");
  return number;
}

JsonObject::JsonObject(const json& value, std::string path, std::initializer_list<const char*> known)
    : json_(&value), path_(std::move(path)) {
  if (!value.is_object())
    throw BadInput((path_.empty() ? "The file" : path_) + " is " + shown(value) + "; give an object { ... }.");
  const std::vector<std::string> names(known.begin(), known.end());
  for (const auto& [key, unused] : value.items())
    if (std::ranges::find(names, key) == names.end())
      throw BadInput(path_of(shortened(key).c_str()) + " is no known key; did you mean \"" + nearest_name(key, names) +
                     "\"? Known keys here: " + joined(names) + ".");
}

std::string JsonObject::path_of(const char* key) const { return path_.empty() ? key : path_ + "." + key; }

const json& JsonObject::at(const char* key) const {
  if (!has(key)) throw BadInput(path_of(key) + " is missing.");
  return json_->at(key);
}

double JsonObject::number(const char* key, Allowed allowed) const {
  if (!has(key)) throw BadInput(path_of(key) + " is missing; give a number " + shown(allowed) + ".");
  return read_number(at(key), path_of(key), allowed);
}

double JsonObject::number_or(const char* key, double otherwise, Allowed allowed) const {
  return has(key) ? number(key, allowed) : otherwise;
}

int JsonObject::whole_or(const char* key, int otherwise, int low, int high) const {
  if (!has(key)) return otherwise;
  const Allowed allowed{static_cast<double>(low), static_cast<double>(high)};
  const double value = number(key, allowed);
  if (value != std::floor(value))
    throw BadInput(path_of(key) + " is " + shown(at(key)) + "; give a whole number " + shown(allowed) + ".");
  return static_cast<int>(value);
}

bool JsonObject::flag_or(const char* key, bool otherwise) const {
  if (!has(key)) return otherwise;
  if (!at(key).is_boolean()) throw BadInput(path_of(key) + " is " + shown(at(key)) + "; give true or false.");
  return at(key).get<bool>();
}

std::string JsonObject::text(const char* key) const {
  const json& value = at(key);
  if (!value.is_string() || value.get_ref<const std::string&>().empty())
    throw BadInput(path_of(key) + " is " + shown(value) + "; give a text that is not empty.");
  return value.get<std::string>();
}

std::string JsonObject::text_or(const char* key, std::string otherwise) const {
  return has(key) ? text(key) : std::move(otherwise);
}

const json& JsonObject::list(const char* key) const {
  const json& value = at(key);
  if (!value.is_array() || value.empty())
    throw BadInput(path_of(key) + " is " + shown(value) + "; give a list [ ... ] with at least one entry.");
  return value;
}

std::string JsonObject::choice(const char* key, const std::vector<std::string>& words) const {
  const std::string word = text(key);
  if (std::ranges::find(words, word) == words.end()) refuse_unknown(path_of(key), word, words);
  return word;
}

JsonPart JsonPart::at(const char* key) const {
  if (!json_->is_object()) throw BadInput(path_ + " is " + shown(*json_) + "; it must be an object { ... }.");
  const auto found = find(key);
  if (!found) throw BadInput(path_ + (path_.empty() ? "" : ".") + key + " is missing.");
  return *found;
}

std::optional<JsonPart> JsonPart::find(const char* key) const {
  if (!json_->is_object() || !json_->contains(key)) return std::nullopt;
  return JsonPart((*json_)[key], path_.empty() ? key : path_ + "." + key);
}

std::vector<JsonPart> JsonPart::items() const {
  if (!json_->is_array()) throw BadInput(path_ + " is " + shown(*json_) + "; it must be a list [ ... ].");
  std::vector<JsonPart> items;
  for (const json& item : *json_) items.emplace_back(item, path_ + "[" + std::to_string(items.size()) + "]");
  return items;
}

std::string JsonPart::text() const {
  if (!json_->is_string()) throw BadInput(path_ + " is " + shown(*json_) + "; it must be a text.");
  return json_->get<std::string>();
}

std::string JsonPart::place() const {
  constexpr std::size_t kLongestName = 255, kLongest = 4095;   // of Linux
  const std::string path = text();
  const bool holds = path.size() <= kLongest && path.find('\0') == std::string::npos &&
                     std::ranges::all_of(std::filesystem::path(path), [](const auto& name) { return name.native().size() <= kLongestName; });
  if (!holds) throw BadInput(path_ + " is " + shown(*json_) + "; it must be a path.");
  return path;
}

double JsonPart::number(Allowed allowed) const { return read_number(*json_, path_, allowed); }

int JsonPart::whole(int low, int high) const {
  const double value = number({static_cast<double>(low), static_cast<double>(high)});
  if (value != std::floor(value)) throw BadInput(path_ + " is " + shown(*json_) + "; it must be a whole number.");
  return static_cast<int>(value);
}

bool JsonPart::flag() const {
  if (!json_->is_boolean()) throw BadInput(path_ + " is " + shown(*json_) + "; it must be true or false.");
  return json_->get<bool>();
}

std::vector<std::string> JsonPart::texts() const {
  std::vector<std::string> texts;
  for (const JsonPart& item : items()) texts.push_back(item.text());
  return texts;
}

std::map<std::string, std::string> JsonPart::texts_by_key() const {
  if (!json_->is_object()) throw BadInput(path_ + " is " + shown(*json_) + "; it must be an object { ... }.");
  std::map<std::string, std::string> texts;
  for (const auto& [key, value] : json_->items()) texts[key] = JsonPart(value, path_ + "." + key).text();
  return texts;
}

std::size_t JsonPart::choice(const std::vector<std::string>& words) const {
  const auto found = std::ranges::find(words, text());
  if (found == words.end()) refuse_unknown(path_, text(), words);
  return static_cast<std::size_t>(found - words.begin());
}

json read_json_file(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in || std::filesystem::is_directory(path))
    throw BadInput("The file " + path.string() + " cannot be read; check its path.");
  std::ostringstream text;
  text << in.rdbuf();
  return parse_json_text(text.str(), path.filename().string());
}

json parse_json_text(const std::string& text, const std::string& name) {
  constexpr int kDeepest = 64;
  std::vector<std::set<std::string>> keys;   // of the objects that are open
  const auto no_key_twice = [&](int depth, json::parse_event_t event, json& value) {
    if (depth > kDeepest) throw BadInput(name + " nests deeper than " + std::to_string(kDeepest) + " levels.");
    if (event == json::parse_event_t::object_start) keys.emplace_back();
    if (event == json::parse_event_t::object_end) keys.pop_back();
    if (event == json::parse_event_t::key && !keys.back().insert(value.get<std::string>()).second)
      throw BadInput(name + ": the key \"" + shortened(value.get<std::string>()) + "\" occurs twice in one object; keep one.");
    return true;
  };
  try {
    return json::parse(text, no_key_twice);
  } catch (const json::parse_error& error) {
    throw BadInput(name + ", line " + std::to_string(line_of(text, error.byte)) +
                   ": not valid JSON here (a comma, quote or bracket?).");
  } catch (const json::exception&) {
    throw BadInput(name + ": holds a number that is too large to read.");
  }
}

}  // namespace leastharm

#pragma once

#include <initializer_list>
#include <limits>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

namespace leastharm {

/// The values a number may take, ends included unless `above_low`.
struct Allowed {
  double low = 0, high = std::numeric_limits<double>::max();
  bool above_low = false;       ///< the low end itself is not allowed
};

/// A finite number within its range; `path` names it in the error.
[[nodiscard]] double read_number(const nlohmann::json& json, const std::string& path, Allowed allowed);

/// One JSON object whose keys are all known, read key by key. Every error names the key's path.
class JsonObject {
 public:
  /// Throws BadInput where `json` is no object or holds a key that is not `known` (naming the nearest one).
  JsonObject(const nlohmann::json& json, std::string path, std::initializer_list<const char*> known);

  [[nodiscard]] bool has(const char* key) const { return json_->contains(key); }
  /// Throws BadInput where the key is missing.
  [[nodiscard]] const nlohmann::json& at(const char* key) const;
  [[nodiscard]] std::string path_of(const char* key) const;
  [[nodiscard]] const std::string& path() const { return path_; }

  [[nodiscard]] double number(const char* key, Allowed allowed) const;
  [[nodiscard]] double number_or(const char* key, double otherwise, Allowed allowed) const;
  [[nodiscard]] int whole_or(const char* key, int otherwise, int low, int high) const;
  [[nodiscard]] bool flag_or(const char* key, bool otherwise) const;
  [[nodiscard]] std::string text(const char* key) const;                    ///< not empty
  [[nodiscard]] std::string text_or(const char* key, std::string otherwise) const;
  [[nodiscard]] const nlohmann::json& list(const char* key) const;          ///< not empty
  /// One of a few words.
  [[nodiscard]] std::string choice(const char* key, const std::vector<std::string>& words) const;

 private:
  const nlohmann::json* json_;
  std::string path_;
};

/// A value of a file that the program itself wrote, with its path: keys that it does not know pass, texts may be empty.
/// Every error names the path.
class JsonPart {
 public:
  JsonPart(const nlohmann::json& json, std::string path) : json_(&json), path_(std::move(path)) {}

  [[nodiscard]] JsonPart at(const char* key) const;              ///< throws BadInput where it is missing
  [[nodiscard]] std::optional<JsonPart> find(const char* key) const;
  [[nodiscard]] std::vector<JsonPart> items() const;             ///< of a list, which may be empty
  [[nodiscard]] const nlohmann::json& raw() const { return *json_; }
  [[nodiscard]] const std::string& path() const { return path_; }

  [[nodiscard]] std::string text() const;
  [[nodiscard]] std::string place() const;                       ///< a path that a file system can hold
  [[nodiscard]] double number(Allowed allowed = {std::numeric_limits<double>::lowest()}) const;
  [[nodiscard]] int whole(int low, int high = std::numeric_limits<int>::max()) const;
  [[nodiscard]] bool flag() const;
  [[nodiscard]] std::vector<std::string> texts() const;
  [[nodiscard]] std::map<std::string, std::string> texts_by_key() const;
  /// One of a few words, by its place among them.
  [[nodiscard]] std::size_t choice(const std::vector<std::string>& words) const;

 private:
  const nlohmann::json* json_;
  std::string path_;
};

/// "WHERE is "WORD", which is not known; did you mean "NEAREST"? Known: ..."
[[noreturn]] void refuse_unknown(const std::string& where, const std::string& word,
                                 const std::vector<std::string>& known);

/// Parses JSON text. Throws BadInput with the line for a syntax error, and for a key that occurs twice.
[[nodiscard]] nlohmann::json parse_json_text(const std::string& text, const std::string& name);

}  // namespace leastharm

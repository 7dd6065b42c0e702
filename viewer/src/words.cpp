#include "words.h"

#include <array>
#include <cctype>
#include <cmath>
#include <cstdio>

namespace leastharm {

std::string number(double value, int decimals) {
  if (!std::isfinite(value)) return "–";
  char text[64];
  std::snprintf(text, sizeof text, "%.*f", decimals, value);
  std::string out = text;
  if (out.front() != '-') return out;
  const bool zero = out.find_first_of("123456789") == std::string::npos;
  return (zero ? "" : "−") + out.substr(1);
}

std::string mm(double value, int decimals) { return number(value, decimals) + " mm"; }

std::string mg(double value) { return number(value, 1) + " mg"; }

std::string mass_with_interval(const CoreYield& core) {
  return mg(core.mass_mg) + " (" + number(core.mass_mg_p05, 1) + " to " +
         number(core.mass_mg_p95, 1) + ")";
}

std::string chance(double p) {
  if (!std::isfinite(p)) return "–";
  const double percent = 100 * p;
  if (percent < 0.1) return "below 0.1 %";
  if (percent > 99.9) return "over 99.9 %";
  return number(percent, percent < 9.95 || percent > 99 ? 1 : 0) + " %";
}

std::string point(const Vec3& lps_mm) {
  return number(lps_mm.x(), 1) + ", " + number(lps_mm.y(), 1) + ", " + number(lps_mm.z(), 1);
}

std::string chance_with_error(double p, double standard_error) {
  if (p < 0.001 || p > 0.999) return chance(p);
  const int decimals = p < 0.1 ? 2 : 1;
  return number(100 * p, decimals) + " ± " + number(100 * standard_error, decimals) + " %";
}

std::string date_words(const std::string& iso) {
  static constexpr std::array<const char*, 12> months{
      "January", "February", "March",     "April",   "May",      "June",
      "July",    "August",   "September", "October", "November", "December"};
  int year = 0, month = 0, day = 0, hour = 0, minute = 0;
  if (std::sscanf(iso.c_str(), "%4d-%2d-%2dT%2d:%2d", &year, &month, &day, &hour, &minute) != 5 ||
      month < 1 || month > 12)
    return iso;
  char clock[16];
  std::snprintf(clock, sizeof clock, "%02d:%02d UTC", hour % 100, minute % 100);
  return std::to_string(day) + " " + months[static_cast<std::size_t>(month - 1)] + " " +
         std::to_string(year) + ", " + clock;
}

std::string count_word(int count) {
  static constexpr std::array<const char*, 13> words{"no",   "one",    "two",   "three", "four",
                                                     "five", "six",    "seven", "eight", "nine",
                                                     "ten",  "eleven", "twelve"};
  return count >= 0 && count < static_cast<int>(words.size())
             ? words[static_cast<std::size_t>(count)]
             : std::to_string(count);
}

std::string counted(int count, const std::string& singular) {
  return count_word(count) + " " + singular + (count == 1 ? "" : "s");
}

std::string listed(const std::vector<std::string>& words) {
  std::string out;
  for (std::size_t n = 0; n < words.size(); ++n) {
    if (n > 0) out += n + 1 == words.size() ? " and " : ", ";
    out += words[n];
  }
  return out;
}

std::string capital(std::string words) {
  if (!words.empty())
    words[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(words[0])));
  return words;
}

bool is_answered(const CaseFile& file, const std::string& topic) {
  if (!file.request) return false;
  const auto& answers = file.request->dossier.answers;
  const auto found = answers.find(topic);
  return found != answers.end() && found->second.find_first_not_of(" \t\r\n") != std::string::npos;
}

std::string answer(const CaseFile& file, const std::string& topic) {
  return is_answered(file, topic) ? file.request->dossier.answers.at(topic) : kNotAnswered;
}

std::string opening_of(const std::string& text, std::size_t most, bool& cut) {
  cut = text.size() > most;
  if (!cut) return text;
  std::size_t end = 0;
  for (std::size_t n = 0; n + 1 < most; ++n)
    if ((text[n] == '.' || text[n] == '?' || text[n] == '!') && text[n + 1] == ' ') end = n + 1;
  if (end > 0) return text.substr(0, end);
  const std::size_t space = text.rfind(' ', most);
  std::size_t stop = space == std::string::npos ? most : space;
  // Never in the middle of a UTF-8 character.
  while (stop > 0 && (static_cast<unsigned char>(text[stop]) & 0xC0) == 0x80) --stop;
  return text.substr(0, stop) + "…";
}

std::string finding_words(const Finding& finding) {
  return capital(std::string(name_of(finding.level))) + ": " + finding.what;
}

std::string spoken(Material material) {
  switch (material) {
    case Material::body:
      return "body tissue";
    case Material::dense:
      return "dense object";
    default:
      return std::string(name_of(material));
  }
}

}  // namespace leastharm

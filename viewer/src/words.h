#pragma once

#include <string>
#include <vector>

#include "imaging/grid.h"
#include "planner/case.h"

namespace leastharm {

/// A number with a true minus sign; "–" where it is not finite.
[[nodiscard]] std::string number(double value, int decimals);
[[nodiscard]] std::string mm(double value, int decimals = 1);
[[nodiscard]] std::string mg(double value);
/// "15.8 mg (12.1 to 19.0)": median and 90 % interval.
[[nodiscard]] std::string mass_with_interval(const CoreYield& core);
/// A chance in per cent, never rounded to none or certain: "below 0.1 %", "97 %", "over 99.9 %".
[[nodiscard]] std::string chance(double p);
/// "−12.3, 45.0, 300.1".
[[nodiscard]] std::string point(const Vec3& lps_mm);
/// A chance with its standard error, where the chance is large enough to carry one.
[[nodiscard]] std::string chance_with_error(double p, double standard_error);
/// "3 February 2026, 10:00 UTC" from ISO 8601; other texts as they are.
[[nodiscard]] std::string date_words(const std::string& iso);
/// "one" to "twelve", then figures.
[[nodiscard]] std::string count_word(int count);
/// "one core", "five cores".
[[nodiscard]] std::string counted(int count, const std::string& singular);
/// "a, b and c".
[[nodiscard]] std::string listed(const std::vector<std::string>& words);
[[nodiscard]] std::string capital(std::string words);

inline constexpr const char* kNotAnswered = "not answered";
/// What the dossier says on a topic, or "not answered".
[[nodiscard]] std::string answer(const CaseFile& file, const std::string& topic);
[[nodiscard]] bool is_answered(const CaseFile& file, const std::string& topic);
/// The first whole sentences of a text within `most` characters; `cut` says whether something was
/// left out.
[[nodiscard]] std::string opening_of(const std::string& text, std::size_t most, bool& cut);

/// "Refused: …".
[[nodiscard]] std::string finding_words(const Finding& finding);

/// The material as a person would say it: "body tissue", "dense object".
[[nodiscard]] std::string spoken(Material material);

}  // namespace leastharm

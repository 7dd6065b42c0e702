#include <algorithm>
#include <charconv>
#include <cmath>

#include "dicom_header.h"
#include "plain_text.h"

namespace leastharm {
namespace {

std::string_view trimmed(std::string_view text) {
  constexpr std::string_view kPadding(" \0\t\r\n", 5);
  const auto first = text.find_first_not_of(kPadding);
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(kPadding) + 1 - first);
}

/// A whole, finite number, or nothing.
std::optional<double> parse_number(std::string_view text) {
  text = trimmed(text);
  if (text.starts_with('+')) text.remove_prefix(1);
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(value)) return {};
  return value;
}

}  // namespace

const Element* DataSet::find(Tag tag) const {
  const auto found = std::find_if(elements_.begin(), elements_.end(), [&](const Element& e) { return e.tag == tag; });
  return found == elements_.end() ? nullptr : &*found;
}

std::string DataSet::text(Tag tag) const {
  const Element* element = find(tag);
  return element ? plain_text(trimmed(element->value)) : std::string();
}

std::string DataSet::text(Tag tag, std::size_t n) const {
  std::string rest = text(tag);
  for (; n > 0; --n) {
    const auto bar = rest.find('\\');
    if (bar == std::string::npos) return {};
    rest.erase(0, bar + 1);
  }
  return std::string(trimmed(std::string_view(rest).substr(0, rest.find('\\'))));
}

std::vector<double> DataSet::numbers(Tag tag) const {
  const Element* element = find(tag);
  std::vector<double> values;
  if (!element || trimmed(element->value).empty()) return values;
  std::string_view rest = element->value;
  while (true) {
    const auto bar = rest.find('\\');
    const auto value = parse_number(rest.substr(0, bar));
    if (!value) return {};
    values.push_back(*value);
    if (bar == std::string_view::npos) return values;
    rest.remove_prefix(bar + 1);
  }
}

std::optional<double> DataSet::number(Tag tag) const {
  const auto values = numbers(tag);
  return values.empty() ? std::nullopt : std::optional(values.front());
}

std::optional<std::uint16_t> DataSet::word(Tag tag) const {
  const Element* element = find(tag);
  if (!element || element->value.size() < 2) return {};
  return static_cast<std::uint16_t>(static_cast<unsigned char>(element->value[0]) |
                                    static_cast<unsigned char>(element->value[1]) << 8);
}

const DataSet* DataSet::item(Tag tag) const {
  const Element* element = find(tag);
  return element && !element->items.empty() ? &element->items.front() : nullptr;
}

const std::vector<DataSet>& DataSet::items(Tag tag) const {
  static const std::vector<DataSet> kNone;
  const Element* element = find(tag);
  return element ? element->items : kNone;
}

}  // namespace leastharm

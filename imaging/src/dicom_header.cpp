#include "dicom_header.h"

#include <algorithm>
#include <array>

namespace leastharm {
namespace {

constexpr std::uint32_t kUndefined = 0xffffffff;
constexpr Tag kItem = 0xfffee000, kItemEnd = 0xfffee00d, kSequenceEnd = 0xfffee0dd;
constexpr int kDepthLimit = 16;
constexpr std::size_t kValueLimit = 65536;   // no element that intake reads is longer

constexpr auto kSequences = std::to_array<Tag>(
    {tag::kDirectoryRecords, tag::kReconstruction, tag::kXRayDetails, tag::kFrameTypes, tag::kPlanePosition,
     tag::kPlaneOrientation, tag::kUnassignedShared, tag::kUnassignedPerFrame, tag::kPixelMeasures,
     tag::kPixelTransformation, tag::kSegments, tag::kSegmentIdentification, tag::kSharedGroups,
     tag::kPerFrameGroups});
constexpr auto kValues = std::to_array<Tag>(
    {tag::kTransferSyntax, tag::kMediaStorageClass, tag::kReferencedFile, tag::kImageType, tag::kSopClass,
     tag::kModality, tag::kSliceThickness, tag::kKvp, tag::kTubeCurrent, tag::kExposure, tag::kKernel,
     tag::kFrameType, tag::kSeriesUid, tag::kInstanceNumber, tag::kPosition, tag::kOrientation,
     tag::kFrameOfReference, tag::kSamples, tag::kPhotometric, tag::kFrames, tag::kRows, tag::kColumns,
     tag::kPixelSpacing, tag::kBitsAllocated, tag::kBitsStored, tag::kHighBit, tag::kPixelSigned, tag::kPadding,
     tag::kPaddingLimit, tag::kIntercept, tag::kSlope, tag::kRescaleType, tag::kLossy, tag::kSegmentationType,
     tag::kSegmentNumber, tag::kSegmentLabel, tag::kReferencedSegment, tag::kMaximumFractional});

template <std::size_t n>
bool lists(const std::array<Tag, n>& tags, Tag wanted) {
  return std::find(tags.begin(), tags.end(), wanted) != tags.end();
}

bool is_vr(char a, char b) { return a >= 'A' && a <= 'Z' && b >= 'A' && b <= 'Z'; }

/// PS3.5, 7.1.2: these have a 32-bit length.
bool has_long_length(std::string_view vr) {
  for (const char* known : {"OB", "OD", "OF", "OL", "OV", "OW", "SQ", "SV", "UC", "UN", "UR", "UT", "UV"})
    if (vr == known) return true;
  return false;
}

std::size_t width_of(std::string_view vr) {
  if (vr == "US" || vr == "SS" || vr == "OW") return 2;
  if (vr == "UL" || vr == "SL" || vr == "FL") return 4;
  return vr == "FD" ? 8 : 1;
}

struct Head {
  Tag tag = 0;
  std::string vr;   ///< empty where the element does not say
  std::uint32_t length = 0;
  std::uint64_t value_at = 0;
};

class Parser {
 public:
  Parser(DicomBytes& bytes, bool explicit_vr, bool big_endian)
      : bytes_(bytes), explicit_vr_(explicit_vr), big_(big_endian) {}

  [[nodiscard]] Head head(std::uint64_t at) const {
    const std::string_view raw = bytes_.view(at, 8);
    Head head{static_cast<Tag>(word(raw, 0)) << 16 | word(raw, 2), "", 0, at + 8};
    const bool delimiter = head.tag >> 16 == 0xfffe;
    // Some writers leave implicit elements in an explicit file: letters decide, element by element.
    if (!explicit_vr_ || delimiter || !is_vr(raw[4], raw[5])) {
      head.length = dword(raw, 4);
      return head;
    }
    head.vr = raw.substr(4, 2);
    if (!has_long_length(head.vr)) {
      head.length = word(raw, 6);
      return head;
    }
    head.length = dword(bytes_.view(at + 8, 4), 0);
    head.value_at = at + 12;
    return head;
  }

  /// Reads elements into `set` until the pixels, the end of the file or a delimiter; returns the place after it.
  std::uint64_t elements(std::uint64_t at, std::uint64_t end, DataSet* set, int depth) {
    if (depth > kDepthLimit) throw Unreadable("has sequences nested too deep");
    while (end == kNoEnd ? bytes_.reaches(at, 8) : at < end) {
      const Head found = head(at);
      if (found.tag == kItemEnd) return found.value_at;
      if (depth == 0 && found.tag == tag::kPixelData) {
        pixels_ = found;
        return at;
      }
      at = value(found, set, depth);
    }
    if (end == kNoEnd && depth > 0) throw Unreadable("is cut short");
    return at;
  }

  static constexpr std::uint64_t kNoEnd = ~std::uint64_t{0};
  [[nodiscard]] const std::optional<Head>& pixels() const { return pixels_; }

 private:
  std::uint64_t value(const Head& found, DataSet* set, int depth) {
    const bool wanted = set && lists(kSequences, found.tag);
    if (wanted || found.length == kUndefined) {
      Element sequence{found.tag, "", {}};
      const std::uint64_t after = items(found, wanted ? &sequence : nullptr, depth);
      if (wanted) set->add(std::move(sequence));
      return after;
    }
    if (!bytes_.reaches(found.value_at, found.length)) throw Unreadable("is cut short");
    if (set && lists(kValues, found.tag) && found.length <= kValueLimit)
      set->add({found.tag, text(found), {}});
    return found.value_at + found.length;
  }

  std::uint64_t items(const Head& sequence, Element* into, int depth) {
    // A sequence of unknown VR and undefined length is implicit inside (PS3.5, 6.2.2).
    const bool was_explicit = explicit_vr_;
    if (sequence.vr == "UN") explicit_vr_ = false;
    std::uint64_t at = sequence.value_at;
    const std::uint64_t end = sequence.length == kUndefined ? kNoEnd : at + sequence.length;
    if (end != kNoEnd && !bytes_.reaches(at, sequence.length)) throw Unreadable("is cut short");
    while (at < end) {
      const Head item = head(at);
      if (item.tag == kSequenceEnd) {
        at = item.value_at;
        break;
      }
      if (item.tag != kItem) throw Unreadable("has a broken sequence");
      DataSet* set = into ? &into->items.emplace_back() : nullptr;
      if (item.length != kUndefined && !set) at = item.value_at + item.length;
      else
        at = elements(item.value_at, item.length == kUndefined ? kNoEnd : item.value_at + item.length, set,
                      depth + 1);
    }
    explicit_vr_ = was_explicit;
    return at;
  }

  [[nodiscard]] std::string text(const Head& found) const {
    std::string value(bytes_.view(found.value_at, found.length));
    if (big_)
      for (std::size_t n = 0, width = width_of(found.vr); n + width <= value.size(); n += width)
        std::reverse(value.begin() + static_cast<long>(n), value.begin() + static_cast<long>(n + width));
    return value;
  }

  [[nodiscard]] std::uint16_t word(std::string_view raw, std::size_t at) const {
    const auto low = static_cast<unsigned char>(raw[at + (big_ ? 1 : 0)]);
    const auto high = static_cast<unsigned char>(raw[at + (big_ ? 0 : 1)]);
    return static_cast<std::uint16_t>(low | high << 8);
  }
  [[nodiscard]] std::uint32_t dword(std::string_view raw, std::size_t at) const {
    const std::uint32_t first = word(raw, at), second = word(raw, at + 2);
    return big_ ? first << 16 | second : second << 16 | first;
  }

  DicomBytes& bytes_;
  bool explicit_vr_, big_;
  std::optional<Head> pixels_;
};

/// The file meta information (PS3.10, 7.1), always explicit and little-endian; returns where it ends.
std::uint64_t meta(DicomBytes& bytes, std::uint64_t at, DataSet& set) {
  Parser parser(bytes, true, false);
  while (bytes.reaches(at, 8)) {
    const Head found = parser.head(at);
    if (found.tag >> 16 != 0x0002) break;
    if (!bytes.reaches(found.value_at, found.length)) throw Unreadable("is cut short");
    if (found.tag == tag::kTransferSyntax || found.tag == tag::kMediaStorageClass)
      set.add({found.tag, std::string(bytes.view(found.value_at, std::min<std::size_t>(found.length, 64))), {}});
    at = found.value_at + found.length;
  }
  return at;
}

TransferSyntax syntax_named(const std::string& uid) {
  return {uid, uid != "1.2.840.10008.1.2", uid == "1.2.840.10008.1.2.2", uid == "1.2.840.10008.1.2.1.99"};
}

/// What a data set without file meta information is coded in, by its first element; empty where it is none.
std::optional<TransferSyntax> guessed_syntax(DicomBytes& bytes, std::uint64_t at) {
  if (!bytes.reaches(at, 16)) return {};
  const std::string raw(bytes.view(at, 8));
  const bool little = (raw[0] == 8 || raw[0] == 2) && raw[1] == 0 && raw[3] == 0;
  const bool big = raw[0] == 0 && (raw[1] == 8 || raw[1] == 2) && raw[2] == 0;
  if (!little && !big) return {};
  const bool letters = is_vr(raw[4], raw[5]);
  if (big) return letters ? std::optional(syntax_named("1.2.840.10008.1.2.2")) : std::nullopt;
  if (letters) return syntax_named("1.2.840.10008.1.2.1");
  const bool short_value = raw[6] == 0 && raw[7] == 0;
  return short_value ? std::optional(syntax_named("1.2.840.10008.1.2")) : std::nullopt;
}

}  // namespace

std::optional<DicomHeader> read_dicom_header(DicomBytes& bytes) {
  DicomHeader header;
  std::uint64_t at = 0;
  const bool preamble = bytes.reaches(0, 132) && bytes.view(128, 4) == "DICM";
  if (preamble) at = 132;
  else if (!guessed_syntax(bytes, 0)) return {};
  at = meta(bytes, at, header.set);
  if (const std::string uid = header.set.text(tag::kTransferSyntax); !uid.empty()) header.syntax = syntax_named(uid);
  else if (const auto guess = guessed_syntax(bytes, at)) header.syntax = *guess;
  else throw Unreadable("names no transfer syntax");
  if (header.syntax.deflated) {
    bytes.inflate_from(at);
    at = 0;
  }
  Parser parser(bytes, header.syntax.explicit_vr, header.syntax.big_endian);
  try {
    parser.elements(at, Parser::kNoEnd, &header.set, 0);
  } catch (const Unreadable& error) {
    header.broken = error.what();
  }
  if (const auto& pixels = parser.pixels()) {
    header.has_pixels = true;
    header.fragments = pixels->length == kUndefined;
    header.pixels_at = pixels->value_at;
    header.pixel_bytes = header.fragments ? 0 : pixels->length;
  }
  return header;
}

}  // namespace leastharm

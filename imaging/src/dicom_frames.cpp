#include "dicom_frames.h"

#include <algorithm>
#include <cmath>

#include "dicom_codec.h"
#include "frame_lookup.h"

namespace leastharm {
namespace {

constexpr int kFrameLimit = 100000;

bool is_ct_class(const std::string& sop_class) {
  return sop_class == "1.2.840.10008.5.1.4.1.1.2" || sop_class == "1.2.840.10008.5.1.4.1.1.2.1" ||
         sop_class == "1.2.840.10008.5.1.4.1.1.2.2";
}

/// What a storage class other than CT is, in plain words (PS3.4, Annex B; PS3.6, Annex A).
std::string kind_of(const std::string& sop_class, const std::string& modality) {
  struct Kind {
    const char* prefix;
    const char* name;
  };
  constexpr Kind kKinds[] = {{"1.2.840.10008.1.3.10", "a DICOMDIR"},
                             {"1.2.840.10008.5.1.4.1.1.7", "a secondary capture (a picture of a screen)"},
                             {"1.2.840.10008.5.1.4.1.1.88", "a report (such as a dose report)"},
                             {"1.2.840.10008.5.1.4.1.1.481", "a radiotherapy object"},
                             {"1.2.840.10008.5.1.4.1.1.66", "a segmentation or registration"},
                             {"1.2.840.10008.5.1.4.1.1.11", "a presentation state"},
                             {"1.2.840.10008.5.1.4.1.1.104", "an enclosed document"}};
  for (const Kind& kind : kKinds)
    if (sop_class == kind.prefix || sop_class.starts_with(std::string(kind.prefix) + ".")) return kind.name;
  return "not CT (modality " + (modality.empty() ? "unknown" : modality) + ")";
}

PixelFormat pixel_format(const DataSet& set) {
  PixelFormat format;
  format.columns = set.word(tag::kColumns).value_or(0);
  format.rows = set.word(tag::kRows).value_or(0);
  format.bits_stored = set.word(tag::kBitsStored).value_or(16);
  format.high_bit = set.word(tag::kHighBit).value_or(static_cast<std::uint16_t>(format.bits_stored - 1));
  format.is_signed = set.word(tag::kPixelSigned).value_or(0) == 1;
  // Pixel Representation says how padding is to be read, whatever VR the writer chose (PS3.5, 8.1.1).
  const auto stored = [&](std::uint16_t bits) {
    return format.is_signed ? static_cast<int>(static_cast<std::int16_t>(bits)) : static_cast<int>(bits);
  };
  if (const auto padding = set.word(tag::kPadding)) {
    const int one = stored(*padding), other = stored(set.word(tag::kPaddingLimit).value_or(*padding));
    format.padding_from = std::min(one, other);
    format.padding_to = std::max(one, other);
  }
  return format;
}

std::string why_not_pixels(const DataSet& set, const PixelFormat& format) {
  if (set.word(tag::kSamples).value_or(1) != 1) return "a colour picture";
  if (set.word(tag::kBitsAllocated).value_or(0) != 16)
    return "pixels of " + std::to_string(set.word(tag::kBitsAllocated).value_or(0)) + " bits, which hold no HU";
  if (format.columns == 0 || format.rows == 0) return "an image without size";
  if (format.bits_stored < 1 || format.bits_stored > 16 || format.high_bit < format.bits_stored - 1 ||
      format.high_bit > 15)
    return "a pixel coding that contradicts itself";
  return {};
}

bool is_localizer(const DataSet& set, const FrameLookup& lookup) {
  const DataSet& types = lookup.holder(tag::kFrameTypes, tag::kFrameType);
  const std::string text = set.text(tag::kImageType) + "\\" + types.text(tag::kFrameType) + "\\";
  return text.find("LOCALIZER\\") != std::string::npos;
}

/// Fills the meaning of the values; says why they are not HU, if so.
std::string rescale(const FrameLookup& lookup, Frame& frame) {
  const DataSet& set = lookup.holder(tag::kPixelTransformation, tag::kSlope);
  const auto slope = set.number(tag::kSlope), intercept = set.number(tag::kIntercept);
  if (!slope || !intercept || *slope == 0 || std::abs(*slope) > 1e6 || std::abs(*intercept) > 1e6)
    return "no sound rescale slope and intercept, so its values are not known to be HU";
  frame.rescale = {*slope, *intercept};
  const std::string type = set.text(tag::kRescaleType);
  if (!type.empty() && type != "HU") return "values of type " + type.substr(0, 16) + ", not HU";
  return {};
}

void acquisition(const FrameLookup& lookup, Frame& frame) {
  const auto text = [&](Tag macro, Tag wanted) { return lookup.holder(macro, wanted).text(wanted); };
  frame.kernel = text(tag::kReconstruction, tag::kKernel).substr(0, 64);
  frame.kvp = lookup.holder(tag::kXRayDetails, tag::kKvp).number(tag::kKvp).value_or(0);
  frame.thickness_mm = lookup.holder(tag::kPixelMeasures, tag::kSliceThickness).number(tag::kSliceThickness).value_or(0);
  if (const auto current = lookup.holder(0, tag::kTubeCurrent).number(tag::kTubeCurrent))
    frame.tube_current_ma = text(0, tag::kTubeCurrent);
  if (const auto exposure = lookup.holder(0, tag::kExposure).number(tag::kExposure))
    frame.exposure_mas = text(0, tag::kExposure);
  frame.instance_number = std::lround(
      std::clamp(lookup.holder(0, tag::kInstanceNumber).number(tag::kInstanceNumber).value_or(0), -1e9, 1e9));
}

DicomFile file_of(const std::filesystem::path& path, const DicomHeader& header) {
  const DataSet& set = header.set;
  DicomFile file;
  file.path = path;
  file.syntax = header.syntax;
  file.series_uid = set.text(tag::kSeriesUid);
  file.modality = set.text(tag::kModality);
  file.frame_of_reference_uid = set.text(tag::kFrameOfReference);
  file.format = pixel_format(set);
  file.frames = static_cast<int>(std::clamp(set.number(tag::kFrames).value_or(1), 1.0, kFrameLimit + 1.0));
  file.is_compressed = header.fragments;
  file.pixels_at = header.pixels_at;
  file.lossy = set.text(tag::kLossy) == "01";
  return file;
}

/// Why a whole file is no CT volume; empty where it may be one.
std::string why_not_ct(const DicomHeader& header, const DicomFile& file) {
  std::string sop_class = header.set.text(tag::kSopClass);
  if (sop_class.empty()) sop_class = header.set.text(tag::kMediaStorageClass);
  const bool by_modality = sop_class.empty() && file.modality == "CT";
  if (!is_ct_class(sop_class) && !by_modality) return kind_of(sop_class, file.modality);
  if (!file.modality.empty() && file.modality != "CT") return "not CT (modality " + file.modality + ")";
  return {};
}

/// What is wrong with the pixels that the header promises; empty where they are all there.
std::string find_pixels(DicomBytes& bytes, const DicomHeader& header, DicomFile& file) {
  if (!header.broken.empty()) return "damaged: its header " + header.broken;
  if (!header.has_pixels) return "without pixels (cut short before them)";
  if (header.fragments) {
    try {
      file.fragments = find_fragments(bytes, header.pixels_at, file.frames);
      return {};
    } catch (const Unreadable& error) {
      return std::string("damaged: it ") + error.what();
    }
  }
  const auto needed = static_cast<std::uint64_t>(file.format.columns) * static_cast<std::uint64_t>(file.format.rows) *
                      2 * static_cast<std::uint64_t>(file.frames);
  // A deflated file is not unpacked for that: reading it will tell.
  const bool there = header.pixel_bytes >= needed && (header.syntax.deflated || bytes.reaches(header.pixels_at, needed));
  return there ? "" : "cut short";
}

}  // namespace

std::string read_place(const DataSet& set, int index, Frame& frame) {
  constexpr double kUnitTolerance = 1e-3;
  const FrameLookup lookup(set, index);
  const auto p = lookup.holder(tag::kPlanePosition, tag::kPosition).numbers(tag::kPosition);
  const auto o = lookup.holder(tag::kPlaneOrientation, tag::kOrientation).numbers(tag::kOrientation);
  const auto s = lookup.holder(tag::kPixelMeasures, tag::kPixelSpacing).numbers(tag::kPixelSpacing);
  if (p.size() != 3 || o.size() != 6) return "no sound position or orientation (a picture of a screen, or a scout view)";
  frame.position_lps_mm = {p[0], p[1], p[2]};
  frame.row = {o[0], o[1], o[2]};
  frame.column = {o[3], o[4], o[5]};
  if (std::abs(frame.row.norm() - 1) > kUnitTolerance || std::abs(frame.column.norm() - 1) > kUnitTolerance ||
      std::abs(frame.row.dot(frame.column)) > kUnitTolerance)
    return "an orientation that is not two directions at right angles";
  if (frame.position_lps_mm.cwiseAbs().maxCoeff() > 1e5) return "a position farther than 100 m away";
  if (s.size() != 2 || !(s[0] >= 1e-3 && s[0] <= 100 && s[1] >= 1e-3 && s[1] <= 100))
    return "a pixel spacing that is missing or not between 0.001 and 100 mm";
  frame.row_spacing_mm = s[0];   // the first value is between rows (PS3.3, 10.7.1.3)
  frame.column_spacing_mm = s[1];
  return {};
}

std::optional<FileFrames> read_frames(const std::filesystem::path& path) {
  DicomBytes bytes(path);
  const auto header = read_dicom_header(bytes);
  if (!header) return {};
  // Without its series, nobody can say whose slice it would have been.
  if (!header->broken.empty() && header->set.text(tag::kSeriesUid).empty()) throw Unreadable(header->broken);
  FileFrames result{file_of(path, *header), {}};
  std::string aside = why_not_ct(*header, result.file);
  const bool is_ct = aside.empty();
  if (is_ct && header->has_pixels) aside = why_not_pixels(header->set, result.file.format);
  if (is_ct && aside.empty() && result.file.frames > kFrameLimit) aside = "more frames than any CT has";
  bool damaged = false;
  if (is_ct && aside.empty()) {
    aside = find_pixels(bytes, *header, result.file);
    damaged = !aside.empty();
  }
  for (int n = 0; n < (aside.empty() ? result.file.frames : 1); ++n) {
    const FrameLookup lookup(header->set, n);
    Frame& frame = result.frames.emplace_back();
    frame.index = n;
    frame.damaged = damaged;
    const bool localizer = is_ct && is_localizer(header->set, lookup);
    const std::string no_place = read_place(header->set, n, frame);
    const std::string no_hu = rescale(lookup, frame);
    acquisition(lookup, frame);
    frame.set_aside = localizer ? "a localizer (scout view)" : !aside.empty() ? aside : !no_place.empty() ? no_place : no_hu;
    frame.damaged = damaged && !localizer;
  }
  return result;
}

}  // namespace leastharm

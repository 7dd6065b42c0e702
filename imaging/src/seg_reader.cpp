#include "seg_reader.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <vector>

#include "dicom_frames.h"
#include "frame_lookup.h"
#include "imaging/error.h"
#include "imaging/material.h"
#include "placement.h"
#include "text_header.h"

namespace leastharm {
namespace {

enum class Kind { binary, fractional, label_map };

/// A segmentation's pixels, and how they are to be read.
struct Pixels {
  Kind kind = Kind::binary;
  int columns = 0, rows = 0, frames = 0;
  unsigned most = 255;   ///< fractional: what counts as whole
  std::uint64_t at = 0;
  std::map<unsigned, std::uint8_t> label_of_segment;

  [[nodiscard]] std::size_t frame_size() const {
    return static_cast<std::size_t>(columns) * static_cast<std::size_t>(rows);
  }
  [[nodiscard]] std::size_t bits() const { return kind == Kind::binary ? 1 : 8; }
};

Kind kind_of(const std::filesystem::path& path, const DataSet& set) {
  const std::string type = set.text(tag::kSegmentationType);
  const unsigned bits = set.word(tag::kBitsAllocated).value_or(0);
  if (type == "BINARY" && bits == 1) return Kind::binary;
  if (type == "FRACTIONAL" && bits == 8) return Kind::fractional;
  if (type == "LABELMAP" && bits == 8) return Kind::label_map;
  refuse_file(path, "a segmentation of type \"" + type.substr(0, 16) + "\" with " + std::to_string(bits) +
                        " bits is not read here; write it binary");
}

/// By the materials' names where every segment has one, else by number.
std::map<unsigned, std::uint8_t> labels_of_segments(const std::filesystem::path& path, const DataSet& set) {
  std::map<unsigned, std::uint8_t> by_number, by_name;
  for (const DataSet& segment : set.items(tag::kSegments)) {
    const unsigned number = segment.word(tag::kSegmentNumber).value_or(0);
    if (number > 255) refuse_file(path, "a segment has the number " + std::to_string(number) + "; 255 is the most");
    by_number[number] = static_cast<std::uint8_t>(number);
    if (const auto material = material_named(lower_case(segment.text(tag::kSegmentLabel))))
      by_name[number] = static_cast<std::uint8_t>(*material);
  }
  if (by_number.empty()) refuse_file(path, "it describes no segment");
  return by_name.size() == by_number.size() ? by_name : by_number;
}

Pixels pixels_of(const std::filesystem::path& path, const DicomHeader& header, DicomBytes& bytes) {
  const DataSet& set = header.set;
  if (header.fragments) refuse_file(path, "its pixels are compressed, which is not read here; write it plain");
  Pixels pixels;
  pixels.kind = kind_of(path, set);
  pixels.columns = set.word(tag::kColumns).value_or(0);
  pixels.rows = set.word(tag::kRows).value_or(0);
  pixels.frames = static_cast<int>(std::clamp(set.number(tag::kFrames).value_or(0), 0.0, 1e6));
  pixels.most = std::max<unsigned>(1, set.word(tag::kMaximumFractional).value_or(255));
  pixels.at = header.pixels_at;
  pixels.label_of_segment = labels_of_segments(path, set);
  const std::uint64_t all = pixels.frame_size() * static_cast<std::uint64_t>(pixels.frames) * pixels.bits();
  if (all == 0) refuse_file(path, "it holds no plane");
  if (!bytes.reaches(pixels.at, (all + 7) / 8))
    refuse_file(path, "it is cut short, or its header names too many planes; copy it again");
  return pixels;
}

/// Where a frame lies, as a volume of one slice whose depth is the CT's own along the same direction.
Grid grid_of_frame(const std::filesystem::path& path, const DataSet& set, int n, const Pixels& pixels, const Grid& ct) {
  Frame frame;
  if (const std::string wrong = read_place(set, n, frame); !wrong.empty()) refuse_file(path, "a plane has " + wrong);
  Grid grid;
  grid.size = {pixels.columns, pixels.rows, 1};
  grid.origin_lps_mm = frame.position_lps_mm;
  const Vec3 row = frame.row.normalized(), normal = row.cross(frame.column).normalized();
  grid.direction << row, normal.cross(row), normal;
  Eigen::Index axis = 0;
  (ct.direction.transpose() * normal).cwiseAbs().maxCoeff(&axis);
  grid.spacing_mm = {frame.column_spacing_mm, frame.row_spacing_mm, ct.spacing_mm[axis]};
  return grid;
}

/// The label that a frame's pixels stand for; a label map's stand for themselves.
std::uint8_t label_of_frame(const std::filesystem::path& path, const DataSet& set, int n, const Pixels& pixels) {
  if (pixels.kind == Kind::label_map) return 0;
  const FrameLookup lookup(set, n);
  const auto segment =
      lookup.holder(tag::kSegmentIdentification, tag::kReferencedSegment).word(tag::kReferencedSegment);
  const auto label = pixels.label_of_segment.find(segment.value_or(0));
  if (label == pixels.label_of_segment.end()) refuse_file(path, "a plane belongs to a segment that it does not describe");
  return label->second;
}

std::vector<std::uint8_t> read_frame(DicomBytes& bytes, const Pixels& pixels, int n, std::uint8_t label) {
  // Binary frames follow each other bit by bit, wherever a byte ends (PS3.5, 8.1.1).
  const std::size_t size = pixels.frame_size(), first = static_cast<std::size_t>(n) * size * pixels.bits();
  const std::size_t end = first + size * pixels.bits();
  const std::string_view view = bytes.view(pixels.at + first / 8, (end + 7) / 8 - first / 8);
  std::vector<std::uint8_t> labels(size);
  for (std::size_t v = 0; v < size; ++v) {
    const std::size_t bit = first % 8 + v;
    const auto byte = static_cast<unsigned char>(view[pixels.kind == Kind::binary ? bit / 8 : v]);
    if (pixels.kind == Kind::binary) labels[v] = byte >> bit % 8 & 1 ? label : 0;
    else if (pixels.kind == Kind::fractional) labels[v] = 2 * byte >= pixels.most ? label : 0;
    else if (const auto own = pixels.label_of_segment.find(byte); own != pixels.label_of_segment.end())
      labels[v] = own->second;
  }
  return labels;
}

}  // namespace

Volume<std::uint8_t> read_dicom_seg(const std::filesystem::path& path, const Grid& grid, bool as_mask) try {
  DicomBytes bytes(path);
  const auto header = read_dicom_header(bytes);
  if (!header) refuse_file(path, "it is no DICOM segmentation, NRRD, NIfTI or MetaImage");
  const std::string sop_class = header->set.text(tag::kSopClass);
  if (sop_class != "1.2.840.10008.5.1.4.1.1.66.4" && sop_class != "1.2.840.10008.5.1.4.1.1.66.7")
    refuse_file(path, "it is DICOM, but no segmentation");
  if (!header->broken.empty() || !header->has_pixels) refuse_file(path, "it is cut short; copy it again");
  Pixels pixels = pixels_of(path, *header, bytes);
  if (as_mask)
    for (auto& [segment, label] : pixels.label_of_segment) label = segment > 0 ? 1 : 0;
  Volume<std::uint8_t> labels{grid, std::vector<std::uint8_t>(grid.voxel_count())};
  for (int n = 0; n < pixels.frames; ++n) {
    const std::uint8_t label = label_of_frame(path, header->set, n, pixels);
    lay_onto({grid_of_frame(path, header->set, n, pixels, grid), read_frame(bytes, pixels, n, label)}, path, labels);
  }
  return labels;
} catch (const Unreadable& error) {
  throw BadInput(path.string() + " " + error.what() + "; copy it again");
}

}  // namespace leastharm

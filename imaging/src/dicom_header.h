#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "dicom_bytes.h"

namespace leastharm {

/// A DICOM tag, group in the upper half.
using Tag = std::uint32_t;

namespace tag {
inline constexpr Tag kTransferSyntax = 0x00020010, kMediaStorageClass = 0x00020002;
inline constexpr Tag kDirectoryRecords = 0x00041220, kReferencedFile = 0x00041500;
inline constexpr Tag kImageType = 0x00080008, kSopClass = 0x00080016, kModality = 0x00080060,
                     kFrameType = 0x00089007;
inline constexpr Tag kSliceThickness = 0x00180050, kKvp = 0x00180060, kExposure = 0x00181152,
                     kTubeCurrent = 0x00181151, kKernel = 0x00181210;
inline constexpr Tag kReconstruction = 0x00189314, kXRayDetails = 0x00189325, kFrameTypes = 0x00189329;
inline constexpr Tag kSeriesUid = 0x0020000e, kInstanceNumber = 0x00200013, kPosition = 0x00200032,
                     kOrientation = 0x00200037, kFrameOfReference = 0x00200052;
inline constexpr Tag kPlanePosition = 0x00209113, kPlaneOrientation = 0x00209116,
                     kUnassignedShared = 0x00209170, kUnassignedPerFrame = 0x00209171;
inline constexpr Tag kSamples = 0x00280002, kPhotometric = 0x00280004, kFrames = 0x00280008, kRows = 0x00280010,
                     kColumns = 0x00280011, kPixelSpacing = 0x00280030, kBitsAllocated = 0x00280100,
                     kBitsStored = 0x00280101, kHighBit = 0x00280102, kPixelSigned = 0x00280103,
                     kPadding = 0x00280120, kPaddingLimit = 0x00280121, kIntercept = 0x00281052,
                     kSlope = 0x00281053, kRescaleType = 0x00281054, kLossy = 0x00282110;
inline constexpr Tag kPixelMeasures = 0x00289110, kPixelTransformation = 0x00289145;
inline constexpr Tag kSegments = 0x00620002, kSegmentNumber = 0x00620004, kSegmentLabel = 0x00620005,
                     kSegmentIdentification = 0x0062000a, kReferencedSegment = 0x0062000b,
                     kSegmentationType = 0x00620001, kMaximumFractional = 0x0062000e;
inline constexpr Tag kSharedGroups = 0x52009229, kPerFrameGroups = 0x52009230;
inline constexpr Tag kPixelData = 0x7fe00010;
}  // namespace tag

class DataSet;

/// One element that intake reads. Numbers of fixed width are little-endian here, whatever the file's order.
struct Element {
  Tag tag = 0;
  std::string value;
  std::vector<DataSet> items;   ///< of a sequence
};

/// The elements that intake reads, out of all that a file has. Nothing else is kept: names of people and places
/// never enter the program.
class DataSet {
 public:
  void add(Element element) { elements_.push_back(std::move(element)); }
  [[nodiscard]] const Element* find(Tag tag) const;

  /// Without padding, and plain; empty where there is none.
  [[nodiscard]] std::string text(Tag tag) const;
  /// Value `n` of a text with several values.
  [[nodiscard]] std::string text(Tag tag, std::size_t n) const;
  /// Decimal strings; empty where any of them is no finite number.
  [[nodiscard]] std::vector<double> numbers(Tag tag) const;
  [[nodiscard]] std::optional<double> number(Tag tag) const;
  /// A 16-bit value (US or SS), as its bits.
  [[nodiscard]] std::optional<std::uint16_t> word(Tag tag) const;
  /// The first item of a sequence; null where there is none.
  [[nodiscard]] const DataSet* item(Tag tag) const;
  [[nodiscard]] const std::vector<DataSet>& items(Tag tag) const;

 private:
  std::vector<Element> elements_;
};

/// How a file's elements and pixels are coded.
struct TransferSyntax {
  std::string uid;
  bool explicit_vr = true, big_endian = false, deflated = false;
};

/// A file's elements up to the pixels, and where those lie.
struct DicomHeader {
  TransferSyntax syntax;
  DataSet set;
  std::string broken;                ///< why the header ends before its time; empty where it does not
  bool has_pixels = false;
  bool fragments = false;            ///< the pixels are compressed, in fragments
  std::uint64_t pixels_at = 0;       ///< of the first pixel, or of the first fragment
  std::uint64_t pixel_bytes = 0;     ///< as the element says; 0 for fragments
};

/// Reads a header, as far as it is whole. Empty where the file is not DICOM. Throws Unreadable where it cannot be
/// opened, or is broken from the start.
[[nodiscard]] std::optional<DicomHeader> read_dicom_header(DicomBytes& bytes);

}  // namespace leastharm

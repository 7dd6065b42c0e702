#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "dicom_header.h"
#include "imaging/grid.h"

namespace leastharm {

/// How stored values lie in a file's 16-bit words, and which of them are padding.
struct PixelFormat {
  int columns = 0, rows = 0;
  int bits_stored = 16, high_bit = 15;
  bool is_signed = false;
  std::optional<int> padding_from, padding_to;   ///< stored values, both included

  friend bool operator==(const PixelFormat&, const PixelFormat&) = default;
};

/// A stretch of compressed pixels in a file.
struct Fragment {
  std::uint64_t at = 0;
  std::uint32_t length = 0;
};

/// One DICOM file, as far as its pixels go.
struct DicomFile {
  std::filesystem::path path;
  TransferSyntax syntax;
  std::string series_uid, modality, frame_of_reference_uid;
  PixelFormat format;
  int frames = 1;
  bool is_compressed = false;
  std::vector<std::vector<Fragment>> fragments;   ///< of each frame, where compressed
  bool lossy = false;
  std::uint64_t pixels_at = 0;
};

/// Stored value to HU (PS3.3, C.11.1): slope times value plus intercept.
struct Rescale {
  double slope = 1, intercept = 0;
  friend bool operator==(const Rescale&, const Rescale&) = default;
};

/// One image of a file: where it lies, and what its values mean.
struct Frame {
  std::size_t file = 0;   ///< index into the scan's files
  int index = 0;          ///< within the file
  Vec3 position_lps_mm{0, 0, 0}, row{1, 0, 0}, column{0, 1, 0};
  double column_spacing_mm = 1, row_spacing_mm = 1;   ///< between columns (along a row), between rows
  Rescale rescale;
  std::string kernel;
  double kvp = 0;               ///< 0: not said
  double thickness_mm = 0;      ///< nominal; 0: not said
  std::string tube_current_ma, exposure_mas;
  long instance_number = 0;
  std::string set_aside;        ///< why it is no part of a volume; empty where it may be one
  bool damaged = false;         ///< a slice that is set aside because its file is broken
};

/// What a file holds.
struct FileFrames {
  DicomFile file;
  std::vector<Frame> frames;    ///< at least one; `Frame::file` is still to be set
};

/// Fills a frame's position, orientation and spacing; says what is wrong with them, if anything.
[[nodiscard]] std::string read_place(const DataSet& set, int index, Frame& frame);

/// Reads a file's header into frames. Empty where the file is not DICOM. Throws Unreadable where it is, but broken.
[[nodiscard]] std::optional<FileFrames> read_frames(const std::filesystem::path& path);

}  // namespace leastharm

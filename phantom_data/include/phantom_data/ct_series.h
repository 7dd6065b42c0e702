#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "imaging/grid.h"
#include "imaging/hash.h"

namespace leastharm::phantom {

/// How the file's elements and pixels are coded (DICOM PS3.5, Annex A). All are free of loss.
enum class Coding {
  implicit_little,
  explicit_little,
  explicit_big,
  deflated,
  rle,
  jpeg_lossless,
  jpeg_ls,
  jpeg_2000
};

/// What one slice's file says. `write_ct_series` fills it from the volume and the options; a hook may change it.
struct SliceTags {
  bool skip = false;                 ///< write no file: a missing slice
  int copies = 1;                    ///< files of the same slice, each with a SOP instance UID of its own
  Vec3 position_lps_mm{0, 0, 0};     ///< of the first pixel's centre
  Vec3 row{1, 0, 0}, column{0, 1, 0};   ///< direction along a row (growing i) and along a column (growing j)
  double slope = 1, intercept = 0;
  double kvp = 120;
  double thickness_mm = 1;
  std::string kernel, image_type, rescale_type, series_uid, frame_of_reference_uid;
  int instance_number = 1;
  int acquisition_number = 1;
};

/// What a series' files say, and how they are coded. The patient is "INVENTED^BODY"; all dates are fixed.
struct CtSeriesOptions {
  std::string seed = "invented body";   ///< every UID is derived from it: another seed, another study
  Coding coding = Coding::explicit_little;
  bool is_signed = true;
  int bits_stored = 16;                 ///< 12 or 16, of 16 allocated
  double slope = 1, intercept = 0;
  std::optional<int> padding_value;     ///< stored value written where the HU is kNoReadingHu, and tagged as padding
  std::string kernel = "STANDARD";
  double kvp = 120;
  double thickness_mm = 0;              ///< 0: the slice spacing
  std::string patient_position = "HFS";
  std::string image_type = "ORIGINAL\\PRIMARY\\AXIAL";
  std::string rescale_type = "HU";      ///< empty: not written
  std::string series_uid;               ///< empty: from the seed
  std::string frame_of_reference_uid;   ///< empty: from the seed
  int series_number = 1;
  bool shuffled_names = false;          ///< names whose order says nothing about the slices' order
  bool preamble = true;                 ///< false: no 128 bytes, no "DICM", no file meta information
  std::function<void(int slice, SliceTags&)> change;   ///< called for every slice before it is written
};

/// Writes a volume as a series of CT Image Storage files, one a slice, and returns their paths in slice order.
/// Same volume and options, same bytes. HU outside what the coding can hold are clamped; where the slope is not 1,
/// they are rounded to the nearest stored value. The folder is made if need be. Throws BadInput where a file cannot
/// be written.
std::vector<std::filesystem::path> write_ct_series(const Volume<std::int16_t>& hu,
                                                   const std::filesystem::path& folder,
                                                   const CtSeriesOptions& options = {});

/// Writes a volume as one Enhanced CT Image Storage file (or Legacy Converted Enhanced CT). Of the options, names and
/// copies do not apply; `change` may alter position, orientation, rescale, kernel and kVp of a frame, or skip it.
void write_enhanced_ct(const Volume<std::int16_t>& hu, const std::filesystem::path& file,
                       const CtSeriesOptions& options = {}, bool legacy_converted = false);

using leastharm::uid_from;

}  // namespace leastharm::phantom

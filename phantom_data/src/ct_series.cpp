#include "phantom_data/ct_series.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>

#include "ct_tags.h"
#include "dicom_dataset.h"
#include "imaging/error.h"

namespace leastharm::phantom {
namespace {

std::string file_name(int slice, int copy, bool shuffled) {
  // A multiplier prime to the modulus visits every number once, in an order that says nothing.
  constexpr long kModulus = 1000003, kMultiplier = 386117;
  const long number = shuffled ? (slice + 1L) * kMultiplier % kModulus : slice;
  char name[48];
  if (copy == 0) std::snprintf(name, sizeof name, "IM%07ld.dcm", number);
  else std::snprintf(name, sizeof name, "IM%07ld_%d.dcm", number, copy);
  return name;
}

}  // namespace

SliceTags tags_of_slice(const Grid& grid, const CtSeriesOptions& options, int slice) {
  SliceTags tags;
  tags.position_lps_mm = grid.lps_from_index({0, 0, static_cast<double>(slice)});
  tags.row = grid.direction.col(0);
  tags.column = grid.direction.col(1);
  tags.slope = options.slope;
  tags.intercept = options.intercept;
  tags.kvp = options.kvp;
  tags.thickness_mm = options.thickness_mm > 0 ? options.thickness_mm : grid.spacing_mm.z();
  tags.kernel = options.kernel;
  tags.image_type = options.image_type;
  tags.rescale_type = options.rescale_type;
  tags.series_uid =
      options.series_uid.empty() ? uid_from(options.seed + "/series") : options.series_uid;
  tags.frame_of_reference_uid = options.frame_of_reference_uid.empty()
                                    ? uid_from(options.seed + "/frame of reference")
                                    : options.frame_of_reference_uid;
  tags.instance_number = slice + 1;
  if (options.change) options.change(slice, tags);
  return tags;
}

std::vector<std::uint16_t> stored_values(const Volume<std::int16_t>& hu, int slice,
                                         const SliceTags& tags, const CtSeriesOptions& options) {
  const int low = options.is_signed ? -(1 << (options.bits_stored - 1)) : 0;
  const int high = low + (1 << options.bits_stored) - 1;
  const std::size_t count = hu.grid.voxel_count() / static_cast<std::size_t>(hu.grid.size[2]);
  std::vector<std::uint16_t> stored(count);
  const std::int16_t* from = hu.values.data() + hu.grid.offset(0, 0, slice);
  const auto mask = static_cast<std::uint16_t>((1 << options.bits_stored) - 1);
  std::transform(from, from + count, stored.begin(), [&](std::int16_t value) {
    const double exact = std::round((value - tags.intercept) / tags.slope);
    int number = static_cast<int>(std::clamp<double>(exact, low, high));
    if (value == kNoReadingHu && options.padding_value) number = *options.padding_value;
    return static_cast<std::uint16_t>(static_cast<std::uint16_t>(number) & mask);
  });
  return stored;
}

std::vector<std::filesystem::path> write_ct_series(const Volume<std::int16_t>& hu,
                                                   const std::filesystem::path& folder,
                                                   const CtSeriesOptions& options) {
  std::error_code error;
  std::filesystem::create_directories(folder, error);
  if (error) throw BadInput("cannot make the folder " + folder.string() + ": " + error.message());
  std::vector<std::filesystem::path> paths;
  for (int slice = 0; slice < hu.grid.size[2]; ++slice) {
    const SliceTags tags = tags_of_slice(hu.grid, options, slice);
    if (tags.skip) continue;
    const auto stored = stored_values(hu, slice, tags, options);
    for (int copy = 0; copy < tags.copies; ++copy) {
      paths.push_back(folder / file_name(slice, copy, options.shuffled_names));
      const std::string name = tags.series_uid + "/" + std::to_string(slice) + "/" + std::to_string(copy);
      gdcm::DataSet set = slice_data_set(hu.grid, tags, options, uid_from(options.seed + name));
      put_pixels(set, {stored}, hu.grid.size[0], hu.grid.size[1], options);
      write_file(set, paths.back(), options);
    }
  }
  return paths;
}

}  // namespace leastharm::phantom

#include "volume_image.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstring>
#include <fstream>
#include <memory>

#include "dicom_bytes.h"
#include "hu_limits.h"
#include "imaging/error.h"
#include "inflater.h"
#include "text_header.h"

namespace leastharm {
namespace {

constexpr std::size_t kBlock = 65536;   // voxels converted at a time

std::size_t bytes_of(ValueType type) {
  switch (type) {
    case ValueType::int8:
    case ValueType::uint8: return 1;
    case ValueType::int16:
    case ValueType::uint16: return 2;
    case ValueType::float64: return 8;
    default: return 4;
  }
}

/// A header may promise anything: no memory is asked for that the file cannot fill.
void check_length(const std::filesystem::path& path, const VolumeHeader& header) {
  const double voxels = static_cast<double>(header.size[0]) * static_cast<double>(header.size[1]) *
                        static_cast<double>(header.size[2]);
  const double needed = voxels * static_cast<double>(bytes_of(header.type));
  const double memory = static_cast<double>(sysconf(_SC_PHYS_PAGES)) * static_cast<double>(sysconf(_SC_PAGE_SIZE));
  if (2 * voxels > 0.8 * memory) refuse_file(path, "its header asks for more voxels than memory holds");
  const auto length = static_cast<double>(std::filesystem::file_size(header.data_file));
  constexpr double kMostGrowth = 1032;   // of a deflate stream (zlib's technical notes)
  const bool packed = header.packed || header.whole_file_packed;
  const double there = packed ? kMostGrowth * length : length - static_cast<double>(header.data_at);
  if (needed > there) refuse_file(path, "it is cut short, or its header names too many voxels; copy it again");
}

/// The nearest right-handed, orthonormal axes: files round, and every user relies on the exact property.
void settle_grid(const std::filesystem::path& path, VolumeHeader& header) {
  Grid& grid = header.grid;
  const Mat3 axes = header.lps_from_index.linear();
  for (int n = 0; n < 3; ++n) {
    grid.size[static_cast<std::size_t>(n)] = static_cast<int>(header.size[static_cast<std::size_t>(n)]);
    grid.spacing_mm[n] = axes.col(n).norm();
    if (!(grid.spacing_mm[n] >= 1e-3 && grid.spacing_mm[n] <= 100))
      refuse_file(path, "its voxel spacing is not between 0.001 and 100 mm; write it again with the scanner's spacing");
  }
  Mat3 unit = axes * grid.spacing_mm.cwiseInverse().asDiagonal();
  if (!((unit.transpose() * unit - Mat3::Identity()).cwiseAbs().maxCoeff() < 1e-3))
    refuse_file(path, "its axes are not at right angles; resample it onto a right-angled grid first");
  grid.origin_lps_mm = header.lps_from_index.translation();
  if (!(grid.origin_lps_mm.cwiseAbs().maxCoeff() < 1e5)) refuse_file(path, "its origin is no place within 100 m");
  header.flip_slices = unit.determinant() < 0;
  if (header.flip_slices) {
    grid.origin_lps_mm += axes.col(2) * (grid.size[2] - 1.0);
    header.findings.push_back({Level::note, "its slices ran the left-handed way; they are turned around"});
  }
  unit.col(0).normalize();
  unit.col(1) = (unit.col(1) - unit.col(0) * unit.col(0).dot(unit.col(1))).normalized();
  unit.col(2) = unit.col(0).cross(unit.col(1));
  grid.direction = unit.array() + 0.0;   // no negative zeros
  grid.origin_lps_mm = grid.origin_lps_mm.array() + 0.0;
}

/// The bytes of a file's voxels, unpacked on the way.
class VoxelBytes {
 public:
  explicit VoxelBytes(const VolumeHeader& header) : stream_(header.data_file, std::ios::binary) {
    if (!header.whole_file_packed) stream_.seekg(static_cast<std::streamoff>(header.data_at));
    if (!header.packed && !header.whole_file_packed) return;
    inflater_ = std::make_unique<Inflater>([this](void* to, std::size_t most) { return take(to, most); },
                                           Inflater::Wrapping::zlib_or_gzip);
    if (!header.whole_file_packed) return;
    std::vector<char> skipped(header.data_at);
    read(skipped.data(), skipped.size());
  }

  void read(char* to, std::size_t count) {
    const std::size_t got = inflater_ ? inflater_->read(to, count) : take(to, count);
    if (got < count) throw Unreadable("is cut short or damaged");
  }

 private:
  std::size_t take(void* to, std::size_t most) {
    stream_.read(static_cast<char*>(to), static_cast<std::streamsize>(most));
    return static_cast<std::size_t>(std::max<std::streamsize>(stream_.gcount(), 0));
  }

  std::ifstream stream_;
  std::unique_ptr<Inflater> inflater_;
};

template <typename Stored>
Stored value_in(const char* raw, bool big_endian) {
  std::array<char, sizeof(Stored)> bytes;
  std::memcpy(bytes.data(), raw, bytes.size());
  if (big_endian) std::reverse(bytes.begin(), bytes.end());
  return std::bit_cast<Stored>(bytes);
}

/// Block by block, so that memory holds the result and little else, and a file that lies about its length never makes
/// us fill memory that it cannot.
template <typename Stored, typename To, typename Convert>
void read_blocks(const VolumeHeader& header, std::vector<To>& values, const Convert& convert) {
  const std::size_t count = header.grid.voxel_count();
  values.reserve(count);
  VoxelBytes bytes(header);
  std::vector<char> block(kBlock * sizeof(Stored));
  while (values.size() < count) {
    const std::size_t voxels = std::min(kBlock, count - values.size());
    bytes.read(block.data(), voxels * sizeof(Stored));
    for (std::size_t n = 0; n < voxels; ++n)
      values.push_back(convert(value_in<Stored>(block.data() + n * sizeof(Stored), header.big_endian)));
  }
}

template <typename To, typename Convert>
void read_typed(const VolumeHeader& header, std::vector<To>& values, const Convert& convert) {
  switch (header.type) {
    case ValueType::int8: return read_blocks<std::int8_t>(header, values, convert);
    case ValueType::uint8: return read_blocks<std::uint8_t>(header, values, convert);
    case ValueType::int16: return read_blocks<std::int16_t>(header, values, convert);
    case ValueType::uint16: return read_blocks<std::uint16_t>(header, values, convert);
    case ValueType::int32: return read_blocks<std::int32_t>(header, values, convert);
    case ValueType::uint32: return read_blocks<std::uint32_t>(header, values, convert);
    case ValueType::float32: return read_blocks<float>(header, values, convert);
    case ValueType::float64: return read_blocks<double>(header, values, convert);
  }
}

template <typename To, typename Convert>
std::vector<To> read_values(const VolumeHeader& header, const Convert& convert) {
  std::vector<To> values;
  try {
    read_typed(header, values, convert);
  } catch (const Unreadable& error) {
    throw BadInput(header.data_file.string() + " " + error.what() + "; copy it again");
  } catch (const std::bad_alloc&) {
    refuse_file(header.data_file, "memory does not hold it");
  }
  if (!header.flip_slices) return values;
  const auto slice = static_cast<std::ptrdiff_t>(header.grid.offset(0, 0, 1));
  for (int k = 0; k < header.grid.size[2] / 2; ++k)
    std::swap_ranges(values.begin() + k * slice, values.begin() + (k + 1) * slice,
                     values.begin() + (header.grid.size[2] - 1 - k) * slice);
  return values;
}

enum class Format { none, nrrd, nifti, meta };

Format format_of(const std::filesystem::path& path) {
  const std::string name = lower_case(path.filename().string());
  if (name.ends_with(".nrrd") || name.ends_with(".nhdr")) return Format::nrrd;
  if (name.ends_with(".nii") || name.ends_with(".nii.gz")) return Format::nifti;
  if (name.ends_with(".mha") || name.ends_with(".mhd")) return Format::meta;
  return Format::none;
}

}  // namespace

bool is_volume_file_name(const std::filesystem::path& path) { return format_of(path) != Format::none; }

VolumeHeader read_volume_header(const std::filesystem::path& path) {
  VolumeHeader header = format_of(path) == Format::nrrd    ? read_nrrd_header(path)
                        : format_of(path) == Format::nifti ? read_nifti_header(path)
                                                           : read_meta_header(path);
  check_length(path, header);
  settle_grid(path, header);
  return header;
}

std::vector<std::int16_t> read_hu_values(const VolumeHeader& header) {
  if (bytes_of(header.type) == 1)
    refuse_file(header.data_file, "voxels of 8 bits hold no HU; write it with 16 bits or more a voxel");
  return read_values<std::int16_t>(header, [&](auto stored) {
    return hu_from(header.slope * static_cast<double>(stored) + header.intercept);
  });
}

std::vector<std::uint8_t> read_label_values(const VolumeHeader& header) {
  return read_values<std::uint8_t>(header, [&](auto stored) {
    const double value = header.slope * static_cast<double>(stored) + header.intercept;
    if (!(value >= 0 && value <= 255) || value != std::floor(value))
      refuse_file(header.data_file, "a label of " + std::to_string(value) + "; labels are whole numbers from 0 to 255");
    return static_cast<std::uint8_t>(value);
  });
}

}  // namespace leastharm

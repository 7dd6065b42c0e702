#include "imaging/volume_file.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <fstream>
#include <span>

#include "gzip.h"
#include "imaging/error.h"
#include "imaging/whole_file.h"
#include "nifti_writer.h"
#include "placement.h"
#include "seg_reader.h"
#include "volume_image.h"

namespace leastharm {
namespace {

constexpr const char* nrrd_type(std::uint8_t) { return "unsigned char"; }
constexpr const char* nrrd_type(std::int16_t) { return "short"; }

std::string number_text(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.17g", value + 0.0);   // no negative zero
  return text;
}

std::string vector_text(const Vec3& v) {
  return "(" + number_text(v.x()) + "," + number_text(v.y()) + "," + number_text(v.z()) + ")";
}

/// The NRRD header, version 4 (the first with a space origin), with standard fields only.
template <typename T>
std::string nrrd_header(const Grid& grid) {
  std::string text = "NRRD0004\ntype: ";
  text += nrrd_type(T{});
  text += "\ndimension: 3\nspace: left-posterior-superior\nsizes:";
  for (const int n : grid.size) text += " " + std::to_string(n);
  text += "\nspace directions:";
  for (int axis = 0; axis < 3; ++axis) text += " " + vector_text(grid.direction.col(axis) * grid.spacing_mm[axis]);
  text += "\nkinds: domain domain domain\nendian: little\nencoding: gzip\nspace origin: ";
  return text + vector_text(grid.origin_lps_mm) + "\n\n";
}

/// The MetaImage header: places in LPS, one axis a row of the matrix.
template <typename T>
std::string meta_header(const Grid& grid) {
  const auto numbers = [](const auto& values) {
    std::string text;
    for (const double value : values) text += " " + number_text(value);
    return text + "\n";
  };
  std::string text = "ObjectType = Image\nNDims = 3\nBinaryData = True\nBinaryDataByteOrderMSB = False\n"
                     "CompressedData = False\nTransformMatrix =" + numbers(grid.direction.reshaped()) +
                     "Offset =" + numbers(grid.origin_lps_mm) + "ElementSpacing =" + numbers(grid.spacing_mm) + "DimSize =";
  for (const int n : grid.size) text += " " + std::to_string(n);
  return text + "\nElementType = " + (sizeof(T) == 1 ? "MET_UCHAR" : "MET_SHORT") + "\nElementDataFile = LOCAL\n";
}

/// Writes a file piece by piece.
class Output {
 public:
  explicit Output(const std::filesystem::path& path) : path_(path), stream_(path, std::ios::binary) {}
  void take(const std::string& bytes) { take(bytes.data(), bytes.size()); }
  void take(const void* bytes, std::size_t count) {
    check(static_cast<bool>(stream_.write(static_cast<const char*>(bytes), static_cast<std::streamsize>(count))));
  }
  void close() {
    stream_.close();
    check(static_cast<bool>(stream_));
  }

 private:
  void check(bool fine) const {
    if (!fine)
      throw BadInput("cannot write into " + path_.parent_path().string() + ": no such folder, no permission, or a full disk");
  }
  std::filesystem::path path_;
  std::ofstream stream_;
};

template <typename T>
void write_as(const std::string& name, const Volume<T>& volume, const std::filesystem::path& path) {
  Output output(path);
  const auto take = [&](const std::string& bytes) { output.take(bytes); };
  const auto voxels = std::as_bytes(std::span(volume.values));
  constexpr auto content = sizeof(T) == 1 ? Content::runs : Content::anything;
  if (name.ends_with(".nrrd")) {
    output.take(nrrd_header<T>(volume.grid));
    gzip(content, {voxels}, take);
  } else if (name.ends_with(".nii.gz")) {
    const std::string header = nifti_header(volume.grid, sizeof(T));
    gzip(content, {std::as_bytes(std::span(header)), voxels}, take);
  } else {
    output.take(name.ends_with(".mha") ? meta_header<T>(volume.grid) : nifti_header(volume.grid, sizeof(T)));
    output.take(voxels.data(), voxels.size());
  }
  output.close();
}

template <typename T>
void write_volume(const Volume<T>& volume, const std::filesystem::path& path) {
  const std::string name = path.string();
  constexpr std::array kEndings{".nrrd", ".nii", ".nii.gz", ".mha"};
  if (std::none_of(kEndings.begin(), kEndings.end(), [&](const char* ending) { return name.ends_with(ending); }))
    throw BadInput(name + ": give a name that ends in .nrrd, .nii, .nii.gz or .mha");
  if (volume.values.empty() || volume.values.size() != volume.grid.voxel_count())
    throw BadInput(name + ": a volume without voxels is not written");
  write_whole(path, [&](const std::filesystem::path& beside) { write_as(name, volume, beside); });
}

void check_is_file(const std::filesystem::path& path) {
  std::error_code error;
  if (!std::filesystem::is_regular_file(path, error)) throw BadInput(path.string() + ": there is no such file");
}

}  // namespace

Volume<std::uint8_t> read_labels(const std::filesystem::path& path) {
  check_is_file(path);
  if (!is_volume_file_name(path)) throw BadInput(path.string() + ": give labels as NRRD, NIfTI or MetaImage");
  const VolumeHeader header = read_volume_header(path);
  return {header.grid, read_label_values(header)};
}

Volume<std::uint8_t> read_labels(const std::filesystem::path& path, const Grid& grid) {
  check_is_file(path);
  if (!is_volume_file_name(path)) return read_dicom_seg(path, grid, false);
  Volume<std::uint8_t> labels = read_labels(path);
  if (same_grid(labels.grid, grid)) return {grid, std::move(labels.values)};
  if (labels.grid.voxel_count() != grid.voxel_count())
    throw BadInput(path.string() + " lies on another grid than the CT: resample it onto the CT's grid (" +
                   std::to_string(grid.size[0]) + " x " + std::to_string(grid.size[1]) + " x " +
                   std::to_string(grid.size[2]) + " voxels)");
  Volume<std::uint8_t> onto{grid, std::vector<std::uint8_t>(grid.voxel_count())};
  lay_onto(labels, path, onto);
  return onto;
}

Mask read_mask(const std::filesystem::path& path, const Grid& grid) {
  const bool is_seg = !is_volume_file_name(path);
  if (is_seg) check_is_file(path);
  Mask mask = mask_from_labels(is_seg ? read_dicom_seg(path, grid, true) : read_labels(path, grid), grid);
  if (mask.empty()) throw BadInput(path.string() + ": no voxel in it is marked; give a mask with values above 0");
  return mask;
}

void write_labels(const Volume<std::uint8_t>& volume, const std::filesystem::path& path) {
  write_volume(volume, path);
}

void write_hu(const Volume<std::int16_t>& volume, const std::filesystem::path& path) {
  write_volume(volume, path);
}

}  // namespace leastharm

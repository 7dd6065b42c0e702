#include "imaging/volume_file.h"

#include <itkMetaImageIO.h>
#include <itkNiftiImageIO.h>

#include <algorithm>
#include <cstdio>
#include <fstream>
#include <span>

#include "gzip.h"
#include "imaging/error.h"
#include "imaging/whole_file.h"
#include "volume_image.h"

namespace leastharm {
namespace {

constexpr const char* nrrd_type(std::uint8_t) { return "unsigned char"; }
constexpr const char* nrrd_type(std::int16_t) { return "short"; }

std::string vector_text(const Vec3& v) {
  char text[96];
  const Vec3 plain = v.array() + 0.0;   // no negative zeros
  std::snprintf(text, sizeof text, "(%.17g,%.17g,%.17g)", plain.x(), plain.y(), plain.z());
  return text;
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

template <typename T>
void write_nrrd(const Volume<T>& volume, const std::filesystem::path& path) {
  std::ofstream stream(path, std::ios::binary);
  const auto take = [&](const std::string& bytes) {
    if (!stream.write(bytes.data(), static_cast<std::streamsize>(bytes.size())))
      throw BadInput("cannot write " + path.parent_path().string() + ": no such folder, no permission, or a full disk");
  };
  take(nrrd_header<T>(volume.grid));
  gzip(std::as_bytes(std::span(volume.values)), take);
  stream.close();
  if (!stream) throw BadInput("cannot write into " + path.parent_path().string() + ": the disk is full");
}

template <typename T>
void write_by_itk(itk::ImageIOBase& io, const Volume<T>& volume, const std::filesystem::path& path) {
  itk::Object::SetGlobalWarningDisplay(false);
  io.SetFileName(path.string());
  io.SetNumberOfDimensions(3);
  itk::ImageIORegion region(3);
  for (unsigned d = 0; d < 3; ++d) {
    io.SetDimensions(d, static_cast<itk::SizeValueType>(volume.grid.size[d]));
    region.SetSize(d, static_cast<itk::SizeValueType>(volume.grid.size[d]));
    io.SetSpacing(d, volume.grid.spacing_mm[d]);
    io.SetOrigin(d, volume.grid.origin_lps_mm[d]);
    const Vec3 axis = volume.grid.direction.col(d);
    io.SetDirection(d, std::vector<double>{axis.x(), axis.y(), axis.z()});
  }
  io.SetPixelType(itk::IOPixelEnum::SCALAR);
  io.SetComponentType(sizeof(T) == 1 ? itk::IOComponentEnum::UCHAR : itk::IOComponentEnum::SHORT);
  io.SetNumberOfComponents(1);
  io.SetUseCompression(!path.string().ends_with(".nii"));
  io.SetCompressionLevel(1);
  io.SetIORegion(region);
  try {
    io.Write(volume.values.data());
  } catch (const itk::ExceptionObject&) {
    throw BadInput("cannot write into " + path.parent_path().string() +
                   ": no such folder, no permission, or a full disk");
  }
}

template <typename T>
void write_volume(const Volume<T>& volume, const std::filesystem::path& path) {
  const std::string name = path.string();
  const bool nifti = name.ends_with(".nii") || name.ends_with(".nii.gz");
  if (!nifti && !name.ends_with(".nrrd") && !name.ends_with(".mha"))
    throw BadInput(name + ": give a name that ends in .nrrd, .nii, .nii.gz or .mha");
  if (volume.values.empty() || volume.values.size() != volume.grid.voxel_count())
    throw BadInput(name + ": a volume without voxels is not written");
  write_whole(path, [&](const std::filesystem::path& beside) {
    if (nifti) write_by_itk(*itk::NiftiImageIO::New(), volume, beside);
    else if (name.ends_with(".mha")) write_by_itk(*itk::MetaImageIO::New(), volume, beside);
    else write_nrrd(volume, beside);
  });
}

}  // namespace

Volume<std::uint8_t> read_labels(const std::filesystem::path& path) {
  if (!std::filesystem::is_regular_file(path)) throw BadInput(path.string() + ": there is no such file");
  if (!is_image_file_name(path))
    throw BadInput(path.string() + ": give labels as NRRD, NIfTI or MetaImage");
  const ImageHeader header = read_image_header(path);
  return {header.grid, read_image_labels(path, header)};
}

void write_labels(const Volume<std::uint8_t>& volume, const std::filesystem::path& path) {
  write_volume(volume, path);
}

void write_hu(const Volume<std::int16_t>& volume, const std::filesystem::path& path) {
  write_volume(volume, path);
}

}  // namespace leastharm

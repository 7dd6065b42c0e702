#include "volume_image.h"

#include <itkMetaImageIO.h>
#include <itkNiftiImageIO.h>
#include <itkNrrdImageIO.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <limits>
#include <sstream>

#include "imaging/error.h"
#include "nifti_header.h"

namespace leastharm {
namespace {

enum class Format { none, nrrd, nifti, meta };

Format format_of(const std::filesystem::path& path) {
  std::string name = path.filename().string();
  std::transform(name.begin(), name.end(), name.begin(), [](unsigned char c) { return std::tolower(c); });
  for (const char* ending : {".nrrd", ".nhdr"})
    if (name.ends_with(ending)) return Format::nrrd;
  for (const char* ending : {".nii", ".nii.gz"})
    if (name.ends_with(ending)) return Format::nifti;
  for (const char* ending : {".mha", ".mhd"})
    if (name.ends_with(ending)) return Format::meta;
  return Format::none;
}

itk::ImageIOBase::Pointer reader_of(const std::filesystem::path& path) {
  itk::Object::SetGlobalWarningDisplay(false);
  itk::ImageIOBase::Pointer io;
  switch (format_of(path)) {
    case Format::nrrd: io = itk::NrrdImageIO::New(); break;
    case Format::meta: io = itk::MetaImageIO::New(); break;
    default: io = itk::NiftiImageIO::New();
  }
  io->SetFileName(path.string());
  return io;
}

/// The first words of ITK's own explanation, without its source file and line.
std::string plain(const itk::ExceptionObject& error) {
  std::string text = error.GetDescription();
  if (const auto colon = text.find("): "); colon != std::string::npos) text = text.substr(colon + 3);
  std::replace(text.begin(), text.end(), '\n', ' ');
  return text.substr(0, 160);
}

[[noreturn]] void refuse(const std::filesystem::path& path, const std::string& why) {
  throw BadInput(path.string() + ": " + why);
}

std::string first_kilobytes(const std::filesystem::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::string text(32768, '\0');
  stream.read(text.data(), static_cast<std::streamsize>(text.size()));
  text.resize(static_cast<std::size_t>(stream.gcount()));
  return text;
}

/// The value of a "key: value" or "key = value" line of a text header; empty where there is none.
std::string text_field(const std::string& header, const std::string& key) {
  std::istringstream lines(header);
  for (std::string line; std::getline(lines, line) && !line.empty() && line != "\r";) {
    if (!line.starts_with(key)) continue;
    const auto start = line.find_first_not_of(" :=", key.size());
    if (start == std::string::npos) continue;
    return line.substr(start, line.find_last_not_of(" \r") + 1 - start);
  }
  return {};
}

bool is_compressed(const std::filesystem::path& path, const std::string& head) {
  switch (format_of(path)) {
    case Format::nrrd: return text_field(head, "encoding") != "raw";
    case Format::meta: return text_field(head, "CompressedData") == "True";
    default: return path.extension() == ".gz" || path.extension() == ".GZ";
  }
}

bool has_data_elsewhere(const std::filesystem::path& path, const std::string& head) {
  if (format_of(path) == Format::nrrd)
    return !text_field(head, "data file").empty() || !text_field(head, "datafile").empty();
  return format_of(path) == Format::meta && text_field(head, "ElementDataFile") != "LOCAL";
}

/// A header may promise anything: no memory is asked for that the file cannot fill.
void check_length(const std::filesystem::path& path, double voxel_bytes, const std::string& head) {
  const double memory = static_cast<double>(sysconf(_SC_PHYS_PAGES)) *
                        static_cast<double>(sysconf(_SC_PAGE_SIZE));
  if (voxel_bytes > memory) refuse(path, "the header asks for more voxels than memory holds");
  if (has_data_elsewhere(path, head)) return;
  const auto bytes = static_cast<double>(std::filesystem::file_size(path));
  constexpr double kDeflateLimit = 1032;   // zlib's technical notes: no stream expands further
  if (voxel_bytes > bytes * (is_compressed(path, head) ? kDeflateLimit : 1))
    refuse(path, "the file is cut short, or its header names too many voxels; copy it again");
}

void check_frame(const std::filesystem::path& path, const std::string& head,
                 std::vector<Finding>& findings) {
  if (format_of(path) == Format::nifti) {
    check_nifti_header(path, findings);
  } else if (format_of(path) == Format::nrrd) {
    const std::string space = text_field(head, "space:");
    const bool known = space.starts_with("left-posterior-sup") || space.starts_with("right-anterior-sup") ||
                       space.starts_with("left-anterior-sup") || space == "LPS" || space == "RAS" || space == "LAS";
    if (!known)
      refuse(path, "the header names no patient space, so left and right are unknown; add a line "
                   "\"space: left-posterior-superior\" (or the space that holds) to it");
    if (text_field(head, "space directions").empty() || text_field(head, "space origin").empty())
      refuse(path, "the header has no space directions or no space origin, so spacing and place are unknown");
  }
}

/// Column by column: ITK's direction has the axes as columns too.
Grid grid_of(const std::filesystem::path& path, const itk::ImageIOBase& io) {
  Grid grid;
  const unsigned dimensions = io.GetNumberOfDimensions();
  for (unsigned d = 3; d < dimensions; ++d)
    if (io.GetDimensions(d) != 1) refuse(path, "it has more than three dimensions; give one volume");
  if (dimensions < 3) refuse(path, "it is a flat image; give a volume");
  if (io.GetNumberOfComponents() != 1) refuse(path, "it has several values a voxel; give one in HU");
  for (unsigned d = 0; d < 3; ++d) {
    if (io.GetDimensions(d) < 1 || io.GetDimensions(d) > 65535)
      refuse(path, "a side of " + std::to_string(io.GetDimensions(d)) + " voxels");
    grid.size[d] = static_cast<int>(io.GetDimensions(d));
    grid.spacing_mm[d] = io.GetSpacing(d);
    grid.origin_lps_mm[d] = io.GetOrigin(d);
    for (unsigned row = 0; row < 3; ++row) grid.direction(row, d) = io.GetDirection(d)[row];
  }
  return grid;
}

void check_grid(const std::filesystem::path& path, const Grid& grid) {
  if (!grid.spacing_mm.allFinite() || (grid.spacing_mm.array() < 1e-3).any() ||
      (grid.spacing_mm.array() > 100).any())
    refuse(path, "the voxel spacing is not between 0.001 and 100 mm; write the file again with the "
                 "scanner's spacing");
  if (!grid.origin_lps_mm.allFinite() || grid.origin_lps_mm.cwiseAbs().maxCoeff() > 1e5)
    refuse(path, "the origin is no place within 100 m");
  const Mat3 square = grid.direction.transpose() * grid.direction;
  if (!((square - Mat3::Identity()).cwiseAbs().maxCoeff() < 1e-3))
    refuse(path, "the axes are not at right angles; resample it onto a right-angled grid first");
}

/// The nearest right-handed, orthonormal axes: files round, and every user relies on the exact property.
void settle_axes(ImageHeader& header) {
  Mat3& axes = header.grid.direction;
  header.flip_slices = axes.determinant() < 0;
  if (header.flip_slices) {
    header.grid.origin_lps_mm +=
        axes.col(2) * header.grid.spacing_mm.z() * (header.grid.size[2] - 1.0);
    axes.col(2) = -axes.col(2);
    header.findings.push_back({Level::note, "the slices ran the left-handed way; they are turned around"});
  }
  axes.col(0).normalize();
  axes.col(1) = (axes.col(1) - axes.col(0) * axes.col(0).dot(axes.col(1))).normalized();
  axes.col(2) = axes.col(0).cross(axes.col(1));
  axes = axes.array() + 0.0;   // no negative zeros
}

std::size_t bytes_a_voxel(const itk::ImageIOBase& io) { return io.GetComponentSize(); }

template <typename T>
void flip_slices(std::vector<T>& values, const Grid& grid) {
  const auto slice = static_cast<std::ptrdiff_t>(grid.offset(0, 0, 1));
  for (int k = 0; k < grid.size[2] / 2; ++k)
    std::swap_ranges(values.begin() + k * slice, values.begin() + (k + 1) * slice,
                     values.begin() + (grid.size[2] - 1 - k) * slice);
}

template <typename T>
std::vector<T> read_as_stored(const std::filesystem::path& path, const Grid& grid) {
  const auto io = reader_of(path);
  try {
    io->ReadImageInformation();
    itk::ImageIORegion region(io->GetNumberOfDimensions());
    for (unsigned d = 0; d < io->GetNumberOfDimensions(); ++d) region.SetSize(d, io->GetDimensions(d));
    io->SetIORegion(region);
    std::vector<T> values(grid.voxel_count());
    if (io->GetComponentSize() != sizeof(T)) refuse(path, "it changed while it was read");
    io->Read(values.data());
    return values;
  } catch (const itk::ExceptionObject& error) {
    refuse(path, "its voxels cannot be read (" + plain(error) + "); copy it again");
  } catch (const std::bad_alloc&) {
    refuse(path, "memory does not hold it");
  }
}

/// Reads the file in its own value type and passes every value through `convert`.
template <typename To, typename Stored, typename Convert>
std::vector<To> read_through(const std::filesystem::path& path, const ImageHeader& header, const Convert& convert) {
  std::vector<To> result;
  const std::vector<Stored> stored = read_as_stored<Stored>(path, header.grid);
  result.resize(stored.size());
  std::transform(stored.begin(), stored.end(), result.begin(), [&](Stored value) { return convert(value); });
  return result;
}

std::int16_t hu_from(double value) {
  if (!std::isfinite(value)) return kNoReadingHu;
  return static_cast<std::int16_t>(std::lround(std::clamp(value, -32767.0, 32767.0)));
}

}  // namespace

bool is_image_file_name(const std::filesystem::path& path) { return format_of(path) != Format::none; }

ImageHeader read_image_header(const std::filesystem::path& path) {
  ImageHeader header;
  const std::string head = first_kilobytes(path);
  if (head.empty()) refuse(path, "it is empty or cannot be read");
  try {
    check_frame(path, head, header.findings);
    const auto io = reader_of(path);
    if (!io->CanReadFile(path.c_str())) refuse(path, "its content is not what its ending says");
    io->ReadImageInformation();
    header.grid = grid_of(path, *io);
    check_grid(path, header.grid);
    header.value_type = itk::ImageIOBase::GetComponentTypeAsString(io->GetComponentType());
    const double voxels = static_cast<double>(header.grid.size[0]) * header.grid.size[1] * header.grid.size[2];
    check_length(path, voxels * static_cast<double>(bytes_a_voxel(*io)), head);
  } catch (const itk::ExceptionObject& error) {
    refuse(path, "its header cannot be read (" + plain(error) + ")");
  }
  settle_axes(header);
  return header;
}

std::vector<std::int16_t> read_image_hu(const std::filesystem::path& path, const ImageHeader& header) {
  std::vector<std::int16_t> hu;
  const auto read_with = [&]<typename Stored>(Stored) {
    return read_through<std::int16_t, Stored>(path, header, [](Stored v) { return hu_from(static_cast<double>(v)); });
  };
  const std::string& type = header.value_type;
  if (type == "short") hu = read_as_stored<std::int16_t>(path, header.grid);
  else if (type == "unsigned_short") hu = read_with(std::uint16_t{});
  else if (type == "int") hu = read_with(std::int32_t{});
  else if (type == "unsigned_int") hu = read_with(std::uint32_t{});
  else if (type == "float") hu = read_with(float{});
  else if (type == "double") hu = read_with(double{});
  else refuse(path, "voxels of type " + type + " cannot hold HU; write it with 16 bits or more a voxel");
  if (header.flip_slices) flip_slices(hu, header.grid);
  return hu;
}

std::vector<std::uint8_t> read_image_labels(const std::filesystem::path& path, const ImageHeader& header) {
  std::vector<std::uint8_t> labels;
  const auto read_with = [&]<typename Stored>(Stored) {
    return read_through<std::uint8_t, Stored>(path, header, [&](Stored v) {
      const auto value = static_cast<double>(v);
      if (!(value >= 0 && value <= 255) || value != std::floor(value))
        refuse(path, "a label of " + std::to_string(value) + "; labels are whole numbers from 0 to 255");
      return static_cast<std::uint8_t>(value);
    });
  };
  const std::string& type = header.value_type;
  if (type == "unsigned_char") labels = read_as_stored<std::uint8_t>(path, header.grid);
  else if (type == "char") labels = read_with(std::int8_t{});
  else if (type == "short") labels = read_with(std::int16_t{});
  else if (type == "unsigned_short") labels = read_with(std::uint16_t{});
  else if (type == "int") labels = read_with(std::int32_t{});
  else if (type == "unsigned_int") labels = read_with(std::uint32_t{});
  else if (type == "float") labels = read_with(float{});
  else if (type == "double") labels = read_with(double{});
  else refuse(path, "voxels of type " + type + " are no labels");
  if (header.flip_slices) flip_slices(labels, header.grid);
  return labels;
}

}  // namespace leastharm

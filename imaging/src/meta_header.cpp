#include <sstream>

#include "text_header.h"

namespace leastharm {
namespace {

using Fields = std::map<std::string, std::string>;

const std::map<std::string, ValueType> kTypes{
    {"MET_CHAR", ValueType::int8},    {"MET_UCHAR", ValueType::uint8},   {"MET_SHORT", ValueType::int16},
    {"MET_USHORT", ValueType::uint16}, {"MET_INT", ValueType::int32},    {"MET_UINT", ValueType::uint32},
    {"MET_FLOAT", ValueType::float32}, {"MET_DOUBLE", ValueType::float64}};

/// "Key = value" lines up to the one that names the voxels.
Fields read_fields(const std::string& bytes, std::uint64_t& end) {
  Fields fields;
  std::istringstream lines(bytes);
  for (std::string line; std::getline(lines, line);) {
    const auto equals = line.find('=');
    if (equals == std::string::npos) continue;
    const std::string key = trimmed_text(line.substr(0, equals));
    fields[key] = trimmed_text(line.substr(equals + 1));
    if (key != "ElementDataFile") continue;
    end = lines.eof() ? bytes.size() : static_cast<std::uint64_t>(lines.tellg());
    break;
  }
  return fields;
}

/// The value of the first of several keys that mean the same.
std::string field(const Fields& fields, std::initializer_list<const char*> names) {
  for (const char* name : names)
    if (const auto found = fields.find(name); found != fields.end()) return found->second;
  return {};
}

bool is_true(const std::string& text) { return lower_case(text) == "true" || text == "1"; }

/// MetaImage places are LPS; each row of its matrix is one axis.
Eigen::Affine3d place(const std::filesystem::path& path, const Fields& fields) {
  const auto axes = numbers_in(field(fields, {"TransformMatrix", "Rotation", "Orientation"}));
  const auto origin = numbers_in(field(fields, {"Offset", "Position", "Origin"}));
  const auto spacing = numbers_in(field(fields, {"ElementSpacing"}));
  if (axes.size() != 9 || origin.size() != 3 || spacing.size() != 3)
    refuse_file(path, "its TransformMatrix, Offset or ElementSpacing is missing, so left, right and place are unknown");
  Eigen::Affine3d place = Eigen::Affine3d::Identity();
  for (std::size_t axis = 0; axis < 3; ++axis)
    for (std::size_t n = 0; n < 3; ++n)
      place(static_cast<int>(n), static_cast<int>(axis)) = axes[3 * axis + n] * spacing[axis];
  place.translation() = Vec3(origin[0], origin[1], origin[2]);
  return place;
}

}  // namespace

VolumeHeader read_meta_header(const std::filesystem::path& path) {
  const std::string bytes = first_bytes(path);
  VolumeHeader header;
  const Fields fields = read_fields(bytes, header.data_at);
  const std::string data = field(fields, {"ElementDataFile"});
  if (data.empty()) refuse_file(path, "its content is not MetaImage, or it is cut short");
  if (const std::string channels = field(fields, {"ElementNumberOfChannels"}); !channels.empty() && channels != "1")
    refuse_file(path, "it has several values a voxel; give one in HU");
  if (const std::string binary = field(fields, {"BinaryData"}); !binary.empty() && !is_true(binary))
    refuse_file(path, "its voxels are written as text, which is not read here");
  if (const std::string skip = field(fields, {"HeaderSize"}); !skip.empty() && skip != "0")
    refuse_file(path, "it skips a header of its data file, which is not read here");
  header.type = value_type(path, kTypes, field(fields, {"ElementType"}));
  header.size = three_sizes(path, numbers_in(field(fields, {"DimSize"})));
  header.lps_from_index = place(path, fields);
  header.big_endian = is_true(field(fields, {"BinaryDataByteOrderMSB", "ElementByteOrderMSB"}));
  header.packed = is_true(field(fields, {"CompressedData"}));
  header.data_file = path;
  if (lower_case(data) != "local") {
    header.data_file = data_file_beside(path, data);
    header.data_at = 0;
  }
  return header;
}

}  // namespace leastharm

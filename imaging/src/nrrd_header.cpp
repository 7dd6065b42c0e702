#include <sstream>

#include "text_header.h"

namespace leastharm {
namespace {

using Fields = std::map<std::string, std::string>;

/// Type names of the NRRD format, section 5.
const std::map<std::string, ValueType> kTypes{
    {"signed char", ValueType::int8},     {"int8", ValueType::int8},          {"int8_t", ValueType::int8},
    {"uchar", ValueType::uint8},          {"unsigned char", ValueType::uint8}, {"uint8", ValueType::uint8},
    {"uint8_t", ValueType::uint8},        {"short", ValueType::int16},        {"short int", ValueType::int16},
    {"signed short", ValueType::int16},   {"signed short int", ValueType::int16}, {"int16", ValueType::int16},
    {"int16_t", ValueType::int16},        {"ushort", ValueType::uint16},      {"unsigned short", ValueType::uint16},
    {"unsigned short int", ValueType::uint16}, {"uint16", ValueType::uint16}, {"uint16_t", ValueType::uint16},
    {"int", ValueType::int32},            {"signed int", ValueType::int32},   {"int32", ValueType::int32},
    {"int32_t", ValueType::int32},        {"uint", ValueType::uint32},        {"unsigned int", ValueType::uint32},
    {"uint32", ValueType::uint32},        {"uint32_t", ValueType::uint32},    {"float", ValueType::float32},
    {"double", ValueType::float64}};

/// "field: value" lines up to the blank line; comments and key:=value pairs are passed over.
Fields read_fields(const std::string& bytes, std::uint64_t& end) {
  Fields fields;
  std::istringstream lines(bytes);
  std::string line;
  std::getline(lines, line);   // the magic
  end = bytes.size();
  while (std::getline(lines, line)) {
    if (trimmed_text(line).empty()) {
      end = static_cast<std::uint64_t>(lines.tellg());
      break;
    }
    const auto colon = line.find(": ");
    if (line[0] == '#' || colon == std::string::npos) continue;
    fields[lower_case(line.substr(0, colon))] = trimmed_text(line.substr(colon + 2));
  }
  return fields;
}

std::string field(const Fields& fields, const std::string& name, const std::string& other = "") {
  auto found = fields.find(name);
  if (found == fields.end()) found = fields.find(other);
  return found == fields.end() ? "" : found->second;
}

/// LPS is the frame of the program; what the file's frame turns against it.
Vec3 lps_signs(const std::filesystem::path& path, const std::string& space) {
  if (space == "left-posterior-superior" || space == "lps") return {1, 1, 1};
  if (space == "right-anterior-superior" || space == "ras") return {-1, -1, 1};
  if (space == "left-anterior-superior" || space == "las") return {1, -1, 1};
  refuse_file(path, "its header names no patient space, so left and right are unknown; add the line \"space: "
                    "left-posterior-superior\" (or the one that holds)");
}

Eigen::Affine3d place(const std::filesystem::path& path, const Fields& fields) {
  const Vec3 signs = lps_signs(path, lower_case(field(fields, "space")));
  const auto axes = numbers_in(field(fields, "space directions"));
  const auto origin = numbers_in(field(fields, "space origin"));
  if (axes.size() != 9 || origin.size() != 3)
    refuse_file(path, "its space directions or its space origin are missing, so spacing and place are unknown");
  const std::string units = field(fields, "space units");
  if (!units.empty() && units.find("mm") == std::string::npos && units.find("milli") == std::string::npos)
    refuse_file(path, "its space units are not mm");
  Eigen::Affine3d place = Eigen::Affine3d::Identity();
  for (int axis = 0; axis < 3; ++axis)
    for (int n = 0; n < 3; ++n) place(n, axis) = signs[n] * axes[static_cast<std::size_t>(3 * axis + n)];
  place.translation() = signs.cwiseProduct(Vec3(origin[0], origin[1], origin[2]));
  return place;
}

}  // namespace

VolumeHeader read_nrrd_header(const std::filesystem::path& path) {
  const std::string bytes = first_bytes(path);
  if (!bytes.starts_with("NRRD000")) refuse_file(path, "its content is not NRRD");
  VolumeHeader header;
  const Fields fields = read_fields(bytes, header.data_at);
  header.type = value_type(path, kTypes, lower_case(field(fields, "type")));
  header.size = three_sizes(path, numbers_in(field(fields, "sizes")));
  header.lps_from_index = place(path, fields);
  header.big_endian = lower_case(field(fields, "endian")) == "big";
  const std::string encoding = lower_case(field(fields, "encoding"));
  header.packed = encoding == "gzip" || encoding == "gz";
  if (!header.packed && encoding != "raw")
    refuse_file(path, "its encoding \"" + encoding.substr(0, 20) + "\" is not read here; write it raw or gzip");
  for (const char* skip : {"line skip", "byte skip", "lineskip", "byteskip"})
    if (const std::string value = field(fields, skip); !value.empty() && value != "0")
      refuse_file(path, "it skips lines or bytes, which is not read here; write it as one file");
  header.data_file = path;
  if (const std::string name = field(fields, "data file", "datafile"); !name.empty()) {
    header.data_file = data_file_beside(path, name);
    header.data_at = 0;
  }
  return header;
}

}  // namespace leastharm

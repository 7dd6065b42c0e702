#include <algorithm>
#include <array>

#include "dicom_elements.h"
#include "imaging/error.h"
#include "imaging/hash.h"
#include "imaging/seg_file.h"
#include "imaging/whole_file.h"

namespace leastharm {
namespace {

using gdcm::DataSet;
using gdcm::VR;

/// One segment's pixels in one plane.
struct Plane {
  std::size_t segment = 0;
  int k = 0;
};

std::vector<Plane> planes_of(const std::vector<NamedMask>& segments) {
  std::vector<Plane> planes;
  for (std::size_t s = 0; s < segments.size(); ++s) {
    const Mask& mask = segments[s].mask;
    const std::ptrdiff_t size = std::ptrdiff_t{mask.box[0]} * mask.box[1];
    for (int k = 0; k < mask.box[2]; ++k) {
      const auto first = mask.inside.begin() + k * size;
      if (std::any_of(first, first + size, [](auto v) { return v != 0; })) planes.push_back({s, mask.corner.k + k});
    }
  }
  if (planes.empty()) throw BadInput("there is no voxel to write into a DICOM segmentation");
  return planes;
}

/// Bits follow each other from frame to frame, the lowest of a byte first (PS3.5, 8.1.1).
std::string pixels(const std::vector<NamedMask>& segments, const std::vector<Plane>& planes) {
  const Grid& grid = segments.front().mask.grid;
  const std::size_t size = grid.offset(0, 0, 1);
  std::string bytes((planes.size() * size + 15) / 16 * 2, '\0');
  for (std::size_t n = 0; n < planes.size(); ++n) {
    const Mask& mask = segments[planes[n].segment].mask;
    for (int j = mask.corner.j; j < mask.corner.j + mask.box[1]; ++j)
      for (int i = mask.corner.i; i < mask.corner.i + mask.box[0]; ++i) {
        if (!mask.contains({i, j, planes[n].k})) continue;
        const std::size_t bit = n * size + grid.offset(i, j, 0);
        bytes[bit / 8] = static_cast<char>(bytes[bit / 8] | 1 << bit % 8);
      }
  }
  return bytes;
}

void put_identity(DataSet& set, const SegFacts& facts, const std::string& uid, const std::string& frame_of_reference) {
  std::string date = facts.time.substr(0, 10), time = facts.time.size() > 18 ? facts.time.substr(11, 8) : "";
  std::erase(date, '-');
  std::erase(time, ':');
  put(set, 0x0008, 0x0005, VR::CS, "ISO_IR 192");
  put(set, 0x0008, 0x0008, VR::CS, "DERIVED\\PRIMARY");
  put(set, 0x0008, 0x0016, VR::UI, "1.2.840.10008.5.1.4.1.1.66.4");
  put(set, 0x0008, 0x0018, VR::UI, uid_from(uid));
  for (const auto element : std::to_array<std::uint16_t>({0x20, 0x21, 0x23})) put(set, 0x0008, element, VR::DA, date);
  for (const auto element : std::to_array<std::uint16_t>({0x30, 0x31, 0x33})) put(set, 0x0008, element, VR::TM, time);
  put(set, 0x0008, 0x0050, VR::SH, "");
  put(set, 0x0008, 0x0060, VR::CS, "SEG");
  put(set, 0x0008, 0x0070, VR::LO, "Leastharm");
  put(set, 0x0008, 0x0090, VR::PN, "");
  put(set, 0x0008, 0x1090, VR::LO, "leastharm");
  put(set, 0x0010, 0x0010, VR::PN, facts.object_id);
  put(set, 0x0010, 0x0020, VR::LO, facts.object_id);
  put(set, 0x0010, 0x0030, VR::DA, "");
  put(set, 0x0010, 0x0040, VR::CS, "O");
  put(set, 0x0018, 0x1000, VR::LO, "none");
  put(set, 0x0018, 0x1020, VR::LO, facts.software_version);
  put(set, 0x0020, 0x000d, VR::UI, uid_from(frame_of_reference + "/study of segmentations"));
  put(set, 0x0020, 0x000e, VR::UI, uid_from(uid + "/series"));
  put(set, 0x0020, 0x0010, VR::SH, "1");
  put(set, 0x0020, 0x0011, VR::IS, "1");
  put(set, 0x0020, 0x0013, VR::IS, "1");
  put(set, 0x0020, 0x0052, VR::UI, frame_of_reference);
  put(set, 0x0020, 0x1040, VR::LO, "");
  put(set, 0x0070, 0x0080, VR::CS, facts.label);
  put(set, 0x0070, 0x0081, VR::LO, "");
  put(set, 0x0070, 0x0084, VR::PN, "");
}

void put_image(DataSet& set, const Grid& grid, std::size_t frames) {
  put_us(set, 0x0028, 0x0002, 1);
  put(set, 0x0028, 0x0004, VR::CS, "MONOCHROME2");
  put(set, 0x0028, 0x0008, VR::IS, std::to_string(frames));
  put_us(set, 0x0028, 0x0010, static_cast<std::uint16_t>(grid.size[1]));
  put_us(set, 0x0028, 0x0011, static_cast<std::uint16_t>(grid.size[0]));
  put_us(set, 0x0028, 0x0100, 1);
  put_us(set, 0x0028, 0x0101, 1);
  put_us(set, 0x0028, 0x0102, 0);
  put_us(set, 0x0028, 0x0103, 0);
  put(set, 0x0028, 0x2110, VR::CS, "00");
  put(set, 0x0062, 0x0001, VR::CS, "BINARY");
}

DataSet segment_item(std::size_t number, const std::string& name, const SegFacts& facts) {
  DataSet item;
  put_us(item, 0x0062, 0x0004, static_cast<std::uint16_t>(number));
  put(item, 0x0062, 0x0005, VR::LO, name);
  put(item, 0x0062, 0x0008, VR::CS, facts.drawn ? "MANUAL" : "SEMIAUTOMATIC");
  if (!facts.drawn) put(item, 0x0062, 0x0009, VR::LO, "leastharm " + facts.software_version);
  // SNOMED CT, in DICOM's list of what a segment can be (PS3.16, CID 7150).
  put_code(item, 0x0062, 0x0003, "260787004", "SCT", "Physical object");
  put_code(item, 0x0062, 0x000f, "260787004", "SCT", "Physical object");
  return item;
}

/// Frames are ordered by segment, then by place (PS3.3, C.7.6.17).
void put_order(DataSet& set, const std::string& uid) {
  DataSet organisation;
  put(organisation, 0x0020, 0x9164, VR::UI, uid);
  put_item(set, 0x0020, 0x9221, organisation);
  const auto index = [&](std::uint32_t element, std::uint32_t group) {
    DataSet item;
    put(item, 0x0020, 0x9164, VR::UI, uid);
    put_tag(item, 0x0020, 0x9165, element);
    put_tag(item, 0x0020, 0x9167, group);
    return item;
  };
  put_items(set, 0x0020, 0x9222, {index(0x0062000b, 0x0062000a), index(0x00200032, 0x00209113)});
}

DataSet shared_groups(const Grid& grid) {
  DataSet group, measures, orientation;
  const Vec3 r = grid.direction.col(0), c = grid.direction.col(1);
  put(measures, 0x0018, 0x0050, VR::DS, decimal_string(grid.spacing_mm.z()));
  put(measures, 0x0018, 0x0088, VR::DS, decimal_string(grid.spacing_mm.z()));
  put(measures, 0x0028, 0x0030, VR::DS, decimal_strings(std::array{grid.spacing_mm.y(), grid.spacing_mm.x()}));
  put_item(group, 0x0028, 0x9110, measures);
  put(orientation, 0x0020, 0x0037, VR::DS, decimal_strings(std::array{r.x(), r.y(), r.z(), c.x(), c.y(), c.z()}));
  put_item(group, 0x0020, 0x9116, orientation);
  return group;
}

DataSet frame_groups(const Grid& grid, const Plane& plane) {
  DataSet group, content, position, identification;
  const auto number = static_cast<std::uint16_t>(plane.segment + 1);
  put_ul(content, 0x0020, 0x9157, {number, static_cast<std::uint32_t>(plane.k + 1)});
  put_item(group, 0x0020, 0x9111, content);
  const Vec3 p = grid.lps_from_index({0, 0, static_cast<double>(plane.k)});
  put(position, 0x0020, 0x0032, VR::DS, decimal_strings(std::array{p.x(), p.y(), p.z()}));
  put_item(group, 0x0020, 0x9113, position);
  put_us(identification, 0x0062, 0x000b, number);
  put_item(group, 0x0062, 0x000a, identification);
  return group;
}

}  // namespace

void write_dicom_seg(const std::vector<NamedMask>& segments, const SegFacts& facts, const std::filesystem::path& path) {
  const std::vector<Plane> planes = planes_of(segments);
  const Grid& grid = segments.front().mask.grid;
  std::string bits = pixels(segments, planes);
  const std::string made_from = sha256_hex(bits) + facts.object_id + facts.label + facts.time;
  const std::string frame_of_reference =
      facts.frame_of_reference_uid.empty() ? uid_from(made_from + "/frame of reference") : facts.frame_of_reference_uid;
  DataSet set;
  put_identity(set, facts, made_from, frame_of_reference);
  put_image(set, grid, planes.size());
  put_order(set, uid_from(made_from + "/order"));
  std::vector<DataSet> items, groups;
  for (const NamedMask& segment : segments) items.push_back(segment_item(items.size() + 1, segment.name, facts));
  for (const Plane& plane : planes) groups.push_back(frame_groups(grid, plane));
  put_items(set, 0x0062, 0x0002, items);
  put_item(set, 0x5200, 0x9229, shared_groups(grid));
  put_items(set, 0x5200, 0x9230, groups);
  put(set, 0x7fe0, 0x0010, VR::OB, std::move(bits));
  write_whole(path, [&](const std::filesystem::path& beside) {
    write_dicom(set, gdcm::TransferSyntax::ExplicitVRLittleEndian, beside);
  });
}

}  // namespace leastharm

#include <array>

#include "ct_tags.h"
#include "dicom_dataset.h"
#include "phantom_data/ct_series.h"

namespace leastharm::phantom {
namespace {

using gdcm::DataSet;
using gdcm::VR;

constexpr const char* kEnhancedCt = "1.2.840.10008.5.1.4.1.1.2.1";
constexpr const char* kLegacyConvertedCt = "1.2.840.10008.5.1.4.1.1.2.2";
constexpr const char* kFrameType = "DERIVED\\PRIMARY\\VOLUME\\NONE";

/// Which functional group orders the frames: the plane's position (PS3.3, C.7.6.17).
void put_dimensions(DataSet& set, const CtSeriesOptions& options) {
  const std::string uid = uid_from(options.seed + "/dimensions");
  DataSet organisation, index;
  put(organisation, 0x0020, 0x9164, VR::UI, uid);
  put_item(set, 0x0020, 0x9221, organisation);
  put(index, 0x0020, 0x9164, VR::UI, uid);
  put_tag(index, 0x0020, 0x9165, 0x00200032);
  put_tag(index, 0x0020, 0x9167, 0x00209113);
  put_item(set, 0x0020, 0x9222, index);
}

void put_acquisition(DataSet& group, const Grid& grid, const SliceTags& tags, bool legacy) {
  if (legacy) {
    DataSet rest;   // what the classic files said and no macro holds (PS3.3, C.7.6.16.2.25)
    put(rest, 0x0018, 0x0060, VR::DS, decimal_string(tags.kvp));
    put(rest, 0x0018, 0x1210, VR::SH, tags.kernel);
    put_item(group, 0x0020, 0x9171, rest);
    return;
  }
  DataSet reconstruction, rays;
  put(reconstruction, 0x0018, 0x1100, VR::DS, "500");
  put(reconstruction, 0x0018, 0x1210, VR::SH, tags.kernel);
  put(reconstruction, 0x0018, 0x9315, VR::CS, "FILTER_BACK_PROJ");
  put(reconstruction, 0x0018, 0x9316, VR::CS, "BODY");
  put_fd(reconstruction, 0x0018, 0x9319, {360});
  put(reconstruction, 0x0018, 0x9320, VR::SH, "NONE");
  put_fd(reconstruction, 0x0018, 0x9322, {grid.spacing_mm.y(), grid.spacing_mm.x()});
  put_item(group, 0x0018, 0x9314, reconstruction);
  put(rays, 0x0018, 0x0060, VR::DS, decimal_string(tags.kvp));
  put(rays, 0x0018, 0x1190, VR::DS, "1");
  put(rays, 0x0018, 0x1160, VR::SH, "NONE");
  put(rays, 0x0018, 0x7050, VR::CS, "ALUMINUM");
  put_item(group, 0x0018, 0x9325, rays);
}

/// What one frame says of itself.
DataSet frame_groups(const Grid& grid, const SliceTags& tags, int number, bool legacy) {
  DataSet group, content, position, orientation, values;
  put(content, 0x0020, 0x9056, VR::SH, "1");
  put_ul(content, 0x0020, 0x9057, {static_cast<std::uint32_t>(number)});
  put_ul(content, 0x0020, 0x9157, {static_cast<std::uint32_t>(number)});
  put_item(group, 0x0020, 0x9111, content);
  const Vec3 &p = tags.position_lps_mm, &r = tags.row, &c = tags.column;
  put(position, 0x0020, 0x0032, VR::DS, decimal_strings(std::array{p.x(), p.y(), p.z()}));
  put_item(group, 0x0020, 0x9113, position);
  put(orientation, 0x0020, 0x0037, VR::DS, decimal_strings(std::array{r.x(), r.y(), r.z(), c.x(), c.y(), c.z()}));
  put_item(group, 0x0020, 0x9116, orientation);
  put(values, 0x0028, 0x1052, VR::DS, decimal_string(tags.intercept));
  put(values, 0x0028, 0x1053, VR::DS, decimal_string(tags.slope));
  put(values, 0x0028, 0x1054, VR::LO, tags.rescale_type);
  put_item(group, 0x0028, 0x9145, values);
  put_acquisition(group, grid, tags, legacy);
  return group;
}

/// What all frames share.
DataSet shared_groups(const Grid& grid, const SliceTags& tags, const std::string& event_uid) {
  DataSet group, measures, anatomy, type, event;
  put(measures, 0x0018, 0x0050, VR::DS, decimal_string(tags.thickness_mm));
  put(measures, 0x0028, 0x0030, VR::DS, decimal_strings(std::array{grid.spacing_mm.y(), grid.spacing_mm.x()}));
  put_item(group, 0x0028, 0x9110, measures);
  put_code(anatomy, 0x0008, 0x2218, "38266002", "SCT", "Entire body");
  put(anatomy, 0x0020, 0x9072, VR::CS, "U");
  put_item(group, 0x0020, 0x9071, anatomy);
  put(type, 0x0008, 0x9007, VR::CS, kFrameType);
  put(type, 0x0008, 0x9205, VR::CS, "MONOCHROME");
  put(type, 0x0008, 0x9206, VR::CS, "VOLUME");
  put(type, 0x0008, 0x9207, VR::CS, "NONE");
  put_item(group, 0x0018, 0x9329, type);
  put(event, 0x0008, 0x3010, VR::UI, event_uid);
  put_item(group, 0x0018, 0x9477, event);
  return group;
}

/// PS3.3, C.8.15.2 and C.7.6.16.
void put_enhanced_image(DataSet& set) {
  put(set, 0x0008, 0x0008, VR::CS, kFrameType);
  put(set, 0x0008, 0x002a, VR::DT, "20000101120000");
  put(set, 0x0008, 0x9205, VR::CS, "MONOCHROME");
  put(set, 0x0008, 0x9206, VR::CS, "VOLUME");
  put(set, 0x0008, 0x9207, VR::CS, "NONE");
  put(set, 0x0018, 0x9004, VR::CS, "RESEARCH");
  put_fd(set, 0x0018, 0x9073, {0});
  put_items(set, 0x0040, 0x0555, {});
  put(set, 0x0028, 0x0301, VR::CS, "NO");
  put(set, 0x0028, 0x2110, VR::CS, "00");
  put(set, 0x2050, 0x0020, VR::CS, "IDENTITY");
}

}  // namespace

void write_enhanced_ct(const Volume<std::int16_t>& hu, const std::filesystem::path& file,
                       const CtSeriesOptions& options, bool legacy_converted) {
  std::vector<std::vector<std::uint16_t>> frames;
  std::vector<DataSet> groups;
  SliceTags first;
  for (int slice = 0; slice < hu.grid.size[2]; ++slice) {
    const SliceTags tags = tags_of_slice(hu.grid, options, slice);
    if (tags.skip) continue;
    if (frames.empty()) first = tags;
    frames.push_back(stored_values(hu, slice, tags, options));
    groups.push_back(frame_groups(hu.grid, tags, static_cast<int>(frames.size()), legacy_converted));
  }
  first.instance_number = 1;
  DataSet set = common_data_set(first, options, legacy_converted ? kLegacyConvertedCt : kEnhancedCt,
                                uid_from(options.seed + "/enhanced"));
  put_enhanced_image(set);
  put_dimensions(set, options);
  put_pixel_format(set, hu.grid, options);
  put(set, 0x0028, 0x0008, VR::IS, std::to_string(frames.size()));
  put_item(set, 0x5200, 0x9229, shared_groups(hu.grid, first, uid_from(options.seed + "/irradiation")));
  put_items(set, 0x5200, 0x9230, groups);
  put_pixels(set, frames, hu.grid.size[0], hu.grid.size[1], options);
  write_file(set, file, options);
}

}  // namespace leastharm::phantom

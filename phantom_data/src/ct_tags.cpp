#include "ct_tags.h"

#include <array>

#include "dicom_dataset.h"

namespace leastharm::phantom {
namespace {

constexpr const char* kCtImage = "1.2.840.10008.5.1.4.1.1.2";
constexpr const char* kDate = "20000101";
constexpr const char* kTime = "120000";

}  // namespace

gdcm::DataSet common_data_set(const SliceTags& tags, const CtSeriesOptions& options,
                              const std::string& sop_class, const std::string& sop_instance) {
  using gdcm::VR;
  gdcm::DataSet set;
  put(set, 0x0008, 0x0008, VR::CS, tags.image_type);
  put(set, 0x0008, 0x0016, VR::UI, sop_class);
  put(set, 0x0008, 0x0018, VR::UI, sop_instance);
  for (const std::uint16_t date : std::to_array<std::uint16_t>({0x20, 0x21, 0x23}))
    put(set, 0x0008, date, VR::DA, kDate);
  for (const std::uint16_t time : std::to_array<std::uint16_t>({0x30, 0x31, 0x33}))
    put(set, 0x0008, time, VR::TM, kTime);
  put(set, 0x0008, 0x0050, VR::SH, "");
  put(set, 0x0008, 0x0060, VR::CS, "CT");
  put(set, 0x0008, 0x0070, VR::LO, "Invented");
  put(set, 0x0008, 0x0090, VR::PN, "INVENTED^REFERRER");
  put(set, 0x0008, 0x1090, VR::LO, "Invented scanner");
  put(set, 0x0010, 0x0010, VR::PN, "INVENTED^BODY");
  put(set, 0x0010, 0x0020, VR::LO, "INVENTED-1");
  put(set, 0x0010, 0x0030, VR::DA, "");
  put(set, 0x0010, 0x0040, VR::CS, "O");
  put(set, 0x0018, 0x0015, VR::CS, "WHOLEBODY");
  put(set, 0x0018, 0x1000, VR::LO, "1");
  put(set, 0x0018, 0x1020, VR::LO, "1");
  put(set, 0x0018, 0x5100, VR::CS, options.patient_position);
  put(set, 0x0020, 0x000d, VR::UI, uid_from(options.seed + "/study"));
  put(set, 0x0020, 0x000e, VR::UI, tags.series_uid);
  put(set, 0x0020, 0x0010, VR::SH, "1");
  put(set, 0x0020, 0x0011, VR::IS, std::to_string(options.series_number));
  put(set, 0x0020, 0x0013, VR::IS, std::to_string(tags.instance_number));
  put(set, 0x0020, 0x0052, VR::UI, tags.frame_of_reference_uid);
  put(set, 0x0020, 0x1040, VR::LO, "");
  return set;
}

void put_pixel_format(gdcm::DataSet& set, const Grid& grid, const CtSeriesOptions& options) {
  put_us(set, 0x0028, 0x0002, 1);
  put(set, 0x0028, 0x0004, gdcm::VR::CS, "MONOCHROME2");
  put_us(set, 0x0028, 0x0010, static_cast<std::uint16_t>(grid.size[1]));
  put_us(set, 0x0028, 0x0011, static_cast<std::uint16_t>(grid.size[0]));
  put_us(set, 0x0028, 0x0100, 16);
  put_us(set, 0x0028, 0x0101, static_cast<std::uint16_t>(options.bits_stored));
  put_us(set, 0x0028, 0x0102, static_cast<std::uint16_t>(options.bits_stored - 1));
  put_us(set, 0x0028, 0x0103, options.is_signed ? 1 : 0);
  if (!options.padding_value) return;
  if (options.is_signed) put_ss(set, 0x0028, 0x0120, static_cast<std::int16_t>(*options.padding_value));
  else put_us(set, 0x0028, 0x0120, static_cast<std::uint16_t>(*options.padding_value));
}

gdcm::DataSet slice_data_set(const Grid& grid, const SliceTags& tags,
                             const CtSeriesOptions& options, const std::string& sop_instance) {
  using gdcm::VR;
  gdcm::DataSet set = common_data_set(tags, options, kCtImage, sop_instance);
  put(set, 0x0008, 0x0022, VR::DA, kDate);
  put(set, 0x0008, 0x0032, VR::TM, kTime);
  put(set, 0x0018, 0x0050, VR::DS, decimal_string(tags.thickness_mm));
  put(set, 0x0018, 0x0060, VR::DS, decimal_string(tags.kvp));
  put(set, 0x0018, 0x1151, VR::IS, "200");
  put(set, 0x0018, 0x1152, VR::IS, "100");
  put(set, 0x0018, 0x1210, VR::SH, tags.kernel);
  put(set, 0x0020, 0x0012, VR::IS, std::to_string(tags.acquisition_number));
  const Vec3 &p = tags.position_lps_mm, &r = tags.row, &c = tags.column;
  put(set, 0x0020, 0x0032, VR::DS, decimal_strings(std::array{p.x(), p.y(), p.z()}));
  put(set, 0x0020, 0x0037, VR::DS,
      decimal_strings(std::array{r.x(), r.y(), r.z(), c.x(), c.y(), c.z()}));
  put_pixel_format(set, grid, options);
  // The first value is between rows, that is along a column (PS3.3, 10.7.1.3).
  put(set, 0x0028, 0x0030, VR::DS,
      decimal_strings(std::array{grid.spacing_mm.y(), grid.spacing_mm.x()}));
  put(set, 0x0028, 0x1052, VR::DS, decimal_string(tags.intercept));
  put(set, 0x0028, 0x1053, VR::DS, decimal_string(tags.slope));
  if (!tags.rescale_type.empty()) put(set, 0x0028, 0x1054, VR::LO, tags.rescale_type);
  return set;
}

}  // namespace leastharm::phantom

#include <zlib.h>

#include <cmath>
#include <cstring>
#include <memory>

#include "text_header.h"

namespace leastharm {
namespace {

constexpr std::size_t kHeaderBytes = 348;

/// The fields of a NIfTI-1 header (nifti1.h, the format's own definition).
class Header {
 public:
  explicit Header(const std::filesystem::path& path) {
    // zlib passes an uncompressed file through as it is.
    const std::unique_ptr<gzFile_s, int (*)(gzFile)> file(gzopen(path.c_str(), "rb"), gzclose);
    if (!file || gzread(file.get(), bytes_.data(), kHeaderBytes) != static_cast<int>(kHeaderBytes))
      refuse_file(path, "it is too short for NIfTI, or cannot be read");
    packed_ = gzdirect(file.get()) == 0;
    constexpr auto kSays = static_cast<std::int32_t>(kHeaderBytes);
    big_ = value<std::int32_t>(0) != kSays;
    if (value<std::int32_t>(0) != kSays || std::memcmp(bytes_.data() + 344, "n+1", 4) != 0)
      refuse_file(path, "its content is not NIfTI-1 in one file; convert it to that, NRRD or MetaImage");
  }

  template <typename T>
  [[nodiscard]] T value(std::size_t at) const {
    std::array<char, sizeof(T)> raw;
    for (std::size_t n = 0; n < sizeof(T); ++n) raw[n] = bytes_[at + (big_ ? sizeof(T) - 1 - n : n)];
    T result;
    std::memcpy(&result, raw.data(), sizeof result);
    return result;
  }
  [[nodiscard]] bool big_endian() const { return big_; }
  [[nodiscard]] bool packed() const { return packed_; }
  [[nodiscard]] int dimension(std::size_t n) const { return value<std::int16_t>(40 + 2 * n); }
  [[nodiscard]] double spacing(std::size_t n) const { return value<float>(80 + 4 * n); }
  [[nodiscard]] bool has_qform() const { return value<std::int16_t>(252) > 0; }
  [[nodiscard]] bool has_sform() const { return value<std::int16_t>(254) > 0; }
  [[nodiscard]] int length_unit() const { return bytes_[123] & 7; }

  /// Voxel index to the file's RAS place, by the quaternion.
  [[nodiscard]] Eigen::Affine3d qform() const {
    const double b = value<float>(256), c = value<float>(260), d = value<float>(264);
    const double a = std::sqrt(std::max(0.0, 1 - b * b - c * c - d * d));
    const double sign = value<float>(76) < 0 ? -1 : 1;
    Eigen::Affine3d place = Eigen::Affine3d::Identity();
    place.linear() = Eigen::Quaterniond(a, b, c, d).normalized().toRotationMatrix() *
                     Vec3(spacing(0), spacing(1), sign * spacing(2)).asDiagonal();
    place.translation() = Vec3(value<float>(268), value<float>(272), value<float>(276));
    return place;
  }
  [[nodiscard]] Eigen::Affine3d sform() const {
    Eigen::Affine3d place = Eigen::Affine3d::Identity();
    for (std::size_t n = 0; n < 12; ++n)
      place(static_cast<int>(n / 4), static_cast<int>(n % 4)) = value<float>(280 + 4 * n);
    return place;
  }

 private:
  std::array<char, kHeaderBytes> bytes_{};
  bool big_ = false, packed_ = false;
};

/// The farthest that a corner of the volume moves from one placing to the other.
double disagreement_mm(const Header& header) {
  double farthest = 0;
  for (int corner = 0; corner < 8; ++corner) {
    Vec3 index;
    for (int axis = 0; axis < 3; ++axis)
      index[axis] = (corner >> axis & 1) ? header.dimension(static_cast<std::size_t>(axis) + 1) - 1.0 : 0.0;
    const double moved = (header.qform() * index - header.sform() * index).norm();
    farthest = std::isfinite(moved) ? std::max(farthest, moved) : HUGE_VAL;
  }
  return farthest;
}

ValueType type_of(const std::filesystem::path& path, int code) {
  static const std::map<std::string, ValueType> kTypes{
      {"2", ValueType::uint8},    {"4", ValueType::int16},   {"8", ValueType::int32},   {"16", ValueType::float32},
      {"64", ValueType::float64}, {"256", ValueType::int8}, {"512", ValueType::uint16}, {"768", ValueType::uint32}};
  return value_type(path, kTypes, std::to_string(code));
}

Eigen::Affine3d place(const std::filesystem::path& path, const Header& header, std::vector<Finding>& findings) {
  if (!header.has_qform() && !header.has_sform())
    refuse_file(path, "neither its qform nor its sform is set, so left and right are unknown; write it again from the "
                      "DICOM files with its orientation");
  constexpr double kAgree_mm = 0.1;
  if (header.has_qform() && header.has_sform() && !(disagreement_mm(header) <= kAgree_mm))
    refuse_file(path, "its qform and sform disagree by " + std::to_string(disagreement_mm(header)) +
                          " mm; write it again with one of them");
  Eigen::Affine3d place = header.has_sform() ? header.sform() : header.qform();
  if (header.length_unit() == 0)
    findings.push_back({Level::note, "the file names no unit of length; its spacing is read as mm"});
  const double mm = header.length_unit() == 1 ? 1000 : header.length_unit() == 3 ? 0.001 : 1;
  // NIfTI places are RAS.
  return Eigen::Affine3d(Eigen::Scaling(-mm, -mm, mm)) * place;
}

}  // namespace

VolumeHeader read_nifti_header(const std::filesystem::path& path) {
  const Header raw(path);
  VolumeHeader header;
  header.data_file = path;
  header.whole_file_packed = raw.packed();
  header.big_endian = raw.big_endian();
  const double offset = raw.value<float>(108);
  header.data_at = offset >= kHeaderBytes && offset < 1e9 ? static_cast<std::uint64_t>(offset) : kHeaderBytes + 4;
  std::vector<double> sizes;
  for (std::size_t n = 1; n <= 7 && n <= static_cast<std::size_t>(std::max(raw.dimension(0), 0)); ++n)
    if (n <= 3 || raw.dimension(n) > 1) sizes.push_back(raw.dimension(n));
  header.size = three_sizes(path, sizes);
  header.type = type_of(path, raw.value<std::int16_t>(70));
  if (const double slope = raw.value<float>(112); slope != 0 && std::isfinite(slope)) {
    header.slope = slope;
    header.intercept = raw.value<float>(116);
  }
  header.lps_from_index = place(path, raw, header.findings);
  return header;
}

}  // namespace leastharm

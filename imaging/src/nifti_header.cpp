#include "nifti_header.h"

#include <zlib.h>

#include <Eigen/Geometry>
#include <array>
#include <cstdint>
#include <cstring>
#include <memory>
#include <string>

#include "imaging/error.h"
#include "imaging/grid.h"

namespace leastharm {
namespace {

constexpr std::size_t kHeaderBytes = 348;

/// The fields of a NIfTI-1 header that tell where the voxels lie (nifti1.h, the format's own definition).
class Header {
 public:
  explicit Header(const std::filesystem::path& path) {
    // zlib passes an uncompressed file through as it is.
    const std::unique_ptr<gzFile_s, int (*)(gzFile)> file(gzopen(path.c_str(), "rb"), gzclose);
    if (!file || gzread(file.get(), bytes_.data(), kHeaderBytes) != static_cast<int>(kHeaderBytes))
      throw BadInput(path.string() + ": it is too short for a NIfTI file, or cannot be read");
    swap_ = value<std::int32_t>(0) != static_cast<std::int32_t>(kHeaderBytes);
    if (value<std::int32_t>(0) != static_cast<std::int32_t>(kHeaderBytes))
      throw BadInput(path.string() + ": it is no NIfTI-1 file; convert it to NIfTI-1, NRRD or MetaImage");
  }

  template <typename T>
  [[nodiscard]] T value(std::size_t at) const {
    std::array<char, sizeof(T)> raw;
    for (std::size_t n = 0; n < sizeof(T); ++n) raw[n] = bytes_[at + (swap_ ? sizeof(T) - 1 - n : n)];
    T result;
    std::memcpy(&result, raw.data(), sizeof result);
    return result;
  }
  [[nodiscard]] int size(std::size_t axis) const { return value<std::int16_t>(42 + 2 * axis); }
  [[nodiscard]] float spacing(std::size_t axis) const { return value<float>(80 + 4 * axis); }
  [[nodiscard]] int qform_code() const { return value<std::int16_t>(252); }
  [[nodiscard]] int sform_code() const { return value<std::int16_t>(254); }
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
    for (std::size_t row = 0; row < 3; ++row)
      for (std::size_t column = 0; column < 4; ++column)
        place.matrix()(static_cast<int>(row), static_cast<int>(column)) =
            value<float>(280 + 16 * row + 4 * column);
    return place;
  }

 private:
  std::array<char, kHeaderBytes> bytes_{};
  bool swap_ = false;
};

/// The farthest that any corner of the volume moves from one placing to the other.
double distance_mm(const Header& header) {
  double farthest = 0;
  for (int corner = 0; corner < 8; ++corner) {
    Vec3 index;
    for (int axis = 0; axis < 3; ++axis)
      index[axis] = corner >> axis & 1 ? header.size(static_cast<std::size_t>(axis)) - 1.0 : 0.0;
    farthest = std::max(farthest, (header.qform() * index - header.sform() * index).norm());
  }
  return farthest;
}

}  // namespace

void check_nifti_header(const std::filesystem::path& path, std::vector<Finding>& findings) {
  const Header header(path);
  if (header.qform_code() <= 0 && header.sform_code() <= 0)
    throw BadInput(path.string() + ": neither qform nor sform is set, so left and right are unknown; write it again "
                                   "from the DICOM files with its orientation");
  constexpr double kAgree_mm = 0.1;
  if (header.qform_code() > 0 && header.sform_code() > 0 && !(distance_mm(header) <= kAgree_mm))
    throw BadInput(path.string() + ": its qform and sform disagree by " + std::to_string(distance_mm(header)) +
                   " mm; write it again with one of them");
  if (header.length_unit() == 0)
    findings.push_back({Level::note, "the file names no unit of length; its spacing is read as mm"});
}

}  // namespace leastharm

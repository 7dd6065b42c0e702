#include "placement.h"

#include "text_header.h"

namespace leastharm {

Placement::Placement(const Grid& from, const Grid& onto, const std::filesystem::path& path) {
  constexpr double kTolerance = 0.05;   // voxels: what rounding in a file amounts to
  const Vec3 origin = onto.index_from_lps(from.origin_lps_mm);
  Mat3 step;
  for (int axis = 0; axis < 3; ++axis)
    step.col(axis) = onto.index_from_lps(from.lps_from_index(Vec3::Unit(axis))) - origin;
  const Mat3 whole = step.array().round();
  const Vec3 last(from.size[0] - 1.0, from.size[1] - 1.0, from.size[2] - 1.0);
  const bool axis_to_axis = (whole.cwiseAbs().rowwise().sum().array() == 1).all() &&
                            (whole.cwiseAbs().colwise().sum().array() == 1).all();
  const bool fits = axis_to_axis && ((step - whole).cwiseAbs() * last).maxCoeff() < kTolerance &&
                    (origin.array() - origin.array().round()).abs().maxCoeff() < kTolerance &&
                    origin.cwiseAbs().maxCoeff() < 1e6;
  if (!fits) refuse_file(path, "its voxels are not those of the CT; resample it onto the CT's grid");
  first_ = origin.array().round().cast<int>();
  steps_ = whole.cast<int>();
}

void lay_onto(const Volume<std::uint8_t>& labels, const std::filesystem::path& path, Volume<std::uint8_t>& onto) {
  const Grid& from = labels.grid;
  const Placement placement(from, onto.grid, path);
  for (int k = 0; k < from.size[2]; ++k)
    for (int j = 0; j < from.size[1]; ++j)
      for (int i = 0; i < from.size[0]; ++i) {
        const std::uint8_t label = labels.values[from.offset(i, j, k)];
        if (label == 0) continue;
        const VoxelIndex voxel = placement.at(i, j, k);
        if (!onto.grid.contains(voxel)) refuse_file(path, "some of its labels lie outside the CT; resample it onto the CT's grid");
        std::uint8_t& there = onto.values[onto.grid.offset(voxel)];
        if (there != 0 && there != label) refuse_file(path, "some of its segments overlap; give one label a voxel");
        there = label;
      }
}

}  // namespace leastharm

#include "surface_file.h"

#include <vtkErrorCode.h>
#include <vtkFlyingEdges3D.h>
#include <vtkImageData.h>
#include <vtkMatrix4x4.h>
#include <vtkNew.h>
#include <vtkObject.h>
#include <vtkSTLWriter.h>
#include <vtkTransform.h>
#include <vtkTransformPolyDataFilter.h>

#include <algorithm>

#include "imaging/error.h"
#include "imaging/whole_file.h"

namespace leastharm {
namespace {

/// The mask's box with a rim of nothing, so that every surface is closed; in steps of voxels.
vtkSmartPointer<vtkImageData> padded_box(const Mask& mask) {
  auto image = vtkSmartPointer<vtkImageData>::New();
  image->SetDimensions(mask.box[0] + 2, mask.box[1] + 2, mask.box[2] + 2);
  image->AllocateScalars(VTK_UNSIGNED_CHAR, 1);
  auto* inside = static_cast<unsigned char*>(image->GetScalarPointer());
  std::fill_n(inside, image->GetNumberOfPoints(), static_cast<unsigned char>(0));
  const std::ptrdiff_t row = mask.box[0];
  auto from = mask.inside.begin();
  for (int k = 1; k <= mask.box[2]; ++k)
    for (int j = 1; j <= mask.box[1]; ++j, from += row)
      std::copy_n(from, row, static_cast<unsigned char*>(image->GetScalarPointer(1, j, k)));
  return image;
}

/// From the padded box's steps to LPS.
vtkSmartPointer<vtkTransform> to_lps(const Mask& mask) {
  const Grid& grid = mask.grid;
  const Vec3 origin = grid.lps_from_index({mask.corner.i - 1.0, mask.corner.j - 1.0, mask.corner.k - 1.0});
  vtkNew<vtkMatrix4x4> matrix;
  for (int row = 0; row < 3; ++row) {
    for (int axis = 0; axis < 3; ++axis) matrix->SetElement(row, axis, grid.direction(row, axis) * grid.spacing_mm[axis]);
    matrix->SetElement(row, 3, origin[row]);
  }
  auto transform = vtkSmartPointer<vtkTransform>::New();
  transform->SetMatrix(matrix);
  return transform;
}

}  // namespace

void write_surface(const Mask& mask, const std::filesystem::path& path) {
  if (mask.empty()) throw BadInput("there is no voxel whose surface could be written to " + path.string());
  vtkObject::GlobalWarningDisplayOff();
  vtkNew<vtkFlyingEdges3D> surface;
  surface->SetInputData(padded_box(mask));
  surface->SetValue(0, 0.5);
  surface->ComputeNormalsOff();
  surface->ComputeScalarsOff();
  vtkNew<vtkTransformPolyDataFilter> placed;
  placed->SetInputConnection(surface->GetOutputPort());
  placed->SetTransform(to_lps(mask));
  write_whole(path, [&](const std::filesystem::path& beside) {
    vtkNew<vtkSTLWriter> writer;
    writer->SetInputConnection(placed->GetOutputPort());
    writer->SetFileTypeToBinary();
    writer->SetFileName(beside.c_str());
    if (writer->Write() == 0 || writer->GetErrorCode() != vtkErrorCode::NoError)
      throw BadInput("cannot write " + path.string() + ": no such folder, no permission, or a full disk");
  });
}

}  // namespace leastharm

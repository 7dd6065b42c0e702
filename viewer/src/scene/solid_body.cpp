// From the material map to surfaces.
#include <vtkCellArray.h>
#include <vtkFlyingEdges3D.h>
#include <vtkImageData.h>
#include <vtkPolyDataNormals.h>
#include <vtkReverseSense.h>
#include <vtkTransform.h>
#include <vtkTransformPolyDataFilter.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "scene/solid_scene.h"
#include "scene/surface.h"

namespace leastharm {
namespace {

/// Blocks of voxels that a cell of the coarse grid holds.
struct CoarseGrid {
  std::array<int, 3> factor{1, 1, 1}, size{1, 1, 1};
  Mat3 step = Mat3::Identity();  ///< columns: LPS per cell
  Vec3 origin{0, 0, 0};  ///< centre of cell (0, 0, 0); one cell of nothing lies round the object

  CoarseGrid(const Grid& grid, double cell_mm) {
    Vec3 first = Vec3::Zero();
    for (std::size_t a = 0; a < 3; ++a) {
      const auto e = static_cast<Eigen::Index>(a);
      factor[a] = std::max(1, static_cast<int>(std::lround(cell_mm / grid.spacing_mm[e])));
      size[a] = (grid.size[a] + factor[a] - 1) / factor[a] + 2;
      step.col(e) = grid.direction.col(e) * grid.spacing_mm[e] * factor[a];
      first[e] = (factor[a] - 1) / 2.0 - factor[a];
    }
    origin = grid.lps_from_index(first);
  }
  [[nodiscard]] std::size_t count() const {
    return static_cast<std::size_t>(size[0]) * static_cast<std::size_t>(size[1]) *
           static_cast<std::size_t>(size[2]);
  }
};

/// Part of each cell that the wanted materials fill.
template <typename Wanted>
vtkSmartPointer<vtkImageData> shares(const Body& body, const CoarseGrid& coarse, Wanted wanted) {
  auto image = vtkSmartPointer<vtkImageData>::New();
  image->SetDimensions(coarse.size.data());
  image->AllocateScalars(VTK_FLOAT, 1);
  auto* share = static_cast<float*>(image->GetScalarPointer());
  std::fill_n(share, coarse.count(), 0.0f);
  const auto [fi, fj, fk] = coarse.factor;
  const float part = 1.0f / static_cast<float>(fi * fj * fk);
  std::size_t voxel = 0;
  for (int k = 0; k < body.grid.size[2]; ++k)
    for (int j = 0; j < body.grid.size[1]; ++j) {
      float* row =
          share +
          (static_cast<std::size_t>(k / fk + 1) * static_cast<std::size_t>(coarse.size[1]) +
           static_cast<std::size_t>(j / fj + 1)) *
              static_cast<std::size_t>(coarse.size[0]) +
          1;
      for (int i = 0; i < body.grid.size[0]; ++i, ++voxel)
        if (wanted(static_cast<Material>(body.materials[voxel]))) row[i / fi] += part;
    }
  return image;
}

/// The index space's surface brought into LPS; a grid whose axes are left-handed would turn it
/// inside out.
vtkSmartPointer<vtkPolyData> in_lps(vtkPolyData* surface, const CoarseGrid& coarse) {
  vtkNew<vtkTransform> transform;
  const std::array<double, 16> m{coarse.step(0, 0),
                                 coarse.step(0, 1),
                                 coarse.step(0, 2),
                                 coarse.origin.x(),
                                 coarse.step(1, 0),
                                 coarse.step(1, 1),
                                 coarse.step(1, 2),
                                 coarse.origin.y(),
                                 coarse.step(2, 0),
                                 coarse.step(2, 1),
                                 coarse.step(2, 2),
                                 coarse.origin.z(),
                                 0,
                                 0,
                                 0,
                                 1};
  transform->SetMatrix(m.data());
  vtkNew<vtkTransformPolyDataFilter> move;
  move->SetInputData(surface);
  move->SetTransform(transform);
  vtkNew<vtkReverseSense> reverse;
  reverse->SetInputConnection(move->GetOutputPort());
  const bool left_handed = coarse.step.determinant() < 0;
  reverse->SetReverseCells(left_handed);
  reverse->SetReverseNormals(left_handed);
  reverse->Update();
  return reverse->GetOutput();
}

template <typename Wanted>
SurfacePtr surface_of(const Body& body, const CoarseGrid& coarse, Wanted wanted) {
  vtkNew<vtkFlyingEdges3D> contour;
  contour->SetInputData(shares(body, coarse, wanted));
  contour->SetValue(0, 0.5);
  contour->ComputeNormalsOff();
  contour->ComputeGradientsOff();
  contour->ComputeScalarsOff();
  contour->Update();
  if (contour->GetOutput()->GetNumberOfCells() == 0) return nullptr;
  vtkNew<vtkPolyDataNormals> normals;
  normals->SetInputData(in_lps(contour->GetOutput(), coarse));
  normals->SplittingOff();
  normals->ConsistencyOff();
  normals->Update();
  auto surface = std::make_shared<Surface>();
  surface->mesh = normals->GetOutput();
  return surface;
}

}  // namespace

SolidBody make_solid_body(const Body& body, double cell_mm) {
  const CoarseGrid coarse(body.grid, cell_mm);
  SolidBody solid;
  solid.object = surface_of(
      body, coarse, [](Material m) { return m != Material::air && m != Material::support; });
  for (const Material material :
       {Material::body, Material::packing, Material::bone, Material::resin, Material::dense})
    solid.materials[static_cast<std::size_t>(material)] =
        surface_of(body, coarse, [material](Material m) { return m == material; });
  if (solid.object) {
    std::array<double, 6> box{};
    solid.object->mesh->GetBounds(box.data());
    solid.low_lps_mm = Vec3(box[0], box[2], box[4]);
    solid.high_lps_mm = Vec3(box[1], box[3], box[5]);
  }
  return solid;
}

SurfaceMeasure measure(const SurfacePtr& surface) {
  SurfaceMeasure m;
  if (!surface) return m;
  m.triangles = surface->mesh->GetNumberOfCells();
  // Signed volume by the divergence theorem, and its first moment.
  vtkNew<vtkIdList> corners;
  Vec3 moment = Vec3::Zero();
  vtkCellArray* triangles = surface->mesh->GetPolys();
  triangles->InitTraversal();
  while (triangles->GetNextCell(corners)) {
    std::array<Vec3, 3> p;
    for (int n = 0; n < 3; ++n)
      surface->mesh->GetPoint(corners->GetId(n), p[static_cast<std::size_t>(n)].data());
    const double sixfold = p[0].dot(p[1].cross(p[2]));
    m.volume_mm3 += sixfold / 6;
    moment += sixfold / 24 * (p[0] + p[1] + p[2]);
  }
  if (m.volume_mm3 != 0) m.centre_lps_mm = moment / m.volume_mm3;
  return m;
}

}  // namespace leastharm

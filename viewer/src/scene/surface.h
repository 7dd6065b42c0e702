#pragma once

#include <vtkPolyData.h>
#include <vtkSmartPointer.h>

namespace leastharm {

struct Surface {
  vtkSmartPointer<vtkPolyData> mesh;
};

}  // namespace leastharm

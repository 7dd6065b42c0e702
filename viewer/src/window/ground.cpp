#include "window/ground.h"

#include <algorithm>
#include <atomic>

#include "imaging/error.h"
#include "planner/crossing.h"
#include "planner/density.h"

namespace leastharm {
namespace {

/// The request without what the case cannot answer yet.
RequestFile bare(RequestFile file, const Body& body) {
  for (Request& request : file.requests) {
    if (!body.frame) request.sides = Sides::any;
    const Mark* mark = body.find_mark(request.cavity);
    if (mark == nullptr || mark->kind != MarkKind::cavity) request.cavity.clear();
  }
  return file;
}

void find_object_box(Ground& ground) {
  const Grid& grid = ground.body.grid;
  VoxelIndex& low = ground.object_low;
  VoxelIndex& high = ground.object_high;
  low = {grid.size[0], grid.size[1], grid.size[2]};
  high = {-1, -1, -1};
  std::size_t row = 0;
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j, row += static_cast<std::size_t>(grid.size[0])) {
      const auto line = ground.body.materials.subspan(row, static_cast<std::size_t>(grid.size[0]));
      const auto solid = [](std::uint8_t m) { return is_object(static_cast<Material>(m)); };
      const auto first = std::ranges::find_if(line, solid);
      if (first == line.end()) continue;
      int last = grid.size[0] - 1;
      while (!solid(line[static_cast<std::size_t>(last)])) --last;
      low = {std::min(low.i, static_cast<int>(first - line.begin())), std::min(low.j, j),
             std::min(low.k, k)};
      high = {std::max(high.i, last), std::max(high.j, j), std::max(high.k, k)};
    }
  if (high.i < 0) low = {}, high = {grid.size[0] - 1, grid.size[1] - 1, grid.size[2] - 1};
}

}  // namespace

Vec3 middle_of(const Ground& ground) {
  const VoxelIndex low = ground.object_low, high = ground.object_high;
  return ground.body.grid.lps_from_index(Vec3(low.i + high.i, low.j + high.j, low.k + high.k) / 2);
}

double half_length_mm(const Ground& ground, const Vec3& way) {
  const Grid& grid = ground.body.grid;
  const VoxelIndex low = ground.object_low, high = ground.object_high;
  const Vec3 half = Vec3(high.i - low.i + 1, high.j - low.j + 1, high.k - low.k + 1)
                        .cwiseProduct(grid.spacing_mm) /
                    2;
  return (grid.direction.transpose() * way).cwiseAbs().dot(half);
}

bool is_waived(const CaseFile& file, const MarkRecord& record) {
  return std::ranges::any_of(file.waivers, [&](const Waiver& w) {
    return w.mark == record.name && w.mark_sha256 == record.sha256;
  });
}

std::shared_ptr<const Ground> make_ground(const Volumes& volumes, std::vector<Mark> marks,
                                          const CaseFile& file) {
  static std::atomic<std::uint64_t> count = 0;
  auto ground = std::make_shared<Ground>();
  ground->number = ++count;
  ground->volumes = volumes;
  Body& body = ground->body;
  body.grid = volumes.ct->hu.grid;
  body.hu = volumes.ct->hu.values;
  body.materials = volumes.materials->values;
  body.confidence = volumes.confidence->values;
  body.marks = std::move(marks);
  body.frame = file.frame;
  body.scan.noise_hu = file.ct.noise_hu;
  if (const auto kvp = file.ct.facts.find("kVp"); kvp != file.ct.facts.end())
    body.scan.effective_energy_kev = effective_energy_kev(std::stod(kvp->second));
  find_object_box(*ground);
  const RequestFile request = file.request.value_or(RequestFile{});
  try {
    ground->assessor = std::make_unique<Assessor>(body, request);
  } catch (const BadInput& fault) {
    ground->fault = fault.what();
    ground->assessor = std::make_unique<Assessor>(body, bare(request, body));
  }
  return ground;
}

}  // namespace leastharm

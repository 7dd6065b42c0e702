#include "search_scene.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "distance_field.h"
#include "imaging/error.h"
#include "planner/crossing.h"
#include "planner/density.h"
#include "planner/entry.h"
#include "radial_kernel.h"
#include "workers.h"

namespace leastharm {
namespace {

constexpr double kFarMm = 30;   // distances beyond this are not told apart

void grow(Box& box, bool& any, VoxelIndex v) {
  if (!any) box = {v, v};
  any = true;
  box.low = {std::min(box.low.i, v.i), std::min(box.low.j, v.j), std::min(box.low.k, v.k)};
  box.high = {std::max(box.high.i, v.i), std::max(box.high.j, v.j), std::max(box.high.k, v.k)};
}

template <typename Test>
bool bounding_box(const Grid& grid, const Test& test, Box& box) {
  bool any = false;
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i)
        if (test(VoxelIndex{i, j, k})) grow(box, any, {i, j, k});
  return any;
}

const Mark* cavity_of(const Body& body, const Request& request) {
  if (request.cavity.empty()) return nullptr;
  const Mark* mark = body.find_mark(request.cavity);
  if (mark == nullptr || mark->kind != MarkKind::cavity)
    throw BadInput("request \"" + request.id + "\" asks for the cavity \"" + request.cavity +
                   "\", but no cavity of that name is marked: mark it with  leastharm mark --as cavity --name " +
                   request.cavity);
  return mark;
}

}  // namespace

bool is_wanted(const Body& body, const Request& request, const Mark* cavity, VoxelIndex v) {
  return request.wants(body.material_at(v)) && (cavity == nullptr || cavity->mask.contains(v));
}

SearchScene::SearchScene(const Body& body, const RequestFile& file) : body_(body), file_(file), frame_(body.grid) {
  find_box();
  offset_ = Vec3(box_.low.i, box_.low.j, box_.low.k).cwiseProduct(body.grid.spacing_mm);
  find_entries();
  make_keep_out_distance();
  make_asks();
}

std::optional<double> SearchScene::left_mm(const Vec3& p) const {
  if (!body_.frame) return std::nullopt;
  return body_.frame->left_of_midline_mm(frame_.lps(p));
}

Grid SearchScene::box_grid() const {
  Grid grid;
  grid.size = box_.size();
  grid.spacing_mm = body_.grid.spacing_mm;
  return grid;   // in the frame of the box: no rotation
}

/// What is asked for, then everything of the object that a needle with its core there can pass.
void SearchScene::find_box() {
  std::vector<const Mark*> cavities;
  for (const Request& request : file_.requests) cavities.push_back(cavity_of(body_, request));
  const auto wanted = [&](VoxelIndex v) {
    for (std::size_t r = 0; r < cavities.size(); ++r)
      if (is_wanted(body_, file_.requests[r], cavities[r], v)) return true;
    return false;
  };
  if (!bounding_box(body_.grid, wanted, target_)) target_ = {{0, 0, 0}, {-1, -1, -1}};
  Box object;
  bounding_box(body_.grid, [&](VoxelIndex v) { return is_object(body_.material_at(v)); }, object);
  double reach = 0;
  for (const Needle& needle : file_.needles) reach = std::max(reach, needle.usable_mm + needle.outer_mm);
  const auto bound = [&](int low, int high, int object_low, int object_high, int size, int axis) {
    const int far = static_cast<int>(std::ceil(reach / body_.grid.spacing_mm[axis])) + 2;
    return std::pair{std::max({0, object_low - 4, low - far}), std::min({size - 1, object_high + 4, high + far})};
  };
  const auto& size = body_.grid.size;
  std::tie(box_.low.i, box_.high.i) = bound(target_.low.i, target_.high.i, object.low.i, object.high.i, size[0], 0);
  std::tie(box_.low.j, box_.high.j) = bound(target_.low.j, target_.high.j, object.low.j, object.high.j, size[1], 1);
  std::tie(box_.low.k, box_.high.k) = bound(target_.low.k, target_.high.k, object.low.k, object.high.k, size[2], 2);
  for (const auto& [low, high] : {std::pair{&box_.low.i, &box_.high.i}, {&box_.low.j, &box_.high.j}, {&box_.low.k, &box_.high.k}})
    if (*high < *low) *high = *low;
}

/// Voxels of the object that touch the air around it: the air is flooded from the box's border.
void SearchScene::find_entries() {
  const auto size = box_.size();
  const Grid grid = box_grid();
  std::vector<std::uint8_t> outside(grid.voxel_count(), 0);
  std::vector<VoxelIndex> open;
  const auto in_body = [&](VoxelIndex v) { return VoxelIndex{v.i + box_.low.i, v.j + box_.low.j, v.k + box_.low.k}; };
  const auto flood = [&](VoxelIndex v) {
    if (!grid.contains(v) || outside[grid.offset(v)] || body_.material_at(in_body(v)) != Material::air) return;
    outside[grid.offset(v)] = 1;
    open.push_back(v);
  };
  for (int k = 0; k < size[2]; ++k)
    for (int j = 0; j < size[1]; ++j)
      for (int i = 0; i < size[0]; ++i)
        if (i == 0 || j == 0 || k == 0 || i == size[0] - 1 || j == size[1] - 1 || k == size[2] - 1) flood({i, j, k});
  const std::array<VoxelIndex, 6> sides{{{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}}};
  while (!open.empty()) {
    const VoxelIndex v = open.back();
    open.pop_back();
    for (const VoxelIndex& s : sides) flood({v.i + s.i, v.j + s.j, v.k + s.k});
  }
  for (int k = 0; k < size[2]; ++k)
    for (int j = 0; j < size[1]; ++j)
      for (int i = 0; i < size[0]; ++i) {
        const VoxelIndex v = in_body({i, j, k});
        if (!is_object(body_.material_at(v))) continue;
        const bool touches = std::ranges::any_of(sides, [&](const VoxelIndex& s) {
          const VoxelIndex n{i + s.i, j + s.j, k + s.k};
          return grid.contains(n) && outside[grid.offset(n)];
        });
        if (touches) entries_.push_back({v, Vec3(v.i, v.j, v.k).cwiseProduct(body_.grid.spacing_mm), Vec3::Zero()});
      }
  for_each_chunk(entries_.size(), 256, [&](std::size_t begin, std::size_t end) {
    for (std::size_t e = begin; e < end; ++e)
      if (const auto normal = outward_normal(body_, frame_.lps(entries_[e].point)))
        entries_[e].outward = frame_.direction(*normal);
  });
  std::erase_if(entries_, [](const EntryVoxel& e) { return e.outward.isZero(); });
}

void SearchScene::make_keep_out_distance() {
  const Grid grid = box_grid();
  std::vector<std::uint8_t> set(grid.voxel_count(), 0);
  for (const Mark& mark : body_.marks) {
    if (mark.kind != MarkKind::keep_out) continue;
    for (int k = 0; k < mark.mask.box[2]; ++k)
      for (int j = 0; j < mark.mask.box[1]; ++j)
        for (int i = 0; i < mark.mask.box[0]; ++i) {
          const VoxelIndex v{mark.mask.corner.i + i, mark.mask.corner.j + j, mark.mask.corner.k + k};
          if (!box_.contains(v) || !mark.mask.contains(v)) continue;
          set[grid.offset(v.i - box_.low.i, v.j - box_.low.j, v.k - box_.low.k)] = 1;
          has_keep_outs_ = true;
        }
  }
  if (!has_keep_outs_) return;
  keep_out_far_mm_ = std::max(kFarMm, file_.limits.clearance_mm + 10);
  Volume<float> distance = distance_to(grid, set, keep_out_far_mm_);
  for (float& d : distance.values) d -= static_cast<float>(keep_out_far_mm_);
  keep_out_distance_ = LineField(distance);
}

void SearchScene::make_asks() {
  const Grid grid = box_grid();
  Volume<float> weight{grid, std::vector<float>(grid.voxel_count())};
  const auto each_voxel = [&](const auto& visit) {
    for_each_chunk(static_cast<std::size_t>(grid.size[2]), 1, [&](std::size_t k, std::size_t) {
      for (int j = 0; j < grid.size[1]; ++j)
        for (int i = 0; i < grid.size[0]; ++i)
          visit(grid.offset(i, j, static_cast<int>(k)),
                VoxelIndex{i + box_.low.i, j + box_.low.j, static_cast<int>(k) + box_.low.k});
    });
  };
  each_voxel([&](std::size_t at, VoxelIndex v) {
    weight.values[at] = static_cast<float>(file_.weights.material[static_cast<std::size_t>(body_.material_at(v))]);
  });
  PerMaterial<double> density_per_hu{}, density_at_zero{};
  for (std::size_t m = 0; m < kMaterialCount; ++m) {
    const auto material = static_cast<Material>(m);
    density_at_zero[m] = density_g_per_cm3(0, material, body_.scan.effective_energy_kev);
    density_per_hu[m] = density_g_per_cm3(1, material, body_.scan.effective_energy_kev) - density_at_zero[m];
  }
  for (const Request& request : file_.requests) {
    const Mark* cavity = cavity_of(body_, request);
    Volume<float> mass{grid, std::vector<float>(grid.voxel_count(), 0.0f)}, wanted = mass;
    each_voxel([&](std::size_t at, VoxelIndex v) {
      if (!is_wanted(body_, request, cavity, v)) return;
      const std::size_t voxel = body_.grid.offset(v), m = body_.materials[voxel];
      if (body_.hu[voxel] != kNoReadingHu)
        mass.values[at] = static_cast<float>(density_at_zero[m] + density_per_hu[m] * body_.hu[voxel]);   // = mg/mm3
      wanted.values[at] = 1;
    });
    for (const Needle& needle : file_.needles) {
      Ask& ask = asks_.emplace_back();
      ask.request = &request;
      ask.needle = &needle;
      ask.need_mg = request.need_mg() / (request.pooled ? request.replicates : 1);
      const Stencil steel = radial_stencil(needle.outer_mm / 2, grid.spacing_mm);
      const Stencil bore = radial_stencil(needle.bore_mm / 2, grid.spacing_mm);
      ask.cost = LineField(averaged(weight, steel));
      Volume<float> yield = averaged(mass, bore);
      const double section = std::numbers::pi / 4 * needle.bore_mm * needle.bore_mm;
      const auto scale = static_cast<float>(section * (needle.recovery_p05 + needle.recovery_p95) / 2);
      for (float& v : yield.values) v *= scale;
      ask.yield = LineField(yield);
      ask.wanted = LineField(averaged(wanted, bore));
      if (file_.limits.margin_mm > 0) {
        std::vector<std::uint8_t> other(wanted.values.size());
        std::ranges::transform(wanted.values, other.begin(), [](float w) { return w > 0 ? 0 : 1; });
        ask.depth_inside = LineField(distance_to(grid, other, file_.limits.margin_mm + 20));
      }
    }
  }
}

}  // namespace leastharm

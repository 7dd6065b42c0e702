#include "search_scene.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "distance_field.h"
#include "imaging/error.h"
#include "planner/crossing.h"
#include "planner/density.h"
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

}  // namespace

const Mark* cavity_of(const Body& body, const Request& request) {
  if (request.cavity.empty()) return nullptr;
  const Mark* mark = body.find_mark(request.cavity);
  if (mark == nullptr || mark->kind != MarkKind::cavity)
    throw BadInput("request \"" + request.id + "\" asks for the cavity \"" + request.cavity +
                   "\", but no cavity of that name is marked: mark it with  leastharm mark --as cavity --name " +
                   request.cavity);
  return mark;
}

bool is_wanted(const Body& body, const Request& request, const Mark* cavity, VoxelIndex v) {
  return request.wants(body.material_at(v)) && (cavity == nullptr || cavity->mask.contains(v));
}

SearchScene::SearchScene(const Body& body, const RequestFile& file)
    : body_(body), file_(file), frame_(body.grid), normals_(body) {
  find_box();
  box_grid_.size = box_.size();
  box_grid_.spacing_mm = body.grid.spacing_mm;
  offset_ = Vec3(box_.low.i, box_.low.j, box_.low.k).cwiseProduct(body.grid.spacing_mm);
  find_entries();
  make_keep_out_distance();
  make_weights();
  make_asks();
}

std::optional<double> SearchScene::left_mm(const Vec3& p) const {
  if (!body_.frame) return std::nullopt;
  return body_.frame->left_of_midline_mm(frame_.lps(p));
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
  const double tilted = reach * std::sin(std::min(90.0, file_.limits.tilt_deg) * std::numbers::pi / 180) + 5;
  const auto bound = [&](int low, int high, int object_low, int object_high, int size, int axis) {
    const double away = axis == 2 ? std::min(reach, tilted) : reach;   // the k axis is reached only by tilting
    const int far = static_cast<int>(std::ceil(away / body_.grid.spacing_mm[axis])) + 2;
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
  const Grid& grid = box_grid_;
  std::vector<std::uint8_t>& outside = outside_;
  outside.assign(grid.voxel_count(), 0);
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
          return is_outside({v.i + s.i, v.j + s.j, v.k + s.k});
        });
        if (touches) entries_.push_back({v, Vec3(v.i, v.j, v.k).cwiseProduct(body_.grid.spacing_mm), Vec3::Zero()});
      }
  for_each_chunk(entries_.size(), 256, [&](std::size_t begin, std::size_t end) {
    for (std::size_t e = begin; e < end; ++e) {
      const VoxelIndex& v = entries_[e].voxel;
      entries_[e].outward = normals_.at_half(2 * v.i, 2 * v.j, 2 * v.k);
    }
  });
  std::erase_if(entries_, [](const EntryVoxel& e) { return e.outward.isZero(); });
}

void SearchScene::make_keep_out_distance() {
  const Grid& grid = box_grid_;
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

double SearchScene::least_hole_mm() const {
  const bool opening = std::ranges::any_of(body_.marks, [](const Mark& m) { return m.kind == MarkKind::opening; });
  return opening ? 0 : file_.weights.hole_mm;
}

namespace {

/// g/cm3 (= mg/mm3) as a line in HU, by what voxels are weighed as.
struct DensityLine {
  PerWeighed<double> at_zero{}, per_hu{};
  DensityLine(Filling filling, double energy_kev) {
    const PerWeighed<Composition> weighed = compositions(filling);
    for (std::size_t m = 0; m < weighed.size(); ++m) {
      at_zero[m] = density_g_per_cm3(0, weighed[m], energy_kev);
      per_hu[m] = density_g_per_cm3(1, weighed[m], energy_kev) - at_zero[m];
    }
  }
  [[nodiscard]] float of(const Body& body, std::size_t voxel) const {
    const std::size_t m = weighed_as(body.materials[voxel], body.hu[voxel]);
    return body.hu[voxel] == kNoReadingHu ? 0.0f : static_cast<float>(at_zero[m] + per_hu[m] * body.hu[voxel]);
  }
};

}  // namespace

Volume<float> SearchScene::requested_density(const Request& request, Vec3& offset_mm) const {
  const DensityLine density(request.filling, body_.scan.effective_energy_kev);
  const Mark* cavity = cavity_of(body_, request);
  constexpr int kRim = 8;   // voxels around, so that averages and their maxima find nothing cut off
  Box box{{std::max(box_.low.i, target_.low.i - kRim), std::max(box_.low.j, target_.low.j - kRim), std::max(box_.low.k, target_.low.k - kRim)},
          {std::min(box_.high.i, target_.high.i + kRim), std::min(box_.high.j, target_.high.j + kRim), std::min(box_.high.k, target_.high.k + kRim)}};
  if (target_.high.i < target_.low.i) box = {box_.low, box_.low};
  Volume<float> out;
  out.grid.size = box.size();
  out.grid.spacing_mm = body_.grid.spacing_mm;
  out.values.assign(out.grid.voxel_count(), 0.0f);
  for (int k = box.low.k; k <= box.high.k; ++k)
    for (int j = box.low.j; j <= box.high.j; ++j)
      for (int i = box.low.i; i <= box.high.i; ++i)
        if (is_wanted(body_, request, cavity, {i, j, k}))
          out.values[out.grid.offset(i - box.low.i, j - box.low.j, k - box.low.k)] = density.of(body_, body_.grid.offset(i, j, k));
  offset_mm = Vec3(box.low.i - box_.low.i, box.low.j - box_.low.j, box.low.k - box_.low.k).cwiseProduct(body_.grid.spacing_mm);
  return out;
}

void SearchScene::make_weights() {
  const auto& of_material = file_.weights.material;
  // No more than is needed to keep tracks out: the steeper its edge, the less does a lattice see of it.
  constexpr float kBarrier = 4;
  const Vec3 spacing = box_grid_.spacing_mm;
  const double forbidden_mm = file_.limits.clearance_mm + spacing.minCoeff() / 2 - spacing.norm() / 2;
  weights_ = {box_grid_, std::vector<float>(box_grid_.voxel_count())};
  for_each_chunk(static_cast<std::size_t>(box_grid_.size[2]), 1, [&](std::size_t slice, std::size_t) {
    const int k = static_cast<int>(slice);
    for (int j = 0; j < box_grid_.size[1]; ++j)
      for (int i = 0; i < box_grid_.size[0]; ++i) {
        const VoxelIndex v{i + box_.low.i, j + box_.low.j, k + box_.low.k};
        const Material m = body_.material_at(v);
        const bool forbidden = m == Material::support ||
                               (has_keep_outs_ && keep_out_distance_mm(Vec3(v.i, v.j, v.k).cwiseProduct(spacing)) < forbidden_mm);
        weights_.values[box_grid_.offset(i, j, k)] = forbidden ? kBarrier : static_cast<float>(of_material[static_cast<std::size_t>(m)]);
      }
  });
}

void SearchScene::make_asks() {
  constexpr std::size_t kMostNodes = 120'000'000;
  std::map<double, std::shared_ptr<const RefinedField>> costs;   // by outer diameter
  for (const Request& request : file_.requests) {
    Vec3 offset;
    const Volume<float> density = requested_density(request, offset);
    const Grid& core_grid = density.grid;
    const VoxelIndex low{box_.low.i + static_cast<int>(std::lround(offset.x() / core_grid.spacing_mm.x())),
                         box_.low.j + static_cast<int>(std::lround(offset.y() / core_grid.spacing_mm.y())),
                         box_.low.k + static_cast<int>(std::lround(offset.z() / core_grid.spacing_mm.z()))};
    std::vector<std::uint8_t> other(core_grid.voxel_count());
    const Mark* cavity = cavity_of(body_, request);
    for (int k = 0; k < core_grid.size[2]; ++k)
      for (int j = 0; j < core_grid.size[1]; ++j)
        for (int i = 0; i < core_grid.size[0]; ++i)
          other[core_grid.offset(i, j, k)] = is_wanted(body_, request, cavity, {low.i + i, low.j + j, low.k + k}) ? 0 : 1;
    for (const Needle& needle : file_.needles) {
      Ask& ask = asks_.emplace_back();
      ask.request = &request;
      ask.needle = &needle;
      ask.core_offset = offset;
      ask.need_mg = request.need_mg() / (request.pooled ? request.replicates : 1);
      ask.enough = EnoughChance(body_, {&request, cavity != nullptr ? &cavity->mask : nullptr}, needle, ask.need_mg);
      ask.least_need_mg = request.pooled && request.replicates > 1 ? 0 : ask.need_mg;
      auto& cost = costs[needle.outer_mm];
      if (!cost)
        cost = std::make_shared<const RefinedField>(weights_, needle.outer_mm / 2,
                                                    refinement_factor(box_grid_, needle.outer_mm / 2, kMostNodes));
      ask.cost = cost;
      const Stencil bore = radial_stencil(needle.bore_mm / 2, core_grid.spacing_mm);
      Volume<float> yield = averaged(density, bore);
      const double section = std::numbers::pi / 4 * needle.bore_mm * needle.bore_mm;
      const auto scale = static_cast<float>(section * (needle.recovery_p05 + needle.recovery_p95) / 2);
      for (float& v : yield.values) v *= scale;
      ask.yield = LineField(yield);
      if (file_.limits.margin_mm > 0)
        ask.depth_inside = LineField(distance_to(core_grid, other, file_.limits.margin_mm + 20));
    }
  }
}

}  // namespace leastharm

// Marks, waivers, corrections of the map, the body frame.
#include <algorithm>
#include <cmath>

#include "imaging/error.h"
#include "imaging/hash.h"
#include "imaging/volume_file.h"
#include "window/screen_words.h"
#include "window/workbench.h"
#include "window/workbench_parts.h"

namespace leastharm {
namespace {

constexpr double kLeastDenseMm3 = 5;  // as CaseFolder::protect_dense

struct DrawnMark {
  Mask mask;
  nlohmann::json made_by;
  std::vector<Finding> findings;
};

DrawnMark draw(const MarkRecipe& r, const Ground& ground) {
  const Grid& grid = ground.body.grid;
  const auto list = [](const Vec3& p) { return nlohmann::json{p.x(), p.y(), p.z()}; };
  switch (r.way) {
    case MarkRecipe::Way::ball: {
      nlohmann::json ball = list(r.at_lps_mm);
      ball.push_back(r.radius_mm);
      return {ball_mask(grid, r.at_lps_mm, r.radius_mm), {{"ball_lps_mm", ball}}, {}};
    }
    case MarkRecipe::Way::connected:
      return {connected_mask(*ground.volumes.materials, r.at_lps_mm),
              {{"connected_lps_mm", list(r.at_lps_mm)}},
              {}};
    case MarkRecipe::Way::material:
      return {material_mask(*ground.volumes.materials, r.material),
              {{"material", name_of(r.material)}},
              {}};
    case MarkRecipe::Way::outlines:
      break;
  }
  return {contours_mask(grid, r.outlines),
          {{"contours", r.outlines.size()}},
          outline_findings(r.outlines)};
}

void check_name(const std::string& name) {
  if (name.empty()) throw BadInput(say("tell.markname"));
  if (name.starts_with("dense-"))
    throw BadInput(say("tell.dense"));
  if (std::ranges::any_of(name, [](unsigned char c) { return c < 32 || c == '/'; }))
    throw BadInput(say("tell.breaks"));
}

/// Every voxel whose centre lies within the radius of the stroke's line, once.
std::vector<std::size_t> voxels_under(const BrushPath& path, const Grid& grid) {
  std::vector<std::size_t> under;
  const Vec3 reach = Vec3::Constant(path.radius_mm).cwiseQuotient(grid.spacing_mm);
  for (std::size_t n = 0; n < path.points_lps_mm.size(); ++n) {
    const Vec3 a = path.points_lps_mm[n == 0 ? 0 : n - 1], b = path.points_lps_mm[n], along = b - a;
    const Vec3 ia = grid.index_from_lps(a), ib = grid.index_from_lps(b);
    const Vec3 low = ia.cwiseMin(ib) - reach, high = ia.cwiseMax(ib) + reach;
    std::array<int, 3> from{}, to{};
    for (std::size_t axis = 0; axis < 3; ++axis) {
      const auto e = static_cast<Eigen::Index>(axis);
      from[axis] = std::max(0, static_cast<int>(std::ceil(low[e])));
      to[axis] = std::min(grid.size[axis] - 1, static_cast<int>(std::floor(high[e])));
    }
    for (int k = from[2]; k <= to[2]; ++k)
      for (int j = from[1]; j <= to[1]; ++j)
        for (int i = from[0]; i <= to[0]; ++i) {
          const Vec3 p = grid.lps_from_index(Vec3(i, j, k));
          const double t =
              std::clamp((p - a).dot(along) / std::max(1e-9, along.squaredNorm()), 0.0, 1.0);
          if ((p - a - t * along).norm() <= path.radius_mm) under.push_back(grid.offset(i, j, k));
        }
  }
  std::ranges::sort(under);
  under.erase(std::unique(under.begin(), under.end()), under.end());
  return under;
}

/// The map's volumes, free to be changed: copies.
struct OpenMap {
  std::shared_ptr<Volume<std::uint8_t>> materials, confidence, corrections;

  explicit OpenMap(const Volumes& volumes, const std::shared_ptr<const Volume<std::uint8_t>>& kept)
      : materials(std::make_shared<Volume<std::uint8_t>>(*volumes.materials)),
        confidence(std::make_shared<Volume<std::uint8_t>>(*volumes.confidence)),
        corrections(kept ? std::make_shared<Volume<std::uint8_t>>(*kept)
                         : std::make_shared<Volume<std::uint8_t>>(Volume<std::uint8_t>{
                               materials->grid, std::vector<std::uint8_t>(materials->values.size(),
                                                                          kNotCorrected)})) {}

  void put_on(const Stroke& stroke) {
    for (const Stroke::Change& c : stroke.changes) {
      materials->values[c.offset] = corrections->values[c.offset] =
          static_cast<std::uint8_t>(stroke.to);
      confidence->values[c.offset] = 255;  // a person vouches for it
    }
  }
  void take_off(const Stroke& stroke) {
    for (const Stroke::Change& c : stroke.changes) {
      materials->values[c.offset] = c.material;
      confidence->values[c.offset] = c.confidence;
      corrections->values[c.offset] = c.correction;
    }
  }
};

std::shared_ptr<const Stroke> stroke_of(const BrushPath& path, const OpenMap& map) {
  auto stroke = std::make_shared<Stroke>();
  stroke->to = path.to;
  const Grid& grid = map.materials->grid;
  const VoxelIndex first = grid.voxel_at(path.points_lps_mm.front());
  const std::uint8_t under = grid.contains(first) ? map.materials->at(first) : 0;
  for (const std::size_t n : voxels_under(path, grid)) {
    const std::uint8_t was = map.materials->values[n];
    if (was == static_cast<std::uint8_t>(path.to) || (path.keep_to_border && was != under))
      continue;
    stroke->changes.push_back({n, was, map.confidence->values[n], map.corrections->values[n]});
  }
  return stroke;
}

bool touches_dense(const Stroke& stroke) {
  return stroke.to == Material::dense ||
         std::ranges::any_of(stroke.changes, [](const Stroke::Change& c) {
           return c.material == static_cast<std::uint8_t>(Material::dense);
         });
}

}  // namespace

void Workbench::make_mark(const MarkRecipe& recipe) {
  jobs_.add([this, recipe, ground = ground_, back = poster()] {
    try {
      check_name(recipe.name);
      DrawnMark drawn = draw(recipe, *ground);
      MarkRecord record{.name = recipe.name,
                        .kind = recipe.kind,
                        .weight_mm = recipe.weight_mm,
                        .made_by = drawn.made_by};
      record.sha256 = sha256_hex(box_from_mask(drawn.mask));
      record.volume_mm3 = drawn.mask.volume_mm3();
      auto mask = std::make_shared<const Mask>(std::move(drawn.mask));
      back([this, record, mask, findings = drawn.findings] { take_mark(record, mask, findings); });
    } catch (const BadInput& fault) {
      back([this, text = std::string(fault.what())] { tell_person(Level::refused, text); });
    }
  });
}

void Workbench::take_mark(MarkRecord record, std::shared_ptr<const Mask> mask,
                          const std::vector<Finding>& findings) {
  change(say("step.mark", record.name), 0, [&](Draft& draft) {
    draft.masks[record.sha256] = std::move(mask);
    const auto former = std::ranges::find(draft.file.marks, record.name, &MarkRecord::name);
    former == draft.file.marks.end() ? draft.file.marks.push_back(record) : void(*former = record);
    if (record.made_by.contains("contours")) draft.outlines.clear();
    draft.bound.reset();
    draft.file.plan.certificate.reset();
  });
  for (const Finding& f : findings) tell_person(f.level, f.what);
  ask_ground();
}

void Workbench::add_outline(const Outline& outline) {
  change(say("step.outline"), 0, [&](Draft& draft) { draft.outlines.push_back(outline); });
}

void Workbench::drop_outlines() {
  if (draft_.outlines.empty()) return;
  change(say("step.nooutlines"), 0, [](Draft& draft) { draft.outlines.clear(); });
}

void Workbench::remove_mark(const std::string& name) {
  change(say("step.remove", name), 0, [&](Draft& draft) {
    std::erase_if(draft.file.marks, [&](const MarkRecord& m) {
      return m.name == name && !m.made_by.contains("automatic");
    });
    draft.bound.reset();
    draft.file.plan.certificate.reset();
  });
  ask_ground();
}

void Workbench::set_zone_weight(const std::string& name, double weight_mm) {
  const auto mark = std::ranges::find(file().marks, name, &MarkRecord::name);
  if (mark == file().marks.end() || mark->kind != MarkKind::zone || mark->weight_mm == weight_mm) return;
  if (!(weight_mm >= 0) || !std::isfinite(weight_mm)) return tell_person(Level::refused, say("tell.weight"));
  change(say("step.weight", name), 0, [&](Draft& draft) {
    std::ranges::find(draft.file.marks, name, &MarkRecord::name)->weight_mm = weight_mm;
    draft.bound.reset();
    draft.file.plan.certificate.reset();
  });
  ask_ground();
}

void Workbench::waive(const std::string& name, const std::string& by, const std::string& why) {
  const auto mark = std::ranges::find(file().marks, name, &MarkRecord::name);
  if (mark == file().marks.end() || by.empty() || why.empty())
    return tell_person(Level::refused, say("tell.waiver"));
  const std::string sha = mark->sha256;
  change(say("step.waive", name), 0, [&](Draft& draft) {
    std::erase_if(draft.file.waivers, [&](const Waiver& w) { return w.mark == name; });
    draft.file.waivers.push_back({name, sha, by, why, utc_now()});
    draft.bound.reset();
    draft.file.plan.certificate.reset();
  });
  ask_ground();
}

void Workbench::take_waiver_back(const std::string& name) {
  change(say("step.protect", name), 0, [&](Draft& draft) {
    std::erase_if(draft.file.waivers, [&](const Waiver& w) { return w.mark == name; });
    draft.bound.reset();
    draft.file.plan.certificate.reset();
  });
  ask_ground();
}

void Workbench::confirm_frame(const BodyFrame& frame, const std::string& by) {
  if (by.empty()) return tell_person(Level::refused, say("tell.framename"));
  if (frame.midline_lps_mm.size() < 2)
    return tell_person(Level::refused, say("tell.midline"));
  change(say("step.frame"), 0, [&](Draft& draft) {
    draft.file.frame = frame;
    draft.file.frame_by = by;
    draft.file.frame_at = utc_now();
  });
  ask_ground();
}

// Corrections of the map.

void Workbench::paint(const BrushPath& path) {
  if (path.points_lps_mm.empty()) return;
  end_gesture();
  ++map_jobs_;
  jobs_.add([this, path, work = map_work_, back = poster()] {
    OpenMap map(work->volumes, work->corrections);
    const auto stroke = stroke_of(path, map);
    map.put_on(*stroke);
    work->take(map.materials, map.confidence, map.corrections);
    work->stroke = stroke;
    work->dense_changed = touches_dense(*stroke);
    if (work->dense_changed) work->find_dense();
    back([this, done = *work] { take_stroke(done); });
  });
}

void Workbench::MapWork::take(std::shared_ptr<const Volume<std::uint8_t>> materials,
                              std::shared_ptr<const Volume<std::uint8_t>> confidence,
                              std::shared_ptr<const Volume<std::uint8_t>> kept) {
  volumes.materials = std::move(materials);
  volumes.confidence = std::move(confidence);
  corrections = std::move(kept);
  materials_sha256 = sha256_hex(*volumes.materials);
  confidence_sha256 = sha256_hex(*volumes.confidence);
}

void Workbench::MapWork::find_dense() {
  dense.clear();
  for (Mask& piece : material_pieces(*volumes.materials, Material::dense, kLeastDenseMm3)) {
    MarkRecord record{.name = "dense-" + std::to_string(dense.size() + 1),
                      .kind = MarkKind::keep_out,
                      .made_by = {{"automatic", true}}};
    record.sha256 = sha256_hex(box_from_mask(piece));
    record.volume_mm3 = piece.volume_mm3();
    dense.emplace_back(std::move(record), std::make_shared<const Mask>(std::move(piece)));
  }
}

void Workbench::take_stroke(const MapWork& work) {
  if (work.stroke->changes.empty()) {
    --map_jobs_;
    return tell_person(Level::note, say("tell.nothing"));
  }
  Step step{say("step.correct", std::string(name_of(work.stroke->to))), draft_};
  draft_.strokes.push_back(work.stroke);
  draft_.bound.reset();
  draft_.file.plan.certificate.reset();
  const double voxel_mm3 = volumes_.ct->hu.grid.voxel_volume_mm3();
  for (const Stroke::Change& c : work.stroke->changes) {
    draft_.file.volume_mm3[c.material % kMaterialCount] -= voxel_mm3;
    draft_.file.volume_mm3[static_cast<std::size_t>(work.stroke->to)] += voxel_mm3;
  }
  if (work.dense_changed) {
    std::erase_if(draft_.file.marks,
                  [](const MarkRecord& m) { return m.made_by.contains("automatic"); });
    for (const auto& [record, mask] : work.dense) {
      draft_.file.marks.push_back(record);
      draft_.masks[record.sha256] = mask;
    }
    std::erase_if(draft_.file.waivers, [&](Waiver& w) {
      const auto same = std::ranges::find(draft_.file.marks, w.mark_sha256, &MarkRecord::sha256);
      if (same != draft_.file.marks.end()) w.mark = same->name;
      return same == draft_.file.marks.end();
    });
  }
  past_.push_back(std::move(step));
  future_.clear();
  take_map(work);
}

void Workbench::take_map(const MapWork& work) {
  --map_jobs_;
  volumes_ = work.volumes;
  corrections_ = work.corrections;
  draft_.file.materials_sha256 = work.materials_sha256;
  draft_.file.confidence_sha256 = work.confidence_sha256;
  keep();
  ask_ground();
  tell(kDraftChanged);
}

void Workbench::redo_strokes(const std::vector<std::shared_ptr<const Stroke>>& from,
                             const std::vector<std::shared_ptr<const Stroke>>& to) {
  std::size_t same = 0;
  while (same < from.size() && same < to.size() && from[same] == to[same]) ++same;
  if (same == from.size() && same == to.size()) return;
  ++map_jobs_;
  jobs_.add([this, from, to, same, work = map_work_, back = poster()] {
    OpenMap map(work->volumes, work->corrections);
    for (std::size_t n = from.size(); n-- > same;) map.take_off(*from[n]);
    for (std::size_t n = same; n < to.size(); ++n) map.put_on(*to[n]);
    work->take(map.materials, map.confidence, map.corrections);
    back([this, done = *work] { take_map(done); });
  });
}

}  // namespace leastharm

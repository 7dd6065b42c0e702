#pragma once

#include "imaging/mask.h"
#include "phantom_data/phantom.h"
#include "planner/propose.h"

namespace leastharm::test {

/// A core with a bore of 2.4 mm.
inline Needle usual_needle() { return {.name = "core 2.4 mm bore 20 mm", .outer_mm = 3, .bore_mm = 2.4, .throw_mm = 20, .usable_mm = 150}; }

/// One core of packing that must yield 7 mg.
inline RequestFile one_core(const Needle& needle) {
  RequestFile file;
  Request request;
  request.id = "P";
  request.material = Material::packing;
  request.assays = {{"gas chromatography with mass spectrometry", 5}};
  request.retain_mg = 2;
  file.requests = {request};
  file.needles = {needle};
  return file;
}

/// An invented body with its true map, so that nothing but the search is measured; dense things are protected, as in every case.
/// `made` outlives it.
inline Body body_of(const phantom::Phantom& made) {
  Body body;
  body.grid = made.hu.grid;
  body.hu = made.hu.values;
  body.materials = made.truth.values;
  body.frame = made.frame;
  Mask dense = material_mask(made.truth, Material::dense);
  if (!dense.empty()) body.marks.push_back({"dense", MarkKind::keep_out, 0, true, std::move(dense)});
  return body;
}

}  // namespace leastharm::test

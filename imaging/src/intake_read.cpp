#include "intake_read.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <span>

#include "dicom_pixels.h"
#include "imaging/error.h"
#include "parallel.h"
#include "roomy_values.h"
#include "slice_hash.h"

namespace leastharm {
namespace {

/// One worker's buffers.
struct Worker {
  PixelReader reader;
  std::vector<std::int16_t> scanned, first, second;
};

class StackReader {
 public:
  StackReader(const Scan& scan, const StackPlan& plan) : scan_(scan), plan_(plan) {}

  /// A scanned slice, moved sideways onto the grid where need be.
  void place(std::size_t slice, Worker& worker, std::span<std::int16_t> out) const {
    const PlacedSlice& placed = plan_.slices[slice];
    const Frame& frame = scan_.frames[placed.frame];
    const DicomFile& file = scan_.files[frame.file];
    try {
      if (!plan_.is_shifted) return worker.reader.read(file, frame, out);
      worker.scanned.resize(static_cast<std::size_t>(file.format.columns) * static_cast<std::size_t>(file.format.rows));
      worker.reader.read(file, frame, worker.scanned);
      shift(worker.scanned, file.format.columns, file.format.rows, placed, out);
    } catch (const Unreadable& error) {
      throw BadInput(file.path.string() + " " + error.what() + "; copy it again");
    }
  }

  void make(int k, Worker& worker, std::span<std::int16_t> out) const {
    const SliceMix& mix = plan_.mixes[static_cast<std::size_t>(k)];
    if (mix.second_weight == 0) return place(mix.first, worker, out);
    if (mix.second_weight == 1) return place(mix.second, worker, out);
    worker.first.resize(out.size());
    worker.second.resize(out.size());
    place(mix.first, worker, worker.first);
    place(mix.second, worker, worker.second);
    blend(worker.first, worker.second, mix.second_weight, out);
  }

  static void blend(std::span<const std::int16_t> a, std::span<const std::int16_t> b, double weight,
                    std::span<std::int16_t> out) {
    for (std::size_t n = 0; n < out.size(); ++n) {
      const bool both = a[n] != kNoReadingHu && b[n] != kNoReadingHu;
      out[n] = both ? static_cast<std::int16_t>(std::lround(a[n] + weight * (b[n] - a[n]))) : kNoReadingHu;
    }
  }

 private:
  /// Bilinear; a voxel that needs a pixel outside the slice, or one of padding, has no reading.
  void shift(std::span<const std::int16_t> in, int columns, int rows, const PlacedSlice& placed,
             std::span<std::int16_t> out) const {
    const int i0 = static_cast<int>(std::floor(placed.i_shift + 1e-3)), j0 = static_cast<int>(std::floor(placed.j_shift + 1e-3));
    // Output (i, j) lies at input (i - i_shift, j - j_shift): a mix of the pixel there and its lower neighbours.
    const double u = std::max(0.0, placed.i_shift - i0), v = std::max(0.0, placed.j_shift - j0);
    const int di = u < 1e-3 ? 0 : 1, dj = v < 1e-3 ? 0 : 1;
    std::fill(out.begin(), out.end(), kNoReadingHu);
    for (int j = dj; j < rows; ++j)
      for (int i = di; i < columns; ++i) {
        const auto at = [&](int x, int y) { return in[static_cast<std::size_t>(x) + static_cast<std::size_t>(y) * static_cast<std::size_t>(columns)]; };
        const std::int16_t a = at(i, j), b = at(i - di, j), c = at(i, j - dj), d = at(i - di, j - dj);
        if (a == kNoReadingHu || b == kNoReadingHu || c == kNoReadingHu || d == kNoReadingHu) continue;
        const double value = (1 - v) * ((1 - u) * a + u * b) + v * ((1 - u) * c + u * d);
        out[plan_.grid.offset(i + i0, j + j0, 0)] = static_cast<std::int16_t>(std::lround(value));
      }
  }

  const Scan& scan_;
  const StackPlan& plan_;
};

/// Scanned slices held against what their neighbours would have given: twice as far apart as what is interpolated,
/// so rather too large an error than too small.
double left_out_error_hu(const StackReader& stack, const StackPlan& plan, std::size_t slice_size) {
  constexpr std::size_t kSamples = 12;
  const std::size_t inner = plan.slices.size() - 2, samples = std::min(kSamples, inner);
  Worker worker;
  std::vector<std::int16_t> below(slice_size), middle(slice_size), above(slice_size), guess(slice_size);
  double squares = 0, count = 0;
  for (std::size_t s = 0; s < samples; ++s) {
    const std::size_t n = 1 + s * inner / samples;
    stack.place(n - 1, worker, below);
    stack.place(n, worker, middle);
    stack.place(n + 1, worker, above);
    const double from = plan.slices[n - 1].along_mm, to = plan.slices[n + 1].along_mm;
    StackReader::blend(below, above, (plan.slices[n].along_mm - from) / (to - from), guess);
    for (std::size_t v = 0; v < slice_size; ++v) {
      if (guess[v] == kNoReadingHu || middle[v] == kNoReadingHu) continue;
      squares += std::pow(guess[v] - middle[v], 2);
      ++count;
    }
  }
  return count > 0 ? std::sqrt(squares / count) : 0;
}

}  // namespace

HashedVolume read_stack(const Scan& scan, const StackPlan& plan, std::vector<Finding>& findings) {
  Volume<std::int16_t> volume{plan.grid, roomy_values<std::int16_t>(plan.grid.voxel_count())};
  const StackReader stack(scan, plan);
  const std::size_t slice_size = plan.grid.offset(0, 0, 1);
  std::vector<Worker> workers(worker_count());
  std::vector<Digest> digests(static_cast<std::size_t>(plan.grid.size[2]));
  std::atomic<std::size_t> no_reading{0};
  for_each_item(digests.size(), [&](std::size_t worker, std::size_t k) {
    const auto slice = std::span(volume.values).subspan(k * slice_size, slice_size);
    stack.make(static_cast<int>(k), workers[worker], slice);
    digests[k] = slice_digest(std::as_bytes(slice));   // while it is still at hand
    no_reading += static_cast<std::size_t>(std::ranges::count(slice, kNoReadingHu));
  });
  if (plan.is_mixed)
    findings.push_back({Level::note, "scanned slices, left out and interpolated from their neighbours, come out wrong by " +
                                         std::to_string(std::lround(left_out_error_hu(stack, plan, slice_size))) +
                                         " HU (root mean square): the interpolated ones are no worse than about that"});
  return {std::move(volume), volume_hash(plan.grid, digests), no_reading};
}

}  // namespace leastharm

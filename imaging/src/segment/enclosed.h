#pragma once

#include <initializer_list>

#include "classes.h"

namespace leastharm::segment_detail {

/// Which tissue counts as a bone's inside.
struct Filling {
  double widest_mm = 22;   ///< from bone to bone
  int least_level = 0;     ///< of the mean over a voxel and its 26 neighbours
  bool all_round = false;  ///< along all three axes; at one end of one of them a shell may be so thin that it drowns in air or fibre
};

/// Turns tissue that bone encloses into bone: marrow, and spongy bone as light as tissue. A voxel is a candidate when
/// bone is met from it both ways along at least two grid axes, through tissue alone, the two meetings no more than
/// `widest_mm` apart. A connected piece of candidates is filled when hardly any of its surface is open to other
/// tissue (that tells marrow from joint spaces and the spinal canal); thin shells have holes, so that more may be open where a piece is
/// clearly denser than tissue or enclosed all round.
/// One filling after another, each of what the ones before left.
void fill_bone(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, std::initializer_list<Filling> fillings,
               int threads, Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail

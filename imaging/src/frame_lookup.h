#pragma once

#include "dicom_header.h"

namespace leastharm {

/// Finds an element of a frame: in its own functional groups, in those shared by all, or in the file itself.
/// A file of one slice has no groups (PS3.3, C.7.6.16).
class FrameLookup {
 public:
  FrameLookup(const DataSet& top, int frame) : top_(top), shared_(top.item(tag::kSharedGroups)) {
    const auto& own = top.items(tag::kPerFrameGroups);
    if (frame < static_cast<int>(own.size())) own_ = &own[static_cast<std::size_t>(frame)];
  }

  /// The data set that holds `wanted`: an item of the group `macro`, or the file's own.
  [[nodiscard]] const DataSet& holder(Tag macro, Tag wanted) const {
    for (const DataSet* groups : {own_, shared_})
      for (const Tag place : {macro, tag::kUnassignedPerFrame, tag::kUnassignedShared})
        if (const DataSet* item = groups ? groups->item(place) : nullptr; item && item->find(wanted)) return *item;
    return top_;
  }

 private:
  const DataSet& top_;
  const DataSet* shared_;
  const DataSet* own_ = nullptr;
};

}  // namespace leastharm

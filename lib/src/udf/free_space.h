// SPDX-License-Identifier: GPL-3.0-or-later
// FreeSpace: which blocks a volume says that nothing is recorded in (ECMA-167 4/10.1). What stands there all the same
// is of deleted files, or of an earlier use of the disc.
#pragma once

#include "media/byte_reader.h"
#include "udf/partitions.h"
#include "udf/remains.h"
#include "udf/volume_search.h"

namespace lacuna::udf {

class FreeSpace {
 public:
  /// By the partitions' headers; where their descriptors are lost, by the space bitmaps that scanning found.
  FreeSpace(ByteReader& reader, const FoundVolume& found, const Partitions& partitions, const Remains& remains);

  /// Whether the block at a byte of the disc is free. False when nothing tells.
  bool is_free(std::uint64_t position) const { return free_.contains(position); }
  /// Whether anything tells.
  bool is_known() const { return known_; }

 private:
  void take(ByteReader& reader, const Partitions& partitions, std::uint16_t reference, std::uint32_t block,
            std::uint64_t bytes, std::vector<Range>& free);

  RangeSet free_;
  bool known_ = false;
};

}  // namespace lacuna::udf

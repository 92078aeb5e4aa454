// SPDX-License-Identifier: GPL-3.0-or-later
// SpaceUse: in which blocks a volume says that something is recorded (ECMA-167 4/10.1). What stands in a free one is of
// deleted files, or of an earlier use of the disc.
#pragma once

#include <cstdint>
#include <vector>

#include "udf/entry_reader.h"
#include "udf/remains.h"
#include "udf/volume_search.h"

namespace lacuna::udf {

class SpaceUse {
 public:
  /// By the partitions' headers and metadata bitmaps; where partition descriptors are lost, by the space bitmaps that
  /// scanning found.
  SpaceUse(ByteReader& reader, const FoundVolume& found, const Partitions& partitions, const Remains& remains);

  /// Whether the block at a byte of the disc is free. False when nothing tells.
  bool is_free(std::uint64_t position) const { return free_.contains(position); }
  /// Whether what stands at a byte of the disc was recorded by this volume: the block is known to be in use, or its
  /// partition is one that is recorded once (3/10.5.7). False when nothing tells.
  bool is_used(std::uint64_t position) const { return told_.contains(position) && !free_.contains(position); }

 private:
  /// Blocks [first, first + count) of a partition, wherever they lie.
  void add(const Partitions& partitions, LbAddr first, std::uint64_t count, std::vector<Range>& to) const;
  /// `tells_use`: blocks that are not free by it are in use.
  void take_map(ByteReader& reader, const Partitions& partitions, LbAddr map, std::uint64_t bytes, bool tells_use);
  void take_metadata_bitmap(ByteReader& reader, const Partitions& partitions, std::uint16_t reference);
  /// `missing`: bytes of `space` that could not be read.
  void take_bitmap(const Partitions& partitions, std::uint16_t reference, Bytes space, const RangeSet& missing,
                   bool tells_use);

  RangeSet free_, told_;
  std::vector<Range> free_found_, told_found_;
};

}  // namespace lacuna::udf

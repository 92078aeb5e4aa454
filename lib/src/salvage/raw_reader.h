// SPDX-License-Identifier: GPL-3.0-or-later
// RawReader: content that is whole sectors behind a header (node_flag::kRawSectors).
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/verdict.h"

namespace lacuna {

/// Keeps the sectors that it read last, and reads more at once the longer it is read in order. For one thread.
class RawReader {
 public:
  /// The disc must outlive the reader; `file` has node_flag::kRawSectors.
  RawReader(const Disc& disc, NodeId file);

  /// As FileReader::read(), of bytes that the file has.
  void read(std::uint64_t offset, std::span<std::uint8_t> out, std::vector<Gap>& gaps);

 private:
  void load(std::uint64_t index);

  const Image& image_;
  std::span<const Extent> extents_;
  std::vector<std::uint64_t> ends_;  // of each extent, in sectors of the file
  std::array<std::uint8_t, kRiffHeaderBytes> header_;

  std::vector<std::uint8_t> cache_;
  std::vector<SectorState> states_;
  std::uint64_t first_ = 0, count_ = 0;  // sectors of the file in the cache
  std::uint64_t next_fill_;
};

}  // namespace lacuna

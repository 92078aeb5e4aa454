// SPDX-License-Identifier: GPL-3.0-or-later
// Sectors of which no raw read is good by itself, put together from several.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

#include "combine/choose.h"
#include "combine/merge.h"

namespace lacuna {

class ReadJoiner {
 public:
  explicit ReadJoiner(const MergeReads& reads);

  /// Fills `out` (a whole sector, or its user data) and names the reads that took part, when the sector's own code
  /// agrees in the end. `candidates` are what the reads have by themselves.
  std::optional<ReadMask> join(std::uint64_t lba, std::span<const Candidate> candidates, std::span<std::uint8_t> out);

 private:
  const MergeReads& reads_;
  bool possible_ = false;
};

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// Sectors of which no raw read is good by itself, put together from several.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "combine/choose.h"
#include "combine/merge.h"
#include "media/cd/join.h"

namespace lacuna {

/// For one thread.
class ReadJoiner {
 public:
  explicit ReadJoiner(const MergeReads& reads);

  /// Fills `out` (a whole sector, or its user data) and names the reads that took part, when the sector's own code
  /// agrees in the end. `candidates` are what the reads have by themselves.
  std::optional<ReadMask> join(std::uint64_t lba, std::span<const Candidate> candidates, std::span<std::uint8_t> out);

 private:
  const MergeReads& reads_;
  bool possible_ = false;
  std::vector<std::array<std::uint8_t, kRawSectorBytes>> stored_;
  std::vector<WrongBytes> wrong_;
  std::vector<cd::RawVersion> versions_;
  std::array<std::uint8_t, kRawSectorBytes> joined_{};
};

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// TwinBytes: what donors gave to one file, kept in the spool, and whether they agree about it.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "combine/spool.h"
#include "lacuna/content.h"
#include "lacuna/range_set.h"

namespace lacuna {

class TwinBytes {
 public:
  /// Bytes of the file that are kept.
  const RangeSet& filled() const noexcept { return filled_; }

  /// First byte in which `bytes`, from `offset` of the file on, are not those that are kept; what is not kept does not
  /// count.
  std::optional<std::uint64_t> contradiction(const Spool& spool, std::uint64_t offset,
                                             std::span<const std::uint8_t> bytes) const;
  /// Keeps those of `bytes` that are not kept yet. Call settle() before reading. Errors: kCannotWrite.
  Result<Done> keep(Spool& spool, std::uint64_t offset, std::span<const std::uint8_t> bytes);
  /// Gives what was newly kept since the last call.
  RangeSet settle();
  /// False when they are not kept, or not as they were.
  bool read(const Spool& spool, std::uint64_t offset, std::span<std::uint8_t> out) const;

 private:
  struct Piece {
    std::uint64_t offset = 0;
    Spool::Stretch stretch;
    std::uint64_t end() const noexcept { return offset + stretch.bytes; }
  };

  RangeSet filled_;
  std::vector<Piece> pieces_;  // by offset, disjoint
  std::vector<Piece> fresh_;   // the same, not among them yet
};

/// The parts of a set that lie in `r`: O(log n) and what is given.
RangeSet part_of(const RangeSet& set, Range r, std::size_t hint = 0);

/// Longest stretch that is kept as one.
inline constexpr std::uint64_t kTwinPieceBytes = std::uint64_t{1} << 16;

}  // namespace lacuna

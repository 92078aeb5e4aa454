// SPDX-License-Identifier: GPL-3.0-or-later
// ByteStore: the one seam between Lacuna and the operating system's reading. Tests put failing stores in its place.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "lacuna/range_set.h"

namespace lacuna {

/// What one try at reading gave. As with pread(2), fewer bytes than were asked for are no error.
struct ReadAnswer {
  std::size_t bytes = 0;
  int error = 0;  ///< An errno value; 0 when bytes were read or the end was reached.
};

/// A file or device as bytes at positions. Safe for concurrent reads.
class ByteStore {
 public:
  virtual ~ByteStore() = default;

  virtual std::uint64_t size_bytes() const noexcept = 0;
  /// One try at reading out.size() bytes from `at_byte`.
  virtual ReadAnswer read_some(std::uint64_t at_byte, std::span<std::uint8_t> out) const = 0;
  /// The first byte range at or after `at_byte` that was never written; empty, at size_bytes(), when there is none.
  /// Not for concurrent use.
  virtual Range next_hole(std::uint64_t /*at_byte*/) const { return {size_bytes(), size_bytes()}; }
};

}  // namespace lacuna

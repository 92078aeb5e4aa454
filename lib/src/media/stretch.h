// SPDX-License-Identifier: GPL-3.0-or-later
// Reading a stretch of bytes that a file system uses for itself, and which of its sectors could not be had.
#pragma once

#include <cstdint>
#include <vector>

#include "base/bytes.h"
#include "lacuna/image.h"

namespace lacuna {

/// `bytes` of the disc from byte address `position` on; zero where a sector has none.
struct Stretch {
  std::uint64_t position = 0;
  std::vector<std::uint8_t> bytes;
  RangeSet missing_lbas;  ///< Sectors of it without bytes.

  bool whole() const noexcept { return missing_lbas.empty(); }
  /// The part that starts at `offset`; shorter at the end.
  Bytes from(std::uint64_t offset, std::uint64_t length) const {
    if (offset >= bytes.size()) return {};
    return Bytes(bytes).subspan(offset, std::min<std::uint64_t>(length, bytes.size() - offset));
  }
  /// True when every sector that [offset, offset + length) touches was read.
  bool readable(std::uint64_t offset, std::uint64_t length) const noexcept;
};

/// Reads [position, position + bytes). The caller bounds `bytes`; what lies beyond the image costs memory but no time.
Stretch read_stretch(const Image& image, std::uint64_t position, std::uint64_t bytes);

}  // namespace lacuna

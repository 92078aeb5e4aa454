// SPDX-License-Identifier: GPL-3.0-or-later
// Settling: every data sector of a layout is looked at once, in order. What it proves is kept in one byte a sector;
// where syncs or addresses show that the file lost or gained bytes, the layout is mended.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "media/raw_source.h"
#include "media/track_layout.h"

namespace lacuna {

/// What is known of one sector, in a byte.
class SectorMark {
 public:
  SectorMark() = default;
  SectorMark(SectorState state, SectorForm form, bool proven) noexcept
      : bits_(static_cast<std::uint8_t>(static_cast<unsigned>(state) | static_cast<unsigned>(form) << 3 |
                                        (proven ? 0x40U : 0U))) {}

  SectorState state() const noexcept { return static_cast<SectorState>(bits_ & 7); }
  SectorForm form() const noexcept { return static_cast<SectorForm>(bits_ >> 3 & 7); }
  bool proven() const noexcept { return (bits_ & 0x40) != 0; }

  friend bool operator==(SectorMark, SectorMark) = default;

 private:
  std::uint8_t bits_ = static_cast<std::uint8_t>(SectorState::kAbsent);
};

/// By LBA, from TrackLayout::first_lba on.
using SectorMarks = std::vector<SectorMark>;

/// Mends `layout` and gives what its sectors prove. Errors: kNotReadable, kCancelled.
Result<SectorMarks> settle_runs(TrackLayout& layout, const std::string& name, const RawOptions& options,
                                Findings& findings);

}  // namespace lacuna

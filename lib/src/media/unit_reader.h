// SPDX-License-Identifier: GPL-3.0-or-later
// UnitReader: from the units of an image file (TrackLayout) to whole sectors, whatever lies between them, and however
// they are turned.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "media/cd/sector.h"
#include "media/track_layout.h"

namespace lacuna {

/// Units as read: sectors of kRawSectorBytes, in place where the file holds them so, else copied.
class UnitBuffer {
 public:
  /// Reads units [first, first + count) of a run. Nothing fails: units of which some byte could not be read, or lies
  /// behind the end of the store, say so in state(). Bytes that are not held are put where the position tells them
  /// (sync and header of Holds::kMode2), else zero.
  void read(const StoredRun& run, const ByteStore& store, std::uint64_t first, std::size_t count);

  std::size_t size() const noexcept { return states_.size(); }
  /// kGood, or kBad: an I/O error, kAbsent: behind the store's end.
  SectorState state(std::size_t i) const noexcept { return states_[i]; }
  /// The sector's bytes; may be corrected in place. Valid until the next read.
  cd::RawSpan sector(std::size_t i) noexcept { return cd::RawSpan(bytes_.data() + i * stride_ + at_, kRawSectorBytes); }
  /// User data of a unit that holds nothing else (Holds::kUser).
  Bytes user(std::size_t i) const noexcept { return Bytes(bytes_).subspan(i * stride_ + at_, kSectorBytes); }
  /// Bytes that the drive marked as wrong; null where the image has no such marks.
  const cd::ErasureSet* erasures(std::size_t i) const noexcept { return erasures_.empty() ? nullptr : &erasures_[i]; }

 private:
  void fetch(const ByteStore& store, std::uint64_t at_byte, std::size_t unit_bytes, std::size_t held_bytes);
  void put_in_place(const StoredRun& run, std::uint64_t first);
  void take_marks(const UnitLayout& unit);

  std::vector<std::uint8_t> bytes_, raw_;
  std::vector<SectorState> states_;
  std::vector<cd::ErasureSet> erasures_;
  std::size_t stride_ = 0, at_ = 0;
};

/// Reads on through short answers and interruptions until `out` is full, the store ends, or reading fails. Gives the
/// number of bytes that are in `out`.
std::size_t read_fully(const ByteStore& store, std::uint64_t at_byte, std::span<std::uint8_t> out);

}  // namespace lacuna

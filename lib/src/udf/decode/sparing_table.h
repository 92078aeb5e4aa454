// SPDX-License-Identifier: GPL-3.0-or-later
// Sparing tables (UDF 2.2.12): where packets of a sparable partition were moved to.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "udf/decode/tag.h"

namespace lacuna::udf {

inline constexpr std::size_t kSparingEntryBytes = 8;

struct SparingEntry {
  static constexpr std::uint32_t kAvailable = 0xffffffff;
  static constexpr std::uint32_t kDefective = 0xfffffff0;

  std::uint32_t original = 0;       ///< Block of the partition, start of a packet; or one of the above.
  std::uint32_t mapped_sector = 0;  ///< Sector of the volume, start of a packet.

  bool is_moved() const noexcept { return original < kDefective; }  ///< FFFFFFF1 and up are reserved.
};

struct SparingTable {
  Tag tag;
  std::uint32_t sequence = 0;  ///< The highest of several copies wins.
  std::uint16_t count = 0;     ///< As recorded.
  Bytes entries;               ///< 8 bytes each, as many as are there, at most `count`.
  bool cut = false;            ///< There are fewer bytes than `count` entries.
  std::uint64_t bytes = 0;     ///< With entries as many as recorded; for check_tag.

  std::size_t size() const noexcept { return entries.size() / kSparingEntryBytes; }
  SparingEntry operator[](std::size_t i) const noexcept {
    return {le32(entries, i * kSparingEntryBytes), le32(entries, i * kSparingEntryBytes + 4)};
  }
};

/// Nothing: the fixed 56 bytes aren't there, the tag's identifier isn't 0, or the regid isn't "*UDF Sparing Table".
std::optional<SparingTable> decode_sparing_table(Bytes b) noexcept;

}  // namespace lacuna::udf

// SPDX-License-Identifier: GPL-3.0-or-later
// What the entries of an information control block share (ECMA-167 4/14.6), and those that only lead on (4/14.7,
// 4/14.8).
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "udf/decode/basic.h"
#include "udf/decode/tag.h"

namespace lacuna::udf {

inline constexpr std::size_t kIcbTagBytes = 20;

/// 4/14.6.6, UDF 2.3.5.2.
namespace file_type {
inline constexpr std::uint8_t kUnspecified = 0;  ///< The VAT of UDF 1.50.
inline constexpr std::uint8_t kUnallocatedSpace = 1;
inline constexpr std::uint8_t kPartitionIntegrity = 2;
inline constexpr std::uint8_t kIndirect = 3;
inline constexpr std::uint8_t kDirectory = 4;
inline constexpr std::uint8_t kFile = 5;
inline constexpr std::uint8_t kBlockDevice = 6;
inline constexpr std::uint8_t kCharacterDevice = 7;
inline constexpr std::uint8_t kExtendedAttributes = 8;
inline constexpr std::uint8_t kFifo = 9;
inline constexpr std::uint8_t kSocket = 10;
inline constexpr std::uint8_t kTerminal = 11;
inline constexpr std::uint8_t kSymbolicLink = 12;
inline constexpr std::uint8_t kStreamDirectory = 13;
inline constexpr std::uint8_t kVirtualTable = 248;
inline constexpr std::uint8_t kRealTime = 249;
inline constexpr std::uint8_t kMetadata = 250;
inline constexpr std::uint8_t kMetadataMirror = 251;
inline constexpr std::uint8_t kMetadataBitmap = 252;
}  // namespace file_type

/// 4/14.6.8, bits 3 and up.
namespace icb_flag {
inline constexpr std::uint16_t kSorted = 0x0008;  ///< A directory's, 4/8.6.1.
inline constexpr std::uint16_t kNonRelocatable = 0x0010;
inline constexpr std::uint16_t kArchive = 0x0020;
inline constexpr std::uint16_t kSetUid = 0x0040;
inline constexpr std::uint16_t kSetGid = 0x0080;
inline constexpr std::uint16_t kSticky = 0x0100;
inline constexpr std::uint16_t kContiguous = 0x0200;
inline constexpr std::uint16_t kSystem = 0x0400;
inline constexpr std::uint16_t kTransformed = 0x0800;
inline constexpr std::uint16_t kMultiVersion = 0x1000;
inline constexpr std::uint16_t kStream = 0x2000;  ///< UDF 2.00+
inline constexpr std::uint16_t kReserved = 0xc000;
}  // namespace icb_flag

/// 4/14.6.8, bits 0 to 2: what the allocation area holds.
enum class AllocationForm : std::uint8_t {
  kShort = 0,
  kLong = 1,
  kExtended = 2,
  kEmbedded = 3,  ///< The content itself.
  // 4 to 7 are reserved.
};

/// What an ICB tag has against the standard; a bit set.
namespace icb_problem {
inline constexpr std::uint32_t kStrategy = 1;        ///< UDF 2.3.5.1: neither 4 nor 4096.
inline constexpr std::uint32_t kAllocationForm = 2;  ///< 4/14.6.8: reserved.
inline constexpr std::uint32_t kReserved = 4;        ///< 4/14.6.8, 4/14.6.5: reserved bits or byte are set.
}  // namespace icb_problem

/// ICB tag, 4/14.6.
struct IcbTag {
  std::uint32_t prior_direct_entries = 0;
  std::uint16_t strategy = 0;
  std::uint16_t strategy_parameter = 0;
  std::uint16_t max_entries = 0;  ///< Blocks of this ICB extent.
  std::uint8_t file_type = 0;     ///< file_type
  LbAddr parent;                  ///< 4/14.6.7: the ICB that holds an indirect entry to this one; all zero: none.
  std::uint16_t flags = 0;        ///< icb_flag, and the form in bits 0 to 2.
  std::uint32_t problems = 0;     ///< icb_problem

  /// One of the reserved forms as well: then icb_problem::kAllocationForm is set.
  AllocationForm form() const noexcept { return static_cast<AllocationForm>(flags & 7); }
  bool has(std::uint16_t flag) const noexcept { return (flags & flag) != 0; }
};
/// The caller has checked that there are 20 bytes.
IcbTag decode_icb_tag(Bytes b) noexcept;

/// The ICB tag that follows the tag of an entry of an ICB (identifiers 103 to 105, 107, 109, 10A); nothing for others,
/// or when there are too few bytes.
std::optional<IcbTag> decode_entry_icb_tag(Bytes entry) noexcept;

/// Indirect entry, 4/14.7: this file's ICB goes on elsewhere.
struct IndirectEntry {
  Tag tag;
  IcbTag icb;
  LongAd next;
  std::uint64_t bytes = 0;  ///< What the fields take; for check_tag.
};
/// Nothing: the tag's identifier is another one, or the fields aren't there.
std::optional<IndirectEntry> decode_indirect_entry(Bytes b) noexcept;

/// Terminal entry, 4/14.8: no more entries in this ICB.
struct TerminalEntry {
  Tag tag;
  IcbTag icb;
  std::uint64_t bytes = 0;
};
std::optional<TerminalEntry> decode_terminal_entry(Bytes b) noexcept;

}  // namespace lacuna::udf

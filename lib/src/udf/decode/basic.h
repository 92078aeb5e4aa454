// SPDX-License-Identifier: GPL-3.0-or-later
// The basic types of ECMA-167: dates, entity identifiers, addresses, extents.
// Functions that give a value and no optional want their caller to have checked that enough bytes are there.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string_view>

#include "base/bytes.h"
#include "lacuna/timestamp.h"

namespace lacuna::udf {

// --- timestamp, ECMA-167 1/7.3 ---

inline constexpr std::size_t kTimestampBytes = 12;

/// What a recorded time has against the standard; a bit set.
namespace time_problem {
inline constexpr std::uint32_t kNotADate = 1;  ///< A field is out of its range, or there are fewer than 12 bytes.
inline constexpr std::uint32_t kType = 2;      ///< 1/7.3.1: not UTC, local time, or "by agreement" (0, 1, 2).
inline constexpr std::uint32_t kZone = 4;      ///< 1/7.3.1: beyond 24 hours and not -2047; taken as none.
inline constexpr std::uint32_t kFraction = 8;  ///< 1/7.3.8 to 10: a part of the second is over 99; taken as 0.
}  // namespace time_problem

struct RecordedTime {
  Timestamp time;              ///< Not known: not specified (all 12 bytes zero), or kNotADate.
  bool has_zone = false;       ///< A local time with its zone, or UTC.
  std::uint8_t type = 0;       ///< 0 UTC, 1 local time, 2 by agreement of its users.
  std::uint32_t problems = 0;  ///< time_problem
};
RecordedTime decode_timestamp(Bytes b) noexcept;

/// The time at `at`; any problem that it has sets `bit` in `problems`.
Timestamp time_at(Bytes b, std::size_t at, std::uint32_t bit, std::uint32_t& problems) noexcept;

// --- regid, ECMA-167 1/7.4 and UDF 2.1.5 ---

inline constexpr std::size_t kRegidBytes = 32;

/// UDF 2.1.5.3: the system that wrote something.
struct WriterSystem {
  std::uint8_t os_class = 0;       ///< UDF 6.3.1
  std::uint8_t os_identifier = 0;  ///< UDF 6.3.2
};
/// "UNIX", "DOS", ... (UDF 6.3.1); empty for undefined and reserved numbers.
std::string_view os_class_name(std::uint8_t os_class) noexcept;

/// An entity identifier. What its suffix means depends on the identifier (UDF 2.1.5.3): three forms.
struct Regid {
  Bytes raw;  ///< 32 bytes, or none when default-made.

  std::uint8_t flags() const noexcept { return raw.empty() ? std::uint8_t{0} : raw[0]; }
  /// Without the zeros behind it.
  std::string_view identifier() const noexcept;
  bool is(std::string_view name) const noexcept { return identifier() == name; }
  Bytes suffix() const noexcept { return raw.empty() ? Bytes{} : raw.subspan(24, 8); }

  /// Domain and UDF suffixes: the revision in BCD, 0x0250 for 2.50; 0 when not recorded.
  std::uint16_t revision() const noexcept { return raw.empty() ? std::uint16_t{0} : le16(raw, 24); }
  /// Domain suffix: 1 hard and 2 soft write protection.
  std::uint8_t domain_flags() const noexcept { return raw.empty() ? std::uint8_t{0} : raw[26]; }
  WriterSystem udf_system() const noexcept;             ///< UDF suffix.
  WriterSystem implementation_system() const noexcept;  ///< Implementation suffix.
};
/// The 32 bytes at `at`, which the caller has checked.
inline Regid regid_at(Bytes b, std::size_t at) noexcept { return {b.subspan(at, kRegidBytes)}; }

// --- charspec, ECMA-167 1/7.2.1 ---

inline constexpr std::size_t kCharspecBytes = 64;

/// True for the only character set of UDF (2.1.2): type 0, "OSTA Compressed Unicode".
bool is_osta_charspec(Bytes charspec) noexcept;

// --- extents and addresses, ECMA-167 3/7.1, 4/7.1, 4/14.14 ---

/// 4/14.14.1.1: the two most significant bits of an extent's length.
enum class ExtentType : std::uint8_t {
  kRecorded = 0,     ///< Recorded and allocated.
  kUnrecorded = 1,   ///< Allocated, not recorded: reads as zeros.
  kUnallocated = 2,  ///< Neither: reads as zeros.
  kContinued = 3,    ///< The next extent of allocation descriptors.
};
inline constexpr std::uint32_t kMaxExtentBytes = 0x3fffffff;

constexpr ExtentType extent_type(std::uint32_t length_field) noexcept {
  return static_cast<ExtentType>(length_field >> 30);
}
constexpr std::uint32_t extent_bytes(std::uint32_t length_field) noexcept { return length_field & kMaxExtentBytes; }

/// extent_ad, 3/7.1: in sectors of the volume.
struct ExtentAd {
  std::uint32_t length_bytes = 0;  ///< As recorded; more than kMaxExtentBytes is against the standard.
  std::uint32_t sector = 0;

  bool none() const noexcept { return length_bytes == 0; }
};
inline constexpr std::size_t kExtentAdBytes = 8;
inline ExtentAd extent_ad_at(Bytes b, std::size_t at) noexcept { return {le32(b, at), le32(b, at + 4)}; }

/// lb_addr, 4/7.1.
struct LbAddr {
  std::uint32_t block = 0;      ///< Logical block of the partition.
  std::uint16_t partition = 0;  ///< Partition reference number: index into the logical volume's partition maps.

  friend bool operator==(const LbAddr&, const LbAddr&) = default;
};
inline LbAddr lb_addr_at(Bytes b, std::size_t at) noexcept { return {le32(b, at), le16(b, at + 4)}; }

/// short_ad, 4/14.14.1: in the partition of the structure that holds it.
struct ShortAd {
  ExtentType type = ExtentType::kRecorded;
  std::uint32_t length_bytes = 0;
  std::uint32_t block = 0;

  bool none() const noexcept { return length_bytes == 0; }
};
inline constexpr std::size_t kShortAdBytes = 8;
inline ShortAd short_ad_at(Bytes b, std::size_t at) noexcept {
  const std::uint32_t length = le32(b, at);
  return {extent_type(length), extent_bytes(length), le32(b, at + 4)};
}

/// long_ad, 4/14.14.2, its implementation use as UDF 2.3.10.1 and 2.3.4.3 have it.
struct LongAd {
  ExtentType type = ExtentType::kRecorded;
  std::uint32_t length_bytes = 0;
  LbAddr location;
  std::uint16_t flags = 0;      ///< Bit 0: erased.
  std::uint32_t unique_id = 0;  ///< In a file identifier's ICB, from UDF 2.00 on: low half of the entry's unique id.

  bool none() const noexcept { return length_bytes == 0; }
  bool erased() const noexcept { return (flags & 1) != 0; }
};
inline constexpr std::size_t kLongAdBytes = 16;
inline LongAd long_ad_at(Bytes b, std::size_t at) noexcept {
  const std::uint32_t length = le32(b, at);
  return {extent_type(length), extent_bytes(length), lb_addr_at(b, at + 4), le16(b, at + 10), le32(b, at + 12)};
}

/// ext_ad, 4/14.14.3.
struct ExtAd {
  ExtentType type = ExtentType::kRecorded;
  std::uint32_t length_bytes = 0;
  std::uint32_t recorded_bytes = 0;     ///< Less than length_bytes: the rest of the extent is not recorded.
  std::uint32_t information_bytes = 0;  ///< What the recorded bytes stand for.
  LbAddr location;
};
inline constexpr std::size_t kExtAdBytes = 20;
ExtAd ext_ad_at(Bytes b, std::size_t at) noexcept;

}  // namespace lacuna::udf

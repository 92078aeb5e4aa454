// SPDX-License-Identifier: GPL-3.0-or-later
// Extended attribute records (ECMA-119 9.5). The standard counts bytes from 1; offsets here are from 0.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "lacuna/timestamp.h"

namespace lacuna::iso9660 {

inline constexpr std::size_t kEarFixedBytes = 250;

/// What a decoded record has against the standard; a bit set.
namespace ear_problem {
inline constexpr std::uint32_t kOwnerHalves = 1;   ///< 9.5.1
inline constexpr std::uint32_t kGroupHalves = 2;   ///< 9.5.2
inline constexpr std::uint32_t kDate = 4;          ///< 9.5.4 to 9.5.7: one is not a date.
inline constexpr std::uint32_t kVersion = 8;       ///< 9.5.13: not 1.
inline constexpr std::uint32_t kLengths = 16;      ///< 9.5.14, 9.5.16: the variable parts run over what was given.
inline constexpr std::uint32_t kPermissions = 32;  ///< 9.5.3: a bit that must be one is not.
}  // namespace ear_problem

/// ECMA-119 9.5.
struct ExtendedAttributes {
  BothEndian<std::uint16_t> owner;
  BothEndian<std::uint16_t> group;
  std::uint16_t permissions = 0;  ///< 9.5.3: a bit that is ZERO permits. Meant only with file_flag::kProtection.
  Timestamp created, modified, expires, effective;
  std::uint8_t record_format = 0;      ///< 9.5.8
  std::uint8_t record_attributes = 0;  ///< 9.5.9
  BothEndian<std::uint16_t> record_length;
  Bytes system_id;   ///< 32 bytes.
  Bytes system_use;  ///< 64 bytes.
  std::uint8_t version = 0;
  Bytes application_use;   ///< LEN_AU bytes, or none (kLengths).
  Bytes escape_sequences;  ///< LEN_ESC bytes, or none (kLengths).
  std::uint32_t problems = 0;
};

/// `ear` is the record's logical blocks. Nothing when shorter than the fixed part.
std::optional<ExtendedAttributes> decode_extended_attributes(Bytes ear);

}  // namespace lacuna::iso9660

// SPDX-License-Identifier: GPL-3.0-or-later
// CD-ROM XA attributes at the start of a directory record's system use field: 14 bytes, big-endian. Offsets are from 0.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"

namespace lacuna::iso9660 {

inline constexpr std::size_t kXaBytes = 14;

/// Attribute bits that tell how a file is recorded. The "other" permissions of some headers overlap two of them
/// (1000, 4000), so no permission is derived from those.
namespace xa_attribute {
inline constexpr std::uint16_t kForm1 = 0x0800;
inline constexpr std::uint16_t kForm2 = 0x1000;  ///< Sectors of 2324 bytes: a plain image doesn't hold all of the file.
inline constexpr std::uint16_t kInterleaved = 0x2000;
inline constexpr std::uint16_t kCdAudio = 0x4000;  ///< The extent lies in an audio track.
inline constexpr std::uint16_t kDirectory = 0x8000;
}  // namespace xa_attribute

struct XaAttributes {
  std::uint16_t group = 0;
  std::uint16_t user = 0;
  std::uint16_t attributes = 0;
  std::uint8_t file_number = 0;
  bool reserved_zero = true;
};

/// Nothing: too short, or no "XA" at 6.
std::optional<XaAttributes> decode_xa(Bytes system_use) noexcept;

}  // namespace lacuna::iso9660

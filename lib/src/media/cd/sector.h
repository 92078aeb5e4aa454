// SPDX-License-Identifier: GPL-3.0-or-later
// One sector of a CD with all its bytes (ECMA-130 14, CD-ROM XA): what it is, whether its own code proves it, and its
// repair by its own parity.
#pragma once

#include <bitset>
#include <cstdint>
#include <optional>
#include <span>

#include "base/bytes.h"
#include "lacuna/tracks.h"

namespace lacuna::cd {

using RawSpan = std::span<std::uint8_t, kRawSectorBytes>;
using ErasureSet = std::bitset<kRawSectorBytes>;

inline constexpr std::size_t kSyncBytes = 12;

/// ECMA-130 14.1: 00, ten times FF, 00.
bool has_sync(Bytes sector) noexcept;

/// Absolute address of a header (ECMA-130 14.1 b, BCD) as LBA, -150 for 00:00:00; lead-in addresses are negative.
/// Nothing: no BCD, or no address.
std::optional<std::int32_t> header_lba(std::uint8_t minutes, std::uint8_t seconds, std::uint8_t frames) noexcept;

/// What is known of a sector before its bytes are looked at. Absent facts are left to the bytes.
struct Expected {
  std::optional<std::int32_t> lba;         ///< Where it stands.
  SectorForm form = SectorForm::kUnknown;  ///< That of its neighbours.
  const ErasureSet* erasures = nullptr;    ///< Bytes that are known to be wrong or missing.
};

struct Sector {
  /// kGood: its EDC agrees. kRepaired: it agrees after correction. kBad: it does not. Without an EDC kGood, and
  /// `proven` is false: the sector's own bytes say nothing of their being right.
  SectorState state = SectorState::kBad;
  bool proven = false;
  SectorForm form = SectorForm::kUnknown;
  std::uint16_t data_at = 0;        ///< Offset of its user data.
  std::uint16_t data_bytes = 0;     ///< 0 when the form has none or isn't known.
  std::optional<std::int32_t> lba;  ///< By its header, as corrected.
  std::uint16_t corrected_bytes = 0;
};

/// Looks at a sector and, where it does not prove itself, corrects it in place; bytes of a sector that stays bad are
/// left as they were. A sector that proves itself but whose header names another address than expected is still good:
/// `lba` tells. Deterministic. Safe for concurrent use.
Sector prove(RawSpan sector, const Expected& expected = {}) noexcept;

/// The same without correction, for many: as fast as the EDC.
Sector look(Bytes sector, const Expected& expected = {}) noexcept;

}  // namespace lacuna::cd

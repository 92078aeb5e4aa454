// SPDX-License-Identifier: GPL-3.0-or-later
// One sector of a CD with all its bytes (ECMA-130 14, CD-ROM XA): what it is, whether its own code proves it, and its
// repair by its own parity.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>

#include "base/bytes.h"
#include "lacuna/tracks.h"

namespace lacuna::cd {

using RawSpan = std::span<std::uint8_t, kRawSectorBytes>;
using ErasureSet = WrongBytes;

inline constexpr std::size_t kSyncBytes = 12;

/// ECMA-130 14.1: 00, ten times FF, 00.
bool has_sync(Bytes sector) noexcept;

/// Absolute address of a header (ECMA-130 14.1 b, BCD) as LBA, -150 for 00:00:00; lead-in addresses are negative.
/// Nothing: no BCD, or no address.
std::optional<std::int32_t> header_lba(std::uint8_t minutes, std::uint8_t seconds, std::uint8_t frames) noexcept;

/// The other way: minutes, seconds and frames. Nothing: no header can name the LBA.
std::optional<std::array<std::uint8_t, 3>> header_address(std::int32_t lba) noexcept;

/// What is known of a sector before its bytes are looked at. Absent facts are left to the bytes.
struct Expected {
  std::optional<std::int32_t> lba = {};    ///< Where it stands.
  SectorForm form = SectorForm::kUnknown;  ///< That of its neighbours.
  const ErasureSet* erasures = nullptr;    ///< Bytes that are known to be wrong or missing.
};

struct Sector {
  /// kGood: its EDC agrees. kRepaired: it agrees after correction. kBad: it does not. Without an EDC kGood, and
  /// `proven` is false: the sector's own bytes say nothing of their being right; kSuspect when its sync, its address or
  /// (formless mode 2) the lack of such a neighbour speaks against it.
  SectorState state = SectorState::kBad;
  bool proven = false;
  SectorForm form = SectorForm::kUnknown;  ///< Of a bad sector, what its neighbours or its own words say.
  std::uint16_t data_at = 0;               ///< Offset of its user data.
  std::uint16_t data_bytes = 0;            ///< 0 when the form has none or isn't known.
  std::optional<std::int32_t> lba;         ///< By its header, as corrected, which only mode 1 has in its code.
  std::uint16_t corrected_bytes = 0;
};

/// Looks at a sector and, where it does not prove itself, corrects it in place; bytes of a sector that stays bad are
/// left as they were, and so are the sync and header of mode 2, which its codes don't cover. A sector that proves
/// itself but whose header names another address than expected is still good: `lba` tells. Deterministic. Safe for
/// concurrent use.
///
/// Odds: bytes by chance pass one comparison with an EDC once in 2^32. A sector gets at most 21 such comparisons, of
/// which 12 only after all 86 codewords of P agree too (docs/formats/raw.md).
Sector prove(RawSpan sector, const Expected& expected = {}) noexcept;

/// The same without correction, for many: as fast as the EDC. Bad, too, when it has not kRawSectorBytes.
Sector look(Bytes sector, const Expected& expected = {}) noexcept;

}  // namespace lacuna::cd

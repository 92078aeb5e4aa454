// SPDX-License-Identifier: GPL-3.0-or-later
// Makes raw CD sectors (ECMA-130 14, annex A; CD-ROM XA) for tests, slowly and straight from the standard's equations:
// it shares neither code nor tables with the library.
#pragma once

#include <array>
#include <cstdint>

#include "base/bytes.h"
#include "lacuna/tracks.h"

namespace lacuna::test {

using RawSector = std::array<std::uint8_t, kRawSectorBytes>;

struct RawOptions {
  /// File, channel, submode and coding of mode 2 (CD-ROM XA). Of the submode, bit 20h is put in by the form.
  std::array<std::uint8_t, 4> subheader{0, 0, 0x08, 0};
  bool form_2_edc = true;       ///< Else its field is 0.
  std::uint8_t mode_marks = 0;  ///< Bits of the mode byte besides the mode.
};

/// A sector of a form other than audio and unknown, at an LBA from -150 to 404849; the payload is user data from its
/// start, the rest of which is zero.
RawSector encode_raw(SectorForm form, std::int32_t lba, Bytes payload, const RawOptions& options = {});

/// ECMA-130 14.3, by long division.
std::uint32_t edc_by_division(Bytes bytes);

/// ECMA-130 A.5, A.6: writes both parities; of mode 2 form 1 with `header_is_zero`.
void put_parity(RawSector& sector, bool header_is_zero);

}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
// Where the fields of each form of sector stand (ECMA-130 14; CD-ROM XA subheaders), what a sector says of its own
// form, and its repair.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "media/cd/sector.h"

namespace lacuna::cd {

struct FormLayout {
  std::uint16_t data_at = 0, data_bytes = 0;
  std::uint16_t edc_from = 0, edc_at = 0;  ///< The EDC at `edc_at` covers the bytes from `edc_from` to there; 0: none.
};
constexpr FormLayout layout_of(SectorForm form) noexcept {
  switch (form) {
    case SectorForm::kAudio:
      return {0, kRawSectorBytes};
    case SectorForm::kMode1:
      return {16, 2048, 0, 2064};
    case SectorForm::kMode2:
      return {16, 2336};
    case SectorForm::kForm1:
      return {24, 2048, 16, 2072};
    case SectorForm::kForm2:
      return {24, 2324, 16, 2348};
    default:
      return {};
  }
}

inline constexpr std::size_t kHeaderAt = 12, kModeAt = 15, kSubheaderAt = 16, kSubheaderBytes = 4;

/// By the mode and, of mode 2, by the subheader: kMode2 when its two copies differ. The mode's other bits are marks of
/// packets and links. Common practice: bit 20h of the submode means form 2.
SectorForm told_form(Bytes sector) noexcept;

/// The forms with an EDC, those that are told first.
std::array<SectorForm, 3> coded_forms(SectorForm told, SectorForm expected) noexcept;

/// kSaysNothing: form 2 without an EDC (its field is 0), or zeros, of which an EDC of 0 is no proof.
enum class EdcAnswer : std::uint8_t { kAgrees, kDisagrees, kSaysNothing };
EdcAnswer compare_edc(Bytes sector, SectorForm form) noexcept;

using RawSector = std::array<std::uint8_t, kRawSectorBytes>;

void put_sync(RawSpan sector) noexcept;

/// kUnknown: no form could be proven, and nothing was changed.
struct Repair {
  SectorForm form = SectorForm::kUnknown;
  std::uint16_t corrected_bytes = 0;
};
Repair repair(RawSpan sector, const Expected& expected) noexcept;

}  // namespace lacuna::cd

// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/cd/forms.h"

#include <algorithm>

#include "media/cd/edc.h"

namespace lacuna::cd {

SectorForm told_form(Bytes sector) noexcept {
  switch (sector[kModeAt] & 3) {
    case 0:
      return SectorForm::kMode0;
    case 1:
      return SectorForm::kMode1;
    case 2:
      break;
    default:
      return SectorForm::kUnknown;
  }
  const Bytes first = sector.subspan(kSubheaderAt, kSubheaderBytes);
  if (!std::ranges::equal(first, sector.subspan(kSubheaderAt + kSubheaderBytes, kSubheaderBytes))) {
    return SectorForm::kMode2;
  }
  return (first[2] & 0x20) != 0 ? SectorForm::kForm2 : SectorForm::kForm1;
}

std::array<SectorForm, 3> coded_forms(SectorForm told, SectorForm expected) noexcept {
  std::array forms{SectorForm::kMode1, SectorForm::kForm1, SectorForm::kForm2};
  const auto put_first = [&forms](SectorForm form) {
    const auto at = std::ranges::find(forms, form);
    if (at != forms.end()) std::rotate(forms.begin(), at, at + 1);
  };
  put_first(expected);
  put_first(told);
  return forms;
}

EdcAnswer compare_edc(Bytes sector, SectorForm form) noexcept {
  const FormLayout layout = layout_of(form);
  const Bytes covered = sector.subspan(layout.edc_from, std::size_t{layout.edc_at} - layout.edc_from);
  const std::uint32_t recorded = le32(sector, layout.edc_at);
  if (recorded == 0 && (form == SectorForm::kForm2 || all_zero(covered))) return EdcAnswer::kSaysNothing;
  return edc(covered) == recorded ? EdcAnswer::kAgrees : EdcAnswer::kDisagrees;
}

}  // namespace lacuna::cd

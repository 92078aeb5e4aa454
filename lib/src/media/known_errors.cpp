// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/known_errors.h"

#include <algorithm>

namespace lacuna {

const cd::ErasureSet* KnownErrors::of(std::uint64_t lba, SectorForm form, const cd::ErasureSet* marks,
                                      cd::ErasureSet& scratch) const {
  const Range sector{lba * kSectorBytes, (lba + 1) * kSectorBytes};
  if (bad_bytes_.empty() || !bad_bytes_.intersects(sector)) return marks;
  const std::size_t data_at = form == SectorForm::kMode1 ? 16 : form == SectorForm::kForm1 ? 24 : 0;
  if (data_at == 0) return marks;
  scratch = marks != nullptr ? *marks : cd::ErasureSet();
  const std::span<const Range> ranges = bad_bytes_.ranges();
  for (std::size_t i = bad_bytes_.first_ending_after(sector.first); i < ranges.size() && ranges[i].first < sector.end;
       ++i) {
    const std::uint64_t end = std::min(ranges[i].end, sector.end);
    for (std::uint64_t at = std::max(ranges[i].first, sector.first); at < end; ++at) {
      scratch.set(data_at + static_cast<std::size_t>(at - sector.first));
    }
  }
  return &scratch;
}

}  // namespace lacuna

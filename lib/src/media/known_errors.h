// SPDX-License-Identifier: GPL-3.0-or-later
// KnownErrors: which bytes of a raw sector are wrong for certain, by the drive's own marks and by a map that counts in
// bytes. The parity corrects twice as many of these (ECMA-130 annex A).
#pragma once

#include <cstdint>
#include <utility>

#include "lacuna/range_set.h"
#include "media/cd/sector.h"

namespace lacuna {

/// Safe for concurrent use.
class KnownErrors {
 public:
  /// `bad_bytes`: addresses on the disc, of user data (SectorMap::bad_bytes).
  explicit KnownErrors(RangeSet bad_bytes = {}) : bad_bytes_(std::move(bad_bytes)) {}

  /// Those of the sector at `lba`, of this form; `marks`, may be null: the drive's. Null: none are known. The answer
  /// may lie in `scratch`.
  const cd::ErasureSet* of(std::uint64_t lba, SectorForm form, const cd::ErasureSet* marks,
                           cd::ErasureSet& scratch) const;

 private:
  RangeSet bad_bytes_;
};

}  // namespace lacuna

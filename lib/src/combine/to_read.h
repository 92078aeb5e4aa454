// SPDX-License-Identifier: GPL-3.0-or-later
// ToRead: the sectors of a disc that another try might make good.
#pragma once

#include <cstdint>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/range_set.h"
#include "lacuna/verdict.h"

namespace lacuna::combine {

/// LBAs. Inside the image those that are neither good nor repaired; outside it, up to the last sector that the medium
/// may have, all.
class ToRead {
 public:
  ToRead(const Image& image, const SectorMap& states, std::uint64_t medium_end_lba);

  /// Appends those of [first, end). `raw`: of whole sectors. False when some lie beyond the medium; those are left out.
  bool collect(Range lbas, bool raw, std::vector<Range>& out) const;
  /// Of these LBAs, what is known of whole sectors is what this map says.
  void set_whole_sectors(const SectorMap& states);

  const RangeSet& inside() const noexcept { return inside_; }
  /// Of [first, end), how many were never tried: unread, or outside the image.
  std::uint64_t unread(Range lbas) const noexcept;
  Range image() const noexcept { return image_; }

 private:
  Range image_;
  std::uint64_t medium_end_;
  RangeSet inside_, whole_sectors_, unread_;
};

}  // namespace lacuna::combine

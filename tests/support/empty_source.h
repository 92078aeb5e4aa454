// SPDX-License-Identifier: GPL-3.0-or-later
// EmptySource: sectors that nobody reads, as many as wanted; a map tells all there is to know of them.
#pragma once

#include <algorithm>
#include <cstdint>

#include "lacuna/image.h"

namespace lacuna::test {

class EmptySource final : public SectorSource {
 public:
  explicit EmptySource(std::uint64_t sectors) : sectors_(sectors) {}
  std::uint64_t end_lba() const noexcept override { return sectors_; }
  const RangeSet& holes() const noexcept override { return holes_; }
  void read(std::uint64_t, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    std::ranges::fill(out, std::uint8_t{0});
    std::ranges::fill(states, SectorState::kGood);
  }

 private:
  std::uint64_t sectors_;
  RangeSet holes_;
};

}  // namespace lacuna::test

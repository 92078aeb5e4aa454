// SPDX-License-Identifier: GPL-3.0-or-later
// A plain image that is being written, as a source. What its sectors are worth is for a map to say.
#pragma once

#include <algorithm>
#include <utility>

#include "lacuna/image.h"
#include "salvage/output_folder.h"

namespace lacuna {

class WrittenSource final : public SectorSource {
 public:
  WrittenSource(Fd fd, std::uint64_t first_lba, std::uint64_t end_lba)
      : fd_(std::move(fd)), first_lba_(first_lba), end_lba_(end_lba) {}

  std::uint64_t first_lba() const noexcept override { return first_lba_; }
  std::uint64_t end_lba() const noexcept override { return end_lba_; }
  const RangeSet& holes() const noexcept override {
    static const RangeSet none;
    return none;
  }
  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    std::size_t got = 0;
    const int error = read_fully_at(fd_.get(), (lba - first_lba_) * kSectorBytes, out, got);
    std::ranges::fill(out.subspan(got), std::uint8_t{0});
    std::ranges::fill(states, error == 0 ? SectorState::kGood : SectorState::kBad);
  }

 private:
  Fd fd_;
  std::uint64_t first_lba_, end_lba_;
};

}  // namespace lacuna

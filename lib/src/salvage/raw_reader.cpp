// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/raw_reader.h"

#include <algorithm>
#include <cstring>

#include "disc/raw_content.h"
#include "salvage/gaps.h"
#include "salvage/pieces.h"

namespace lacuna {
namespace {

constexpr std::uint64_t kFirstRawFill = 4;      // sectors, for reads at random places
constexpr std::uint64_t kLargestRawFill = 256;  // sectors: 588 KiB

}  // namespace

RawReader::RawReader(const Disc& disc, NodeId file)
    : image_(disc.image()),
      extents_(disc.tree().extents(disc.tree().node(file))),
      header_(riff_header(disc.tree(), file)),
      next_fill_(kFirstRawFill) {
  std::uint64_t sectors = 0;
  for (const Extent& e : extents_) {
    sectors += e.bytes / kSectorBytes;
    ends_.push_back(sectors);
  }
}

void RawReader::read(std::uint64_t offset, std::span<std::uint8_t> out, std::vector<Gap>& gaps) {
  if (offset < kRiffHeaderBytes) {
    const auto take = static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), kRiffHeaderBytes - offset));
    std::memcpy(out.data(), header_.data() + offset, take);
    out = out.subspan(take);
    offset += take;
  }
  while (!out.empty()) {
    const std::uint64_t index = (offset - kRiffHeaderBytes) / kRawSectorBytes;
    const auto within = static_cast<std::size_t>((offset - kRiffHeaderBytes) % kRawSectorBytes);
    if (ends_.empty() || index >= ends_.back()) {
      std::memset(out.data(), 0, out.size());
      append_gap(gaps, offset, out.size(), SectorState::kAbsent);
      return;
    }
    if (index < first_ || index >= first_ + count_) load(index);
    const auto at = static_cast<std::size_t>(index - first_);
    const std::size_t take = std::min<std::size_t>(out.size(), kRawSectorBytes - within);
    std::memcpy(out.data(), cache_.data() + at * kRawSectorBytes + within, take);
    if (!is_sound(states_[at])) append_gap(gaps, offset, take, states_[at]);
    out = out.subspan(take);
    offset += take;
  }
}

/// Fills the cache from sector `index` of the file on, not beyond the stretch that it lies on.
void RawReader::load(std::uint64_t index) {
  const bool sequential = count_ != 0 && index == first_ + count_;
  next_fill_ = sequential ? std::min(next_fill_ * 4, kLargestRawFill) : kFirstRawFill;
  const auto e = static_cast<std::size_t>(std::upper_bound(ends_.begin(), ends_.end(), index) - ends_.begin());
  const std::uint64_t start = e == 0 ? 0 : ends_[e - 1];
  const bool placed = extents_[e].has_place();
  const ExtentPart part = placed ? extent_part_at(extents_[e], (index - start) * kSectorBytes)
                                 : ExtentPart{0, (ends_[e] - index) * kSectorBytes};
  count_ = std::clamp<std::uint64_t>(part.bytes / kSectorBytes, 1, next_fill_);
  first_ = index;
  const auto count = static_cast<std::size_t>(count_);
  cache_.resize(std::max(cache_.size(), count * kRawSectorBytes));
  states_.resize(std::max(states_.size(), count));
  if (placed) {
    image_.read_raw(part.position / kSectorBytes, std::span(cache_).first(count * kRawSectorBytes),
                    std::span(states_).first(count));
  } else {
    std::fill_n(cache_.begin(), count * kRawSectorBytes, std::uint8_t{0});
    std::fill_n(states_.begin(), count, SectorState::kAbsent);
  }
}

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/stored_reader.h"

#include <algorithm>
#include <cstring>

#include "salvage/gaps.h"
#include "salvage/pieces.h"

namespace lacuna {
namespace {

constexpr std::uint64_t kFirstFill = 8;      // sectors, for reads at random places
constexpr std::uint64_t kLargestFill = 512;  // sectors: 1 MiB
constexpr std::size_t kDirectBytes = 64 * std::size_t{1024};

void set_absent(std::span<std::uint8_t> out, std::uint64_t offset, std::vector<Gap>& gaps) {
  if (out.empty()) return;
  std::memset(out.data(), 0, out.size());
  append_gap(gaps, offset, out.size(), SectorState::kAbsent);
}

}  // namespace

StoredReader::StoredReader(const Image& image, std::span<const Extent> extents, std::uint64_t size)
    : image_(image), extents_(extents), size_(0), window_(byte_window(image)), next_fill_(kFirstFill) {
  ends_.reserve(extents.size());
  for (const Extent& e : extents) {
    size_ = saturating_add(size_, e.bytes);
    ends_.push_back(size_);
  }
  size_ = std::min(size_, size);
}

void StoredReader::read(std::uint64_t offset, std::span<std::uint8_t> out, std::vector<Gap>& gaps) {
  while (!out.empty()) {
    if (offset >= size_) {
      set_absent(out, offset, gaps);
      return;
    }
    if (ends_[at_extent_] <= offset || (at_extent_ != 0 && ends_[at_extent_ - 1] > offset)) {
      at_extent_ = static_cast<std::size_t>(std::upper_bound(ends_.begin(), ends_.end(), offset) - ends_.begin());
    }
    const std::uint64_t start = at_extent_ == 0 ? 0 : ends_[at_extent_ - 1];
    const Extent& e = extents_[at_extent_];
    ExtentPart s = e.has_place() ? extent_part_at(e, offset - start) : ExtentPart{0, e.bytes - (offset - start)};
    s.bytes = std::min(s.bytes, size_ - offset);
    const auto take = static_cast<std::size_t>(std::min<std::uint64_t>(s.bytes, out.size()));
    if (e.has_place()) {
      read_stretch(s.position, s.bytes, offset, out.first(take), gaps);
    } else if (e.position == kZeros) {
      std::memset(out.data(), 0, take);
    } else {
      set_absent(out.first(take), offset, gaps);
    }
    out = out.subspan(take);
    offset += take;
  }
}

void StoredReader::read_stretch(std::uint64_t position, std::uint64_t stretch_bytes, std::uint64_t offset,
                                std::span<std::uint8_t> out, std::vector<Gap>& gaps) {
  const std::uint64_t stretch_end = std::min(saturating_add(position, stretch_bytes), window_.end);
  if (position < window_.first) {
    const auto before = static_cast<std::size_t>(std::min<std::uint64_t>(window_.first - position, out.size()));
    set_absent(out.first(before), offset, gaps);
    out = out.subspan(before);
    offset += before;
    position += before;
  }
  while (!out.empty() && position < window_.end) {
    const std::uint64_t lba = position / kSectorBytes;
    const auto skip = static_cast<std::size_t>(position % kSectorBytes);
    std::size_t taken;
    const std::uint64_t whole = std::min<std::uint64_t>(out.size(), window_.end - position) / kSectorBytes;
    if (skip == 0 && whole * kSectorBytes >= kDirectBytes) {
      taken = static_cast<std::size_t>(std::min(whole, kLargestFill)) * kSectorBytes;
      read_direct(lba, offset, out.first(taken), gaps);
    } else {
      if (lba < cache_lba_ || lba >= cache_lba_ + cache_sectors_) {
        fill_cache(lba, (stretch_end - 1) / kSectorBytes + 1);
      }
      const auto at = static_cast<std::size_t>(lba - cache_lba_);
      taken =
          static_cast<std::size_t>(std::min<std::uint64_t>({kSectorBytes - skip, out.size(), window_.end - position}));
      std::memcpy(out.data(), cache_.data() + at * kSectorBytes + skip, taken);
      if (!is_sound(states_[at])) append_gap(gaps, offset, taken, states_[at]);
    }
    out = out.subspan(taken);
    offset += taken;
    position += taken;
  }
  set_absent(out, offset, gaps);
}

void StoredReader::read_direct(std::uint64_t lba, std::uint64_t offset, std::span<std::uint8_t> out,
                               std::vector<Gap>& gaps) {
  const std::size_t sectors = out.size() / kSectorBytes;
  cache_sectors_ = 0;  // its states are overwritten
  states_.resize(std::max(states_.size(), sectors));
  image_.read(lba, out, std::span(states_).first(sectors));
  for (std::size_t i = 0; i < sectors; ++i) {
    if (!is_sound(states_[i])) append_gap(gaps, offset + i * kSectorBytes, kSectorBytes, states_[i]);
  }
}

void StoredReader::fill_cache(std::uint64_t lba, std::uint64_t end_lba) {
  const bool sequential = cache_sectors_ != 0 && lba == cache_lba_ + cache_sectors_;
  cache_sectors_ = 0;  // until the new ones are there: reading may throw
  next_fill_ = sequential ? std::min(next_fill_ * 4, kLargestFill) : kFirstFill;
  const std::uint64_t sectors = std::min(next_fill_, end_lba - lba);
  const auto count = static_cast<std::size_t>(sectors);
  cache_.resize(std::max(cache_.size(), count * kSectorBytes));
  states_.resize(std::max(states_.size(), count));
  image_.read(lba, std::span(cache_).first(count * kSectorBytes), std::span(states_).first(count));
  cache_lba_ = lba;
  cache_sectors_ = sectors;
}

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/udf_builder_spaces.h"

#include <algorithm>
#include <stdexcept>

namespace lacuna::test::udf {

std::uint32_t Partition::take(std::uint32_t n) {
  std::uint32_t first = next_;
  for (auto bad = forbidden.lower_bound(first); bad != forbidden.end() && *bad < first + n;
       bad = forbidden.lower_bound(first)) {
    first = *bad + 1;
  }
  next_ = first + n;
  taken_.resize(next_);
  std::fill(taken_.begin() + first, taken_.end(), true);
  return first;
}

void Partition::write(std::uint32_t block, std::span<const std::uint8_t> data) {
  if (data.size() > block_bytes_) throw std::logic_error("more bytes than a block has");
  if (written(block)) throw std::logic_error("a block is written twice");
  const std::size_t at = std::size_t{block} * block_bytes_;
  if (bytes_.size() < at + block_bytes_) {
    bytes_.resize(at + block_bytes_);
    written_.resize(std::size_t{block} + 1);
  }
  std::ranges::copy(data, bytes_.begin() + static_cast<std::ptrdiff_t>(at));
  written_[block] = true;
}

std::span<const std::uint8_t> Partition::block(std::uint32_t n) const {
  return std::span(bytes_).subspan(std::size_t{n} * block_bytes_, block_bytes_);
}

std::vector<bool> Partition::used(std::uint32_t blocks) const {
  std::vector<bool> all = taken_;
  all.resize(blocks);
  for (const std::uint32_t f : forbidden) {
    if (f < blocks) all[f] = true;
  }
  return all;
}

std::uint32_t Space::take(std::uint32_t n) {
  if (kind_ == Kind::kDirect) return under_->take(n);
  const std::uint32_t first = next_;
  next_ += n;
  if (kind_ == Kind::kVirtual) {
    map_.resize(next_, 0xFFFFFFFF);
    return first;
  }
  while (map_.size() < next_) {
    std::vector<std::vector<std::uint32_t>*> files = {&map_};
    if (mirrored_) files.push_back(&mirror_);
    for (std::vector<std::uint32_t>* file : files) {
      const std::uint32_t unit = under_->take(unit_blocks_);
      for (std::uint32_t i = 0; i < unit_blocks_; ++i) file->push_back(unit + i);
      under_->skip(1);
    }
  }
  return first;
}

void Space::skip(std::uint32_t n) {
  if (kind_ == Kind::kDirect) {
    under_->skip(n);
  } else {
    take(n);
  }
}

void Space::write(std::uint32_t block, std::span<const std::uint8_t> data) {
  if (kind_ == Kind::kDirect) {
    under_->write(block, data);
  } else if (kind_ == Kind::kMetadata) {
    under_->write(map_.at(block), data);
    if (mirrored_) under_->write(mirror_.at(block), data);
  } else {
    std::uint32_t& entry = map_.at(block);
    if (entry != 0xFFFFFFFF) {
      const std::span<const std::uint8_t> now = under_->block(entry);
      if (std::ranges::equal(data, now.first(data.size())) &&
          std::ranges::all_of(now.subspan(data.size()), [](std::uint8_t b) { return b == 0; })) {
        return;
      }
    }
    entry = under_->take(1);
    under_->write(entry, data);
  }
}

std::optional<Place> Space::place(std::uint32_t block, std::uint32_t copy) const {
  if (kind_ == Kind::kDirect) return copy == 0 ? std::optional(Place{partition_, block}) : std::nullopt;
  const std::vector<std::uint32_t>& blocks = map(copy);
  if (block >= blocks.size() || blocks[block] == 0xFFFFFFFF) return std::nullopt;
  return Place{partition_, blocks[block]};
}

}  // namespace lacuna::test::udf

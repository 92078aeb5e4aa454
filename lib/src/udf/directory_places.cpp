// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/directory_places.h"

#include <algorithm>

namespace lacuna::udf {

DirectoryPlaces::DirectoryPlaces(const Content& content, const Entry& entry, std::vector<Extent> extents,
                                 std::uint32_t block_bytes)
    : content_(&content), entry_(&entry), block_bytes_(block_bytes), extents_(std::move(extents)) {
  for (const Extent& e : extents_) ends_.push_back((ends_.empty() ? 0 : ends_.back()) + e.bytes);
}

std::optional<std::uint32_t> DirectoryPlaces::block_of(std::uint64_t offset) {
  if (content_->embedded) return entry_->address.block;
  const std::vector<ContentPiece>& pieces = content_->pieces;
  while (piece_ < pieces.size() && offset >= piece_start_ + pieces[piece_].bytes)
    piece_start_ += pieces[piece_++].bytes;
  if (piece_ == pieces.size() || pieces[piece_].type != ExtentType::kRecorded) return {};
  return pieces[piece_].block.block + static_cast<std::uint32_t>((offset - piece_start_) / block_bytes_);
}

std::optional<std::uint64_t> DirectoryPlaces::position_at(std::uint64_t offset) const {
  const auto at = std::upper_bound(ends_.begin(), ends_.end(), offset);
  if (at == ends_.end()) return {};
  const Extent& e = extents_[static_cast<std::size_t>(at - ends_.begin())];
  return e.has_place() ? std::optional(e.position + (e.bytes - (*at - offset))) : std::nullopt;
}

RangeSet DirectoryPlaces::lbas_of(const RangeSet& stretches) const {
  std::vector<Range> lbas;
  std::size_t i = 0;  // both ascend
  for (const Range& r : stretches.ranges()) {
    while (i < extents_.size() && ends_[i] <= r.first) ++i;
    for (std::size_t k = i; k < extents_.size() && ends_[k] - extents_[k].bytes < r.end; ++k) {
      if (!extents_[k].has_place()) continue;
      const std::uint64_t start = ends_[k] - extents_[k].bytes;
      const std::uint64_t first = extents_[k].position + (std::max(r.first, start) - start);
      const std::uint64_t end = extents_[k].position + (std::min(r.end, ends_[k]) - start);
      lbas.push_back({first / kSectorBytes, (end - 1) / kSectorBytes + 1});
    }
  }
  return RangeSet::from_unsorted(std::move(lbas));
}

}  // namespace lacuna::udf

// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/twin_bytes.h"

#include <algorithm>
#include <cstring>

namespace lacuna {

RangeSet part_of(const RangeSet& set, Range r, std::size_t hint) {
  std::vector<Range> parts;
  for (std::size_t i = set.first_ending_after(r.first, hint); i < set.ranges().size() && set.ranges()[i].first < r.end;
       ++i) {
    parts.push_back({std::max(r.first, set.ranges()[i].first), std::min(r.end, set.ranges()[i].end)});
  }
  return RangeSet::from_unsorted(std::move(parts));
}

bool TwinBytes::read(const Spool& spool, std::uint64_t offset, std::span<std::uint8_t> out) const {
  std::vector<std::uint8_t> buffer;
  auto piece =
      std::partition_point(pieces_.begin(), pieces_.end(), [offset](const Piece& p) { return p.end() <= offset; });
  while (!out.empty()) {
    if (piece == pieces_.end() || piece->offset > offset) return false;
    const auto skip = static_cast<std::size_t>(offset - piece->offset);
    const std::size_t taken = std::min<std::size_t>(out.size(), piece->stretch.bytes - skip);
    if (taken == piece->stretch.bytes) {
      if (!spool.read(piece->stretch, out.first(taken))) return false;
    } else {
      buffer.resize(piece->stretch.bytes);
      if (!spool.read(piece->stretch, buffer)) return false;
      std::memcpy(out.data(), buffer.data() + skip, taken);
    }
    out = out.subspan(taken);
    offset += taken;
    ++piece;
  }
  return true;
}

std::optional<std::uint64_t> TwinBytes::contradiction(const Spool& spool, std::uint64_t offset,
                                                      std::span<const std::uint8_t> bytes) const {
  std::vector<std::uint8_t> kept;
  const RangeSet filled = part_of(filled_, {offset, offset + bytes.size()});
  for (const Range& r : filled.ranges()) {
    kept.resize(static_cast<std::size_t>(r.length()));
    const auto other = bytes.subspan(static_cast<std::size_t>(r.first - offset), kept.size());
    // What can't be read back proves no agreement.
    if (!read(spool, r.first, kept)) return r.first;
    const auto unequal = std::mismatch(kept.begin(), kept.end(), other.begin()).first;
    if (unequal != kept.end()) return r.first + static_cast<std::uint64_t>(unequal - kept.begin());
  }
  return std::nullopt;
}

Result<Done> TwinBytes::keep(Spool& spool, std::uint64_t offset, std::span<const std::uint8_t> bytes) {
  const Range given{offset, offset + bytes.size()};
  const RangeSet fresh = RangeSet::from_unsorted({given}).minus(part_of(filled_, given));
  for (const Range& r : fresh.ranges()) {
    for (std::uint64_t at = r.first; at < r.end; at += kTwinPieceBytes) {
      const std::uint64_t end = std::min(r.end, at + kTwinPieceBytes);
      const auto part = bytes.subspan(static_cast<std::size_t>(at - offset), static_cast<std::size_t>(end - at));
      const Result<Spool::Stretch> stretch = spool.keep(part);
      if (!stretch) return stretch.error();
      fresh_.push_back({at, *stretch});
    }
  }
  return Done{};
}

RangeSet TwinBytes::settle() {
  std::vector<Range> ranges;
  ranges.reserve(fresh_.size());
  for (const Piece& p : fresh_) ranges.push_back({p.offset, p.end()});
  RangeSet added = RangeSet::from_unsorted(std::move(ranges));
  filled_ = filled_.united(added);
  const auto middle = static_cast<std::ptrdiff_t>(pieces_.size());
  pieces_.insert(pieces_.end(), fresh_.begin(), fresh_.end());
  std::inplace_merge(pieces_.begin(), pieces_.begin() + middle, pieces_.end(),
                     [](const Piece& a, const Piece& b) { return a.offset < b.offset; });
  fresh_.clear();
  return added;
}

}  // namespace lacuna

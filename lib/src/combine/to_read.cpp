// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/to_read.h"

#include <algorithm>

#include "salvage/gaps.h"

namespace lacuna::combine {
namespace {

RangeSet not_sound(const SectorMap& states, Range lbas) {
  std::vector<Range> found;
  for (const SectorRun& run : states.slice(lbas.first, lbas.end)) {
    if (!is_sound(run.state)) found.push_back({run.first, run.end()});
  }
  return RangeSet::from_unsorted(std::move(found));
}

void append_common(const RangeSet& set, Range r, std::vector<Range>& out) {
  for (std::size_t i = set.first_ending_after(r.first); i < set.ranges().size() && set.ranges()[i].first < r.end; ++i) {
    out.push_back({std::max(set.ranges()[i].first, r.first), std::min(set.ranges()[i].end, r.end)});
  }
}

}  // namespace

ToRead::ToRead(const Image& image, const SectorMap& states, std::uint64_t medium_end_lba)
    : image_{image.first_lba(), image.end_lba()}, medium_end_(std::max(medium_end_lba, image.end_lba())) {
  inside_ = not_sound(states, image_);
  std::vector<Range> unread;
  for (const SectorRun& run : states.slice(image_.first, image_.end)) {
    if (run.state >= SectorState::kUnread) unread.push_back({run.first, run.end()});
  }
  unread_ = RangeSet::from_unsorted(std::move(unread));
}

void ToRead::set_whole_sectors(const SectorMap& states) { whole_sectors_ = not_sound(states, image_); }

bool ToRead::collect(Range lbas, bool raw, std::vector<Range>& out) const {
  const std::uint64_t end = std::min(lbas.end, medium_end_);
  if (lbas.first < end) {
    if (lbas.first < image_.first) out.push_back({lbas.first, std::min(image_.first, end)});
    append_common(raw ? whole_sectors_ : inside_, {lbas.first, end}, out);
    if (end > image_.end) out.push_back({std::max(image_.end, lbas.first), end});
  }
  return lbas.end <= medium_end_;
}

std::uint64_t ToRead::unread(Range lbas) const noexcept {
  std::uint64_t count = lbas.length();
  const Range within{std::max(lbas.first, image_.first), std::min(lbas.end, image_.end)};
  if (within.first < within.end) {
    count -= within.length();
    for (std::size_t i = unread_.first_ending_after(within.first);
         i < unread_.ranges().size() && unread_.ranges()[i].first < within.end; ++i) {
      const Range& r = unread_.ranges()[i];
      count += std::min(r.end, within.end) - std::max(r.first, within.first);
    }
  }
  return count;
}

}  // namespace lacuna::combine

// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/join_reads.h"

#include <algorithm>

#include "media/cd/join.h"

namespace lacuna {
namespace {

/// What the reads know of the form of a sector that is bad in all of them.
SectorForm form_at(const MergeReads& reads, std::uint64_t lba) {
  for (const Image* image : reads.images) {
    if (image->raw() == nullptr) continue;
    for (int f = 1; f < kSectorFormCount; ++f) {
      const auto form = static_cast<SectorForm>(f);
      if (image->raw()->of_form(form).contains(lba)) return form;
    }
  }
  return SectorForm::kUnknown;
}

}  // namespace

ReadJoiner::ReadJoiner(const MergeReads& reads) : reads_(reads) {
  possible_ = reads.images.size() > 1 &&
              std::ranges::any_of(reads.images, [](const Image* image) { return image->raw() != nullptr; });
  if (!possible_) return;
  stored_.resize(reads.images.size());
  wrong_.resize(reads.images.size());
}

std::optional<ReadMask> ReadJoiner::join(std::uint64_t lba, std::span<const Candidate> candidates,
                                         std::span<std::uint8_t> out) {
  if (!possible_ || lba > static_cast<std::uint64_t>(INT32_MAX)) return std::nullopt;
  versions_.clear();
  ReadMask taking_part = 0;
  bool any_whole = false;
  for (std::size_t r = 0; r < reads_.images.size(); ++r) {
    const RawSectors* raw = reads_.images[r]->raw();
    SectorState state = SectorState::kAbsent;
    if (raw != nullptr) raw->read_stored(lba, stored_[r], {&state, 1}, {&wrong_[r], 1});
    if (state == SectorState::kGood) {
      versions_.push_back({stored_[r], wrong_[r].any() ? &wrong_[r] : nullptr});
      any_whole = true;
    } else if (!reads_.raw && r < candidates.size() && has_bytes(candidates[r].state)) {
      versions_.push_back({candidates[r].bytes, nullptr});
    } else {
      continue;
    }
    taking_part |= ReadMask{1} << r;
  }
  if (!any_whole || versions_.size() < 2) return std::nullopt;
  const cd::Sector joined =
      cd::join(versions_, joined_, {static_cast<std::int32_t>(lba), form_at(reads_, lba), nullptr});
  if (joined.state != SectorState::kRepaired || !joined.proven) return std::nullopt;
  if (reads_.raw) {
    std::ranges::copy(joined_, out.begin());
    return taking_part;
  }
  if (joined.data_bytes != kSectorBytes) return std::nullopt;
  std::ranges::copy(Bytes(joined_).subspan(joined.data_at, kSectorBytes), out.begin());
  return taking_part;
}

}  // namespace lacuna

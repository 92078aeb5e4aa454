// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/join_reads.h"

#include <algorithm>

namespace lacuna {

ReadJoiner::ReadJoiner(const MergeReads& reads) : reads_(reads) {
  possible_ = std::ranges::any_of(reads.images, [](const Image* image) { return image->raw() != nullptr; });
}

std::optional<ReadMask> ReadJoiner::join(std::uint64_t, std::span<const Candidate>, std::span<std::uint8_t>) {
  if (!possible_) return std::nullopt;
  return std::nullopt;
}

}  // namespace lacuna

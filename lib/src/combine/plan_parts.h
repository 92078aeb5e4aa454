// SPDX-License-Identifier: GPL-3.0-or-later
// Parts of a plan: blocks that the very same targets need, and so are read together or not at all.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "combine/plan_targets.h"

namespace lacuna::combine {

/// From blocks to LBAs: the last block may be cut by the end of the disc.
struct BlockSize {
  std::uint64_t sectors = 1;
  std::uint64_t end_lba = 0;

  Range lbas(Range blocks) const noexcept {
    const std::uint64_t end = blocks.end * sectors;
    return {blocks.first * sectors, end < end_lba ? end : end_lba};
  }
};

/// Flat lists: of each part its blocks and its users, of each target its parts.
struct PartList {
  struct Part {
    std::uint64_t cost = 0, unread = 0;  ///< In sectors.
    std::uint32_t first_block = 0, block_count = 0;
    std::uint32_t first_user = 0, user_count = 0;
  };
  std::vector<Part> parts;  ///< In the order of their first blocks.
  LargeVector<Range> blocks;
  std::vector<std::uint32_t> users;       ///< Targets, ascending.
  std::vector<std::uint32_t> first_part;  ///< By target, and one more behind.
  std::vector<std::uint32_t> of_target;   ///< Parts, ascending.
  std::vector<bool> left_out;             ///< By target: it and others would make too many pieces; it has no parts.

  std::span<const std::uint32_t> parts_of(std::size_t target) const {
    return std::span(of_target).subspan(first_part[target], first_part[target + 1] - first_part[target]);
  }
  std::span<const std::uint32_t> users_of(const Part& p) const {
    return std::span(users).subspan(p.first_user, p.user_count);
  }
  std::span<const Range> blocks_of(const Part& p) const {
    return std::span(blocks).subspan(p.first_block, p.block_count);
  }
};

/// Linear in what targets need after sorting it, whatever they claim: who would go beyond is left out.
PartList find_parts(const TargetList& list, const ToRead& to_read, BlockSize size);

/// For telling lists apart; equal ones have equal hashes.
std::uint64_t hash_of(std::span<const std::uint32_t> numbers) noexcept;

}  // namespace lacuna::combine

// SPDX-License-Identifier: GPL-3.0-or-later
// All borders of what targets need cut the disc into pieces that each target needs as a whole or not at all; pieces
// with the same users are one part.
#include "combine/plan_parts.h"

#include <algorithm>
#include <unordered_map>

namespace lacuna::combine {
namespace {

class PartFinder {
 public:
  PartFinder(const TargetList& list, const ToRead& to_read, BlockSize size)
      : list_(list), to_read_(to_read), size_(size) {}

  PartList run() {
    out_.left_out.resize(list_.targets.size());
    find_borders();
    count_users();
    list_users();
    gather();
    list_by_target();
    return std::move(out_);
  }

 private:
  void find_borders() {
    borders_.reserve(2 * list_.needs.size());
    for (const Range& r : list_.needs) {
      borders_.push_back(r.first);
      borders_.push_back(r.end);
    }
    std::sort(borders_.begin(), borders_.end());
    borders_.erase(std::unique(borders_.begin(), borders_.end()), borders_.end());
  }

  std::size_t piece_at(std::uint64_t border) const {
    return static_cast<std::size_t>(std::lower_bound(borders_.begin(), borders_.end(), border) - borders_.begin());
  }

  /// Calls f(piece) for each piece that a target needs.
  template <class F>
  void for_each_piece_of(std::size_t target, F&& f) const {
    for (const Range& r : list_.needs_of(list_.targets[target])) {
      for (std::size_t i = piece_at(r.first); i < borders_.size() && borders_[i] < r.end; ++i) f(i);
    }
  }

  void count_users() {
    first_user_.resize(borders_.size() + 1);
    // Pieces of all targets together; without overlaps each range is about one.
    std::uint64_t budget = (std::uint64_t{1} << 20) + 8 * list_.needs.size();
    for (std::size_t t = 0; t < list_.targets.size(); ++t) {
      std::uint64_t pieces = 0;
      for (const Range& r : list_.needs_of(list_.targets[t])) pieces += piece_at(r.end) - piece_at(r.first);
      if (pieces > budget) {
        out_.left_out[t] = true;
        continue;
      }
      budget -= pieces;
      for_each_piece_of(t, [&](std::size_t i) { ++first_user_[i + 1]; });
    }
    for (std::size_t i = 0; i < borders_.size(); ++i) first_user_[i + 1] += first_user_[i];
  }

  void list_users() {
    user_.resize(first_user_.back());
    std::vector<std::uint32_t> at(first_user_.begin(), first_user_.end() - 1);
    for (std::size_t t = 0; t < list_.targets.size(); ++t) {
      if (!out_.left_out[t])
        for_each_piece_of(t, [&](std::size_t i) { user_[at[i]++] = static_cast<std::uint32_t>(t); });
    }
  }

  std::span<const std::uint32_t> users_at(std::size_t piece) const {
    return std::span(user_).subspan(first_user_[piece], first_user_[piece + 1] - first_user_[piece]);
  }

  /// Pieces with equal users become one part.
  void gather() {
    std::unordered_map<std::uint64_t, std::uint32_t> seen;  // by a hash of the users
    seen.reserve(borders_.size());
    std::vector<std::uint32_t> part_of(borders_.size(), kNone);
    std::vector<std::uint32_t> sample;  // by part, a piece of it
    for (std::size_t i = 0; i + 1 < borders_.size(); ++i) {
      const auto users = users_at(i);
      if (users.empty()) continue;
      const auto fresh = static_cast<std::uint32_t>(sample.size());
      const auto [at, added] = seen.emplace(hash_of(users), fresh);
      // Two lists with one hash stay two parts, which costs nothing but time.
      if (added || !std::ranges::equal(users_at(sample[at->second]), users)) {
        sample.push_back(static_cast<std::uint32_t>(i));
        part_of[i] = fresh;
      } else {
        part_of[i] = at->second;
      }
    }
    out_.parts.resize(sample.size());
    for (std::size_t i = 0; i + 1 < borders_.size(); ++i) {
      if (part_of[i] != kNone) ++out_.parts[part_of[i]].block_count;
    }
    std::uint32_t blocks = 0;
    for (PartList::Part& p : out_.parts) {
      p.first_block = blocks;
      blocks += p.block_count;
      p.block_count = 0;
    }
    out_.blocks.resize(blocks);
    for (std::size_t i = 0; i + 1 < borders_.size(); ++i) {
      if (part_of[i] == kNone) continue;
      PartList::Part& p = out_.parts[part_of[i]];
      const Range piece{borders_[i], borders_[i + 1]};
      out_.blocks[p.first_block + p.block_count++] = piece;
      const Range lbas = size_.lbas(piece);
      p.cost += lbas.length();
      p.unread += to_read_.unread(lbas);
    }
    for (std::size_t k = 0; k < sample.size(); ++k) {
      const auto users = users_at(sample[k]);
      out_.parts[k].first_user = static_cast<std::uint32_t>(out_.users.size());
      out_.parts[k].user_count = static_cast<std::uint32_t>(users.size());
      out_.users.insert(out_.users.end(), users.begin(), users.end());
    }
  }

  void list_by_target() {
    out_.first_part.resize(list_.targets.size() + 1);
    for (const std::uint32_t t : out_.users) ++out_.first_part[t + 1];
    for (std::size_t t = 0; t < list_.targets.size(); ++t) out_.first_part[t + 1] += out_.first_part[t];
    out_.of_target.resize(out_.users.size());
    std::vector<std::uint32_t> at(out_.first_part.begin(), out_.first_part.end() - 1);
    for (std::uint32_t p = 0; p < out_.parts.size(); ++p) {
      for (const std::uint32_t t : out_.users_of(out_.parts[p])) out_.of_target[at[t]++] = p;
    }
  }

  static constexpr std::uint32_t kNone = ~std::uint32_t{0};
  const TargetList& list_;
  const ToRead& to_read_;
  const BlockSize size_;
  std::vector<std::uint64_t> borders_;
  std::vector<std::uint32_t> first_user_, user_;  // by piece
  PartList out_;
};

}  // namespace

std::uint64_t hash_of(std::span<const std::uint32_t> numbers) noexcept {
  std::uint64_t h = numbers.size();
  for (const std::uint32_t n : numbers) {
    h = (h ^ n) * 0xFF51AFD7ED558CCD;
    h ^= h >> 32;
  }
  return h;
}

PartList find_parts(const TargetList& list, const ToRead& to_read, BlockSize size) {
  return PartFinder(list, to_read, size).run();
}

}  // namespace lacuna::combine

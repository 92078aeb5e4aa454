// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/twin_needs.h"

#include <xxhash.h>

#include <algorithm>
#include <array>

#include "combine/twin_rule.h"

namespace lacuna {
namespace {

constexpr std::size_t kProbesWanted = 4;
constexpr std::uint64_t kBlocksTriedAProbe = 1024;

/// Reads one block of a file. Nothing when a byte of it is not good.
std::optional<std::span<const std::uint8_t>> good_block(FileReader& file, std::uint64_t block,
                                                        std::span<std::uint8_t, kTwinBlockBytes> buffer) {
  std::vector<Gap> gaps;
  const std::size_t got = file.read(block * kTwinBlockBytes, buffer, gaps);
  if (got == 0 || !gaps.empty()) return std::nullopt;
  return std::span<const std::uint8_t>(buffer).first(got);
}

void add_indices(std::vector<std::size_t>& to, const std::vector<std::size_t>& more, std::uint64_t& pairs) {
  if (more.size() > pairs) {
    pairs = 0;
    return;
  }
  pairs -= more.size();
  to.insert(to.end(), more.begin(), more.end());
}

/// Blocks that a byte of the set is of.
std::uint64_t blocks_of(const RangeSet& bytes) {
  std::uint64_t blocks = 0, counted_to = 0;
  for (const Range& r : bytes.ranges()) {
    const std::uint64_t first = std::max(counted_to, r.first / kTwinBlockBytes);
    const std::uint64_t end = (r.end - 1) / kTwinBlockBytes + 1;
    if (end > first) blocks += end - first;
    counted_to = std::max(counted_to, end);
  }
  return blocks;
}

}  // namespace

bool can_have_twins(const Node& n) noexcept {
  constexpr std::uint16_t kNever =
      node_flag::kRawSectors | node_flag::kBoot | node_flag::kNameMade | node_flag::kDeleted | node_flag::kSizeGuessed;
  return n.kind == NodeKind::kFile && n.size != 0 && n.size <= kMaxSectors * kSectorBytes && !n.has(kNever);
}

std::optional<std::uint64_t> TwinBlocks::hash(std::uint64_t block) {
  const auto [it, added] = hashes_.try_emplace(block);
  if (!added) return it->second;
  std::array<std::uint8_t, kTwinBlockBytes> buffer;
  if (const auto bytes = good_block(reader_, block, buffer)) it->second = XXH3_64bits(bytes->data(), bytes->size());
  return it->second;
}

TwinNeeds::TwinNeeds(const Disc& disc, const Verdicts& verdicts, const GlobSet& only,
                     const std::function<bool()>& proceed) {
  const Tree& tree = disc.tree();
  for (NodeId id = kRoot + 1; id < tree.size(); ++id) {
    if (!can_have_twins(tree.node(id)) || verdicts.of(id).state == FileState::kWhole) continue;
    if (verdicts.of(id).gap_count == 0) continue;  // doubtful for its place only
    if (!only.empty() && !only.matches(tree.path(id))) continue;
    if (!proceed()) return;
    add(disc, verdicts, id);
  }
}

void TwinNeeds::add(const Disc& disc, const Verdicts& verdicts, NodeId id) {
  const Tree& tree = disc.tree();
  const Node& n = tree.node(id);
  TwinNeed need;
  need.node = id;
  std::vector<Range> lacking;
  for (const Gap& g : verdicts.gaps(verdicts.of(id))) lacking.push_back({g.offset, g.offset + g.length});
  need.lacking = RangeSet::from_unsorted(std::move(lacking));
  need.lacking_blocks = blocks_of(need.lacking);
  need.comparable = verdicts.of(id).state != FileState::kUnlocated && need.lacking.total() < n.size;
  if (need.comparable) find_probes(disc, need);

  const std::size_t index = list_.size();
  OfSize& group = by_size_[n.size];
  for (std::string& key : name_keys(tree, n)) group.by_name[std::move(key)].push_back(index);
  if (need.comparable && need.probes.empty()) group.without_probe.push_back(index);
  if (!need.probes.empty()) {
    const TwinProbe& first = need.probes.front();
    std::vector<std::size_t>& same_block = group.by_first_block[first.block];
    if (same_block.empty()) group.first_blocks.push_back(first.block);
    same_block.push_back(index);
    group.by_hash[first.hash].push_back(index);
  }
  list_.push_back(std::move(need));
}

/// The first telling block from each of some places on.
void TwinNeeds::find_probes(const Disc& disc, TwinNeed& need) const {
  FileReader file(disc, need.node);
  const std::uint64_t blocks = (file.size() - 1) / kTwinBlockBytes + 1;
  std::array<std::uint8_t, kTwinBlockBytes> buffer;
  std::uint64_t from = 0;
  for (std::size_t i = 0; i < kProbesWanted; ++i) {
    from = std::max(from, blocks / kProbesWanted * i);
    const std::uint64_t end = std::min(blocks, from + kBlocksTriedAProbe);
    for (; from < end; ++from) {
      if (need.lacking.intersects({from * kTwinBlockBytes, (from + 1) * kTwinBlockBytes})) continue;
      const auto bytes = good_block(file, from, buffer);
      if (!bytes || !tells_something(*bytes)) continue;
      need.probes.push_back({from++, XXH3_64bits(bytes->data(), bytes->size())});
      break;
    }
  }
}

std::vector<std::size_t> TwinNeeds::maybe_equal(std::uint64_t size, TwinBlocks& blocks, std::uint64_t& pairs) const {
  const auto found = by_size_.find(size);
  std::vector<std::size_t> out;
  if (found == by_size_.end()) return out;
  const OfSize& group = found->second;
  add_indices(out, group.without_probe, pairs);
  for (const std::uint64_t block : group.first_blocks) {
    const std::optional<std::uint64_t> hash = blocks.hash(block);
    if (!hash) {
      add_indices(out, group.by_first_block.at(block), pairs);
    } else if (const auto same = group.by_hash.find(*hash); same != group.by_hash.end()) {
      add_indices(out, same->second, pairs);
    }
  }
  std::erase_if(out, [&](std::size_t i) { return differs_at(list_[i], blocks).has_value(); });
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

std::vector<std::size_t> TwinNeeds::of_name(std::uint64_t size, const std::vector<std::string>& keys,
                                            std::uint64_t& pairs) const {
  std::vector<std::size_t> out;
  const auto found = by_size_.find(size);
  if (found == by_size_.end()) return out;
  for (const std::string& key : keys) {
    const auto same = found->second.by_name.find(key);
    if (same != found->second.by_name.end()) add_indices(out, same->second, pairs);
  }
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

std::optional<std::uint64_t> TwinNeeds::differs_at(const TwinNeed& need, TwinBlocks& blocks) {
  for (const TwinProbe& p : need.probes) {
    const std::optional<std::uint64_t> hash = blocks.hash(p.block);
    if (hash && *hash != p.hash) return p.block * kTwinBlockBytes;
  }
  return std::nullopt;
}

}  // namespace lacuna

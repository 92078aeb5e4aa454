// SPDX-License-Identifier: GPL-3.0-or-later
// TwinNeeds: the files of an image that lack bytes, and an index by which a donor's file finds those it may be the same
// as: by size, by a block's hash, by name. The index only saves comparing: nothing rests on it.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <unordered_map>
#include <utility>
#include <vector>

#include "lacuna/content.h"
#include "lacuna/disc.h"
#include "lacuna/glob.h"
#include "lacuna/range_set.h"
#include "lacuna/verdict.h"

namespace lacuna {

/// A block that is good here, and its hash (XXH3-64).
struct TwinProbe {
  std::uint64_t block = 0;
  std::uint64_t hash = 0;
};

/// A file that lacks bytes here.
struct TwinNeed {
  NodeId node = kNoNode;
  RangeSet lacking;                  ///< Bytes that are not good here.
  std::uint64_t lacking_blocks = 0;  ///< Blocks that any of these bytes is of.
  bool comparable = false;           ///< Some byte is good here.
  std::vector<TwinProbe> probes;     ///< The first decides what a donor's file is compared with.
};

/// The blocks of a donor's file that were asked for.
class TwinBlocks {
 public:
  TwinBlocks(const Disc& disc, NodeId file) : reader_(disc, file) {}
  /// Of a block all of whose bytes are good; nothing of any other.
  std::optional<std::uint64_t> hash(std::uint64_t block);
  FileReader& reader() noexcept { return reader_; }

 private:
  FileReader reader_;
  std::unordered_map<std::uint64_t, std::optional<std::uint64_t>> hashes_;
};

/// Files of several discs that no twin is looked for: whole sectors of a CD tell where they lay, and drives differ in
/// where they begin reading audio.
bool can_have_twins(const Node& n) noexcept;

class TwinNeeds {
 public:
  /// Reads a few blocks of each file that lacks bytes. `proceed` is asked between files; false ends it.
  TwinNeeds(const Disc& disc, const Verdicts& verdicts, const GlobSet& only, const std::function<bool()>& proceed);

  const std::vector<TwinNeed>& list() const noexcept { return list_; }  ///< In the order of their nodes.
  bool wants(std::uint64_t size) const { return by_size_.contains(size); }
  /// Those of this size that the donor's file may be equal to wherever both can be read, as far as single blocks tell;
  /// indices, ascending. Each that is looked at is taken from `pairs`; when those don't suffice, `pairs` becomes 0.
  std::vector<std::size_t> maybe_equal(std::uint64_t size, TwinBlocks& blocks, std::uint64_t& pairs) const;
  /// Those of this size and one of these name keys; indices, ascending. `pairs` as above.
  std::vector<std::size_t> of_name(std::uint64_t size, const std::vector<std::string>& keys,
                                   std::uint64_t& pairs) const;
  /// Byte of the file from which a block differs by its hash, if a probe shows it.
  static std::optional<std::uint64_t> differs_at(const TwinNeed& need, TwinBlocks& blocks);

 private:
  struct OfSize {
    std::vector<std::uint64_t> first_blocks;  // different ones
    std::unordered_map<std::uint64_t, std::vector<std::size_t>> by_first_block;
    std::unordered_map<std::uint64_t, std::vector<std::size_t>> by_hash;  // of the first probe
    std::vector<std::size_t> without_probe;                               // comparable ones
    std::unordered_map<std::string, std::vector<std::size_t>> by_name;
  };
  void add(const Disc& disc, const Verdicts& verdicts, NodeId id);
  void find_probes(const Disc& disc, TwinNeed& need) const;

  std::vector<TwinNeed> list_;
  std::unordered_map<std::uint64_t, OfSize> by_size_;
};

}  // namespace lacuna

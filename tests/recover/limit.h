// SPDX-License-Identifier: GPL-3.0-or-later
// The limit of what can be found on a damaged disc, from its surviving bytes alone. Nothing here parses a file system:
// blocks tell whose they are, names are looked for as bytes, and a name counts as telling a place when the number of
// the sector where the file is seen to begin stands before it.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "authored_discs.h"
#include "damage.h"
#include "support/tagged_blocks.h"

namespace lacuna::test {

class Limit {
 public:
  explicit Limit(const AuthoredDisc& disc);

  struct Of {
    bool data = false;        ///< All its blocks survive.
    bool placed = false;      ///< Something that survives tells where they are.
    bool named = false;       ///< Its name survives somewhere outside of data.
    bool path_named = false;  ///< So do those of all folders above it.
    bool found() const { return data && placed; }
  };
  /// `file` is an index into the disc's files.
  Of of(std::size_t file, const Damage& damage) const;
  const BlockOracle& blocks() const { return blocks_; }

  /// Why a file is in the limit: sectors that place it and survive, for people.
  std::string evidence(std::size_t file, const Damage& damage) const;

 private:
  /// Structures all of which are needed, each in one of the sectors that have it. A file is placed by any one such set.
  using Needs = std::vector<std::vector<std::uint64_t>>;
  struct Known {
    std::vector<std::uint64_t> data;
    std::vector<Needs> places;
    std::vector<std::uint64_t> names;
  };
  static bool survive(const Needs& needs, const Damage& damage);
  void look_for_names();
  void look_for_entries();
  void take_entries();

  const AuthoredDisc& disc_;
  BlockOracle blocks_;
  std::vector<Known> files_;                                        ///< By index.
  std::map<std::string, std::vector<std::uint64_t>> folder_names_;  ///< By token.
};

}  // namespace lacuna::test

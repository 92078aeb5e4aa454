// SPDX-License-Identifier: GPL-3.0-or-later
// How near the reading of a damaged disc comes to the limit.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "damage.h"
#include "lacuna/disc.h"
#include "limit.h"

namespace lacuna::test {

/// Counts of one cell of the grid, or of many.
struct Tally {
  std::uint64_t discs = 0;
  std::uint64_t unopened = 0;      ///< Nothing was found on them.
  std::uint64_t limit = 0;         ///< Files whose data survives and something that tells its place.
  std::uint64_t path_limit = 0;    ///< Of those: the names of all of their path survive as well.
  std::uint64_t right = 0;         ///< Of those: found under a right path, of any view, with the right bytes.
  std::uint64_t elsewhere = 0;     ///< Of those: found under another path (orphans, made names), with the right bytes.
  std::uint64_t path_known = 0;    ///< Of those elsewhere: the names of all of the right path survive.
  std::uint64_t doubtful = 0;      ///< Of those found: in the state doubtful.
  std::uint64_t missed = 0;        ///< Of those in the limit: not found.
  std::uint64_t beyond = 0;        ///< Found whole though not in the limit: something else told their place.
  std::uint64_t named = 0;         ///< Files whose data and name survive, and nothing that tells their place.
  std::uint64_t named_listed = 0;  ///< Of those: listed by their name.
  std::uint64_t false_whole = 0;   ///< Called whole, and other bytes than the file's.
  std::uint64_t misnamed = 0;      ///< Called whole, under the name of another file; or an earlier state as the last.
  std::uint64_t foreign =
      0;  ///< Files of an image that is stored as a file, or of an earlier volume: whole, as the disc's.
  std::uint64_t twice = 0;  ///< Listed again, whole, under another path.
  double seconds = 0;       ///< Opening and judging.

  Tally& operator+=(const Tally& other);
};

struct ScoreOptions {
  ScanMode scan = ScanMode::kAuto;
  unsigned threads = 0;
  bool all_elsewhere = false;  ///< Remarks also on what was found under another path.
};

/// Opens the damaged disc as anybody would, and holds each file that is listed against what was put on the disc.
/// `remarks` gets a line for each file that was missed, or false.
Tally score(const AuthoredDisc& disc, const Limit& limit, const Damage& damage, Showing showing,
            const ScoreOptions& options, std::vector<std::string>* remarks = nullptr);

}  // namespace lacuna::test

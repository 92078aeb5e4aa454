// SPDX-License-Identifier: GPL-3.0-or-later
// Completions: bytes that files lack here and that something else holds. Pulling takes them from whoever implements
// this (the twins of lacuna/twins.h), and knows nothing of where they come from.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "lacuna/export.h"
#include "lacuna/range_set.h"
#include "lacuna/states.h"
#include "lacuna/tree.h"

namespace lacuna {

/// What one donor gives to one file.
struct LACUNA_API Donation {
  std::string image;  ///< The donor's, as its giver names it.
  std::string path;   ///< Of the file there.
  std::uint64_t bytes = 0;
  std::vector<Range> ranges;  ///< Of the file's own bytes, ascending.

  friend bool operator==(const Donation&, const Donation&) = default;
};

/// A file that is complete with what others hold.
struct LACUNA_API Completion {
  FileState state = FileState::kDoubtful;  ///< kWhole, or kDoubtful when something speaks against what was taken.
  Basis basis = Basis::kAssumed;           ///< The weakest of the file's own and the donors'.
  RangeSet covered;                        ///< All bytes of the file that are not good here.
  std::vector<Donation> donors;
  std::vector<std::string> doubts;  ///< All that speaks against the completed file; empty when it is whole.
};

/// Constant and safe for concurrent use.
class LACUNA_API Completions {
 public:
  virtual ~Completions() = default;
  /// Null when the file is not completed.
  virtual const Completion* of(NodeId file) const = 0;
  /// Fills `out` with bytes of the file from `offset` on, which must lie in one range of of(file)->covered. Checks that
  /// they are those that were compared; gives false when they are not, or can't be had any more.
  virtual bool read(NodeId file, std::uint64_t offset, std::span<std::uint8_t> out) const = 0;
};

}  // namespace lacuna

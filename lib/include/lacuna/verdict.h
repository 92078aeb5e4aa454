// SPDX-License-Identifier: GPL-3.0-or-later
// Verdicts: each file's extents held against the states of its sectors.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "lacuna/blocks.h"
#include "lacuna/disc.h"
#include "lacuna/export.h"
#include "lacuna/progress.h"
#include "lacuna/result.h"
#include "lacuna/states.h"

namespace lacuna {

/// A stretch of a file's own bytes that is not good, and why.
struct LACUNA_API Gap {
  std::uint64_t offset = 0;
  std::uint64_t length = 0;
  SectorState state = SectorState::kBad;

  friend bool operator==(const Gap&, const Gap&) = default;
};

/// Something that judging found against a file, kept small; Verdicts::doubts() puts it in words.
struct LACUNA_API JudgedDoubt {
  enum class Kind : std::uint8_t {
    kSharesSectors,    ///< Its extents overlap another file's (`partner`) or their own.
    kSameStart,        ///< Another file (`partner`) starts at the same place and goes on differently.
    kSharesStructure,  ///< Its extents overlap a structure; `partner` is an index into Disc::structures().
    kExtentsTooLong,   ///< Its extents hold more bytes than its size.
    kSizeGuessed,      ///< The disc does not record its size.
    kTooManyPieces,    ///< Interleaved into more pieces than are examined; all of it counts as missing.
    kGapsMerged,       ///< More gaps than are listed; neighbouring ones are shown as one, good bytes between included.
    kZisofsNoMagic,    ///< Recorded as compressed, and is not.
    kZisofsHeader,     ///< Its own header says another size or block size than the directory.
    kZisofsTable,      ///< Its table of blocks contradicts itself.
    kZisofsUnusable,   ///< The recorded way of compression is impossible or beyond what is decoded.
  };
  NodeId node = kNoNode;
  Kind kind = Kind::kSharesSectors;
  std::uint32_t partner = 0;
  std::uint64_t first_lba = 0, last_lba = 0;  ///< What is shared, where that applies.
};

/// The state of one file or directory. A directory is whole when each of its records could be read or is known from
/// elsewhere.
struct LACUNA_API Verdict {
  FileState state = FileState::kWhole;
  Basis basis = Basis::kAssumed;
  std::uint32_t first_gap = 0, gap_count = 0;  ///< In Verdicts::gaps(); suspect stretches are among them.
  std::uint64_t missing_bytes = 0;             ///< Without the suspect ones.
  std::uint64_t suspect_bytes = 0;
};

/// Files of one state.
struct LACUNA_API StateCount {
  std::uint64_t files = 0;
  std::uint64_t bytes = 0;  ///< Their sizes.
  std::uint64_t missing_bytes = 0;
};

/// Constant once built; safe for concurrent use.
class LACUNA_API Verdicts {
 public:
  const Verdict& of(NodeId id) const { return verdicts_[id]; }
  std::span<const Gap> gaps(const Verdict& v) const { return std::span(gaps_).subspan(v.first_gap, v.gap_count); }
  /// Gaps with missing bytes only, in order.
  std::vector<Gap> missing(const Verdict& v) const;
  /// Why a file is doubtful: its place (from the tree), suspect stretches, contents that don't decode.
  /// Reads the ends of suspect stretches to tell what fills them.
  std::vector<std::string> doubts(const Disc& disc, NodeId id) const;
  /// True when something speaks against a file that reading its sectors would not settle: its place, its size, what
  /// else claims them.
  bool stays_doubtful(const Disc& disc, NodeId id) const;
  /// What speaks against it so, in words.
  std::vector<std::string> lasting_doubts(const Disc& disc, NodeId id) const;
  /// Over all nodes that are not directories, by FileState.
  const std::array<StateCount, kFileStateCount>& counts() const noexcept { return counts_; }
  /// Directories of which something could not be read and is not known from elsewhere.
  std::uint64_t hurt_directories() const noexcept { return hurt_directories_; }
  /// The sector states that the verdicts rest on.
  const SectorMap& states() const noexcept { return states_; }
  Basis basis() const noexcept { return basis_; }

 private:
  friend class Judge;
  LargeVector<Verdict> verdicts_;  // by NodeId
  LargeVector<Gap> gaps_;
  std::vector<JudgedDoubt> doubts_;  // by NodeId
  std::array<StateCount, kFileStateCount> counts_{};
  std::uint64_t hurt_directories_ = 0;
  SectorMap states_;
  Basis basis_ = Basis::kAssumed;
};

/// How to judge.
struct LACUNA_API JudgeOptions {
  /// Without a map, look at the contents of every file for uniform fill. Off, `whole` says less; the caller must say
  /// so.
  bool look_inside = true;
  unsigned threads = 0;  ///< 0: as many as the machine has.
  ProgressCallback progress;
  /// When set, only the contents of the files that it takes are looked at; `whole` says less of the others.
  std::function<bool(NodeId)> look_only_into = {};
};

/// Gives every node its state. Without a map this reads the contents of all files once, in the order of their LBAs,
/// and teaches the image what it finds (Image::learn). Errors: kCancelled.
LACUNA_API Result<Verdicts> judge(const Disc& disc, const JudgeOptions& options = {});

/// How the uniform-fill rule sees one sector: the period of its pattern (1..64) when a short pattern fills all of it,
/// 0 when its bytes are data. docs/limits has the rule.
LACUNA_API unsigned uniform_period(std::span<const std::uint8_t> sector) noexcept;

}  // namespace lacuna

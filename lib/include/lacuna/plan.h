// SPDX-License-Identifier: GPL-3.0-or-later
// Plan: which sectors of a disc are worth another try, and in which order.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/blocks.h"
#include "lacuna/disc.h"
#include "lacuna/export.h"
#include "lacuna/file_kind.h"
#include "lacuna/glob.h"
#include "lacuna/range_set.h"
#include "lacuna/result.h"
#include "lacuna/verdict.h"

namespace lacuna {

/// What the disc is. It decides how many sectors a drive must read to give any one of them.
enum class Medium : std::uint8_t { kAuto, kCd, kDvd, kBd };
/// "auto", "cd", "dvd", "bd".
LACUNA_API std::string_view to_string(Medium) noexcept;
LACUNA_API std::optional<Medium> medium_from(std::string_view word) noexcept;
/// Sectors of the ECC block that is the smallest unit of reading: CD 1 (ECMA-130 14, each sector has codes of its own),
/// DVD 16 (ECMA-267 19), BD 32 (a cluster of 64 KiB). Clauses and numbers from memory. They begin at multiples of it.
LACUNA_API std::uint32_t block_sectors(Medium) noexcept;

/// What a disc seems to be.
struct LACUNA_API MediumGuess {
  Medium medium = Medium::kCd;  ///< Never kAuto.
  std::string why;              ///< What it rests on, for people; no full stop.
};
/// By what the disc tells of itself, else by what such discs hold.
LACUNA_API MediumGuess guess_medium(const Disc& disc);
/// Of an image in which no file system was found.
LACUNA_API MediumGuess guess_medium(const Image& image);

/// What is wanted of a plan.
struct LACUNA_API PlanOptions {
  GlobSet want;                                 ///< Files that come before all others; empty: none by name.
  std::vector<FileKind> want_kinds;             ///< And those of these kinds.
  GlobSet skip;                                 ///< Files and directories that are not worth a try; empty: none.
  std::optional<std::uint64_t> budget_sectors;  ///< No more is read than this; steps that don't fit are passed over.
  Medium medium = Medium::kAuto;
  bool all = false;  ///< Also, in the end, the sectors that nobody is known to need.
};

enum class PlanReason : std::uint8_t {
  kStructure,  ///< Names or places files.
  kWanted,     ///< Completes files that were asked for.
  kFile,       ///< Completes others.
  kRest,       ///< Completes nothing that is known.
};
LACUNA_API std::string_view to_string(PlanReason) noexcept;

/// What is reached when a step and all before it could be read.
struct LACUNA_API PlanTotals {
  std::uint64_t sectors = 0;         ///< Read, whole ECC blocks.
  std::uint64_t names = 0;           ///< Files that structures would name or place, by estimate.
  std::uint64_t files_whole = 0;     ///< More than now.
  std::uint64_t bytes_whole = 0;     ///< Their sizes.
  std::uint64_t files_doubtful = 0;  ///< Complete, but something else than their sectors speaks against them.
};

/// A structure, or a piece of one, that can't be read.
struct LACUNA_API PlanStructure {
  Structure structure;      ///< Of a directory: its extent.
  std::uint64_t names = 0;  ///< How many files it would name or place, by estimate.
};

/// Sectors to be read together; what they complete is known when the last of them is read.
struct LACUNA_API PlanStep {
  PlanReason reason = PlanReason::kFile;
  std::uint32_t first_range = 0, range_count = 0;          ///< In Plan::ranges.
  std::uint32_t first_file = 0, file_count = 0;            ///< In Plan::files; each file is in one step.
  std::uint32_t first_structure = 0, structure_count = 0;  ///< In Plan::structures.
  PlanTotals so_far;

  bool is_structure() const noexcept { return reason == PlanReason::kStructure; }
};

/// What the plan has nothing for.
struct LACUNA_API PlanLeft {
  std::uint64_t files_unplaced = 0;  ///< Not complete, and no sector that is known would make them so.
  std::uint64_t files_outside = 0;   ///< Said to lie where the medium has no sectors.
  std::uint64_t files_skipped = 0;   ///< PlanOptions::skip.
  std::uint64_t files_over_budget = 0;
  std::uint64_t files_tangled = 0;     ///< They claim the same sectors as others so often that they were left out.
  std::uint64_t structures_known = 0;  ///< Not readable, but what they say is known from elsewhere.
  std::uint64_t structures_over_budget = 0;
  std::uint64_t structures_tangled = 0;  ///< As files_tangled.
  std::uint64_t sectors_idle = 0;        ///< Not good, inside the image, and in no step before PlanReason::kRest.
};

/// Constant once built; safe for concurrent use.
struct LACUNA_API Plan {
  Medium medium = Medium::kCd;
  std::string medium_why;  ///< Empty when it was given.
  std::uint32_t block_sectors = 1;
  std::uint64_t sectors_not_good = 0;  ///< Inside the image, and outside it where the plan's files and structures lie.
  std::vector<PlanStep> steps;
  LargeVector<Range> ranges;  ///< LBAs; whole ECC blocks as far as the disc is known to go. No sector is in two steps.
  LargeVector<NodeId> files;
  std::vector<PlanStructure> structures;
  PlanLeft left;

  /// Ascending, disjoint.
  std::span<const Range> ranges_of(const PlanStep& s) const {
    return std::span(ranges).subspan(s.first_range, s.range_count);
  }
  std::span<const NodeId> files_of(const PlanStep& s) const {
    return std::span(files).subspan(s.first_file, s.file_count);
  }
  std::span<const PlanStructure> structures_of(const PlanStep& s) const {
    return std::span(structures).subspan(s.first_structure, s.structure_count);
  }
  PlanTotals totals() const { return steps.empty() ? PlanTotals{} : steps.back().so_far; }
};

/// Structures first, by how many files they would name or place for their sectors; then the files that are wanted, then
/// the others, so that as many as can be are whole for whatever is spent. docs/plan has the rules. What is read between
/// two calls changes what is worth most: make the plan anew. Errors: kUsage for a budget of 0.
LACUNA_API Result<Plan> make_plan(const Disc& disc, const Verdicts& verdicts, const PlanOptions& options = {});

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// The survey's facts, gathered once and put as text or JSON.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/report.h"

namespace lacuna::report {

/// A structure of the file system that a range hits.
struct HurtStructure {
  std::uint32_t structure = 0;   ///< Index into Disc::structures().
  std::uint64_t hurt_bytes = 0;  ///< Of its bytes, how many are not good.
  SectorState worst = SectorState::kGood;
};

/// A thing to do, and the command that does it (empty: nothing that the command can do).
struct Step {
  std::string text;
  std::string command;
};

/// A stretch that no file and no structure fills.
struct Unclaimed {
  Range lbas;
  std::string type;  ///< The media type that its first sector looks like; empty when not known, or one of very many.
};

struct SurveyFacts {
  /// By SectorState: from LBA 0 to the image's end, and behind it those absent sectors on which something lies.
  std::array<std::uint64_t, kSectorStateCount> sectors{};
  std::uint64_t sectors_in_all = 0;
  std::uint64_t hit_ranges = 0;    ///< Ranges that are neither good nor repaired.
  std::uint64_t idle_sectors = 0;  ///< Sectors in them that nothing known uses.
  std::uint64_t directories = 0;   ///< In the tree, without the root.
  StateCount all_files;
  std::vector<HurtStructure> hurt_structures;  ///< In the order of their places.
  /// Where the main volume ends by its own word, when that is behind the image's end.
  std::optional<std::uint64_t> volume_end_lba;
  std::vector<View> views;  ///< In the tree, best first.
  /// The UDF volume that the tree shows, and what of it was found: files and directories that are neither streams nor
  /// deleted, the root included. Found nothing when several sessions are shown.
  const Volume* udf = nullptr;
  std::optional<std::uint64_t> udf_files, udf_directories;
  bool streams_listed = false, deleted_listed = false;
  /// Files by what they are known from, and by state.
  std::array<std::array<std::uint64_t, kFileStateCount>, kEvidenceCount> files_from{};
  std::uint64_t orphans = 0;  ///< Files below `_orphans`.
  /// Readable stretches that nothing claims, blank sectors left out unless there are too many to be looked at.
  std::vector<Unclaimed> unclaimed;
  std::uint64_t unclaimed_sectors = 0;
  Findings findings;  ///< The image's and the disc's.
};

SurveyFacts gather_facts(const Disc& disc, const Verdicts& verdicts, const Hits& hits);
/// What to do next, most useful first.
std::vector<Step> next_steps(const Disc& disc, const Verdicts& verdicts, const SurveyFacts& facts,
                             const ReportContext& context);
/// Cautions that apply here, one sentence each.
std::vector<std::string> cautions(const SurveyFacts& facts);
/// "primary volume descriptor", "directory photos/1998" …: what a structure is, for people.
std::string structure_title(const Disc& disc, const Structure& s);

struct Survey {
  const Disc& disc;
  const Verdicts& verdicts;
  const ReportContext& context;
  const SurveyFacts& facts;
};
class Out;
void survey_as_text(const Survey& survey, Out& out);
void survey_as_json(const Survey& survey, Out& out);

}  // namespace lacuna::report

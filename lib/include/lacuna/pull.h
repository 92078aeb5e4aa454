// SPDX-License-Identifier: GPL-3.0-or-later
// Pulling: files out of an image into a folder, with a manifest that says what each is worth.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/completions.h"
#include "lacuna/disc.h"
#include "lacuna/export.h"
#include "lacuna/glob.h"
#include "lacuna/progress.h"
#include "lacuna/result.h"
#include "lacuna/verdict.h"

namespace lacuna {

enum class PullOutcome : std::uint8_t {
  kPulled,
  kAlreadyThere,  ///< An earlier run's file, equal by size, date and the manifest's record of it; else equal in every
                  ///< byte.
  kLeftDamaged,   ///< Damaged, lost or unlocated, and not asked for.
  kLeftProgram,   ///< A program, left inside the image on request.
  kLeftSpecial,   ///< A device, FIFO or socket, or a symbolic link that may lead outside: listed, never made.
  kBlocked,       ///< Something else is already there.
  kFailed,        ///< Could not be written.
};
inline constexpr int kPullOutcomeCount = 7;
LACUNA_API std::string_view to_string(PullOutcome) noexcept;

/// What audio tracks become.
enum class AudioFormat : std::uint8_t { kWav, kFlac };

/// How pulled files lie in the folder.
enum class Arrangement : std::uint8_t {
  kTree,      ///< Under their paths on the disc.
  kYear,      ///< By the year of their last modification; `undated` where the disc tells none that can be.
  kKind,      ///< By what they are to a person (lacuna/file_kind.h).
  kYearKind,  ///< Both, "2004/photos".
};
inline constexpr int kArrangementCount = 4;
/// "tree", "year", "kind", "year/kind".
LACUNA_API std::string_view to_string(Arrangement) noexcept;
LACUNA_API std::optional<Arrangement> arrangement_from(std::string_view word) noexcept;

/// An element of a bag's bag-info.txt (RFC 8493, 2.2.2).
struct LACUNA_API BagElement {
  std::string label, value;

  friend bool operator==(const BagElement&, const BagElement&) = default;
};
/// Reads "Label: value". Errors: kUsage for a label or value that the file can't hold, and for labels that Lacuna
/// writes itself.
LACUNA_API Result<BagElement> parse_bag_element(std::string_view text);

/// What to pull, where to, and how.
struct LACUNA_API PullOptions {
  std::filesystem::path to;     ///< Made when missing (its parent must be there).
  GlobSet only;                 ///< Which paths; empty: all.
  bool damaged = false;         ///< Also damaged files, into `_damaged/`, each with a list of its gaps.
  bool skip_programs = false;   ///< Leave program files inside the image; they are listed in the manifest.
  bool portable_names = false;  ///< Names that also hold on case-insensitive targets and on other systems.
  /// Tracks that are not damaged; those that are become WAV in any case, where a gap has a place.
  AudioFormat audio_format = AudioFormat::kWav;
  /// What files lack here and others hold (lacuna/twins.h): completed files are pulled as the completion says. May be
  /// null; must outlive the pull.
  const Completions* completions = nullptr;
  bool replace = false;  ///< Replace regular files that are there but not ours; never anything else.
  /// The folder is a BagIt bag (RFC 8493), the files under `data/`. It has its bagit.txt only while it is complete.
  bool bag = false;
  std::vector<BagElement> bag_info;  ///< Further elements of its bag-info.txt.
  Arrangement arrangement = Arrangement::kTree;
  /// Whole files that are equal are stored once, whichever disc they come from. Not with `replace`.
  bool once = false;
  unsigned threads = 0;  ///< 0: as many as the machine has.
  ProgressCallback progress;
};

/// What became of one file.
struct LACUNA_API PulledFile {
  NodeId node = kNoNode;
  PullOutcome outcome = PullOutcome::kPulled;
  std::string target;      ///< Relative to the folder, '/' between; empty when nothing was written.
  std::string why;         ///< For what was not pulled.
  bool completed = false;  ///< It is in the folder with what PullOptions::completions gave.
  bool shared = false;     ///< `target` is the file of another path, on this disc or another, that has the same bytes.
};

/// What became of all files that were asked for.
struct LACUNA_API PullReport {
  std::vector<PulledFile> files;  ///< In the tree's order.
  std::array<std::uint64_t, kPullOutcomeCount> counts{};
  std::uint64_t bytes_written = 0;
  std::uint64_t bytes_shared = 0;  ///< Of files whose bytes the folder holds under another path.
  bool bag_closed = false;  ///< The folder is a complete bag; if it should be one and is not, a finding says why.
  Findings findings;
};

/// Writes the files, then `lacuna-manifest.jsonl` and `SHA256SUMS` in the folder. Nothing is ever written outside
/// `to`, no symbolic link is followed there, nothing already there is overwritten unless `replace` (but an earlier
/// pull's own file, untouched since, of which more is known now); each file appears under its name only when complete.
/// Called again it does what is missing; one pull at a time works in a folder. A folder is for one disc, unless its
/// files are arranged or stored once: then each disc has its manifest in `lacuna-discs/`. A file that reading shows to
/// be worse than it was judged is handled, reported and recorded as what it is. When `only` matches nothing, nothing is
/// written. Errors: kCannotWrite (full or read-only target, with what was done so far kept and resumable; something
/// else under one of our own names), kCancelled (likewise kept), kUsage (the folder holds files of another disc, or was
/// begun with another arrangement), kBadInput (its manifest is broken).
LACUNA_API Result<PullReport> pull(const Disc& disc, const Verdicts& verdicts, const PullOptions& options);

/// True for what --skip-programs leaves inside the image: by content signature (first bytes) or by name.
LACUNA_API bool is_program(std::string_view name, std::span<const std::uint8_t> first_bytes);

/// Which track becomes a plain image, and where.
struct LACUNA_API PlainOptions {
  std::filesystem::path to;            ///< Of the image; its map lies beside it, with ".map" behind the name.
  std::optional<std::uint32_t> track;  ///< By number; default: the first data track.
  ProgressCallback progress;
};

/// What write_plain_image() wrote.
struct LACUNA_API PlainImage {
  std::uint64_t first_lba = 0, sectors = 0;  ///< The image's first byte is that of this LBA (--starts-at).
  std::uint64_t missing = 0;                 ///< Sectors without bytes, left as holes.
};

/// Writes the user data of a data track of a raw image, 2048 bytes a sector, and the map of its sectors. Both appear
/// under their names only when complete; nothing already there is overwritten. Errors: kUsage for an image without
/// tracks or a track that has no user data, kCannotWrite, kCancelled.
LACUNA_API Result<PlainImage> write_plain_image(const Image& image, const PlainOptions& options);

/// What verify() found for one path that is not as the manifest says.
struct LACUNA_API VerifyProblem {
  enum class Kind : std::uint8_t { kMissing, kChanged, kSurplus, kUnreadable, kSumsDisagree } kind;
  std::string path;
  std::string text;
};
LACUNA_API std::string_view to_string(VerifyProblem::Kind) noexcept;

/// What verify() found.
struct LACUNA_API VerifyReport {
  std::uint64_t files_right = 0;
  std::uint64_t bytes_right = 0;
  std::vector<VerifyProblem> problems;
  std::uint64_t not_whole = 0;  ///< Files the manifest lists as other than whole, as a reminder.
};

/// Checks a pulled folder against its manifests and its SHA256SUMS: missing, changed and surplus files; if it is a bag,
/// also what RFC 8493 asks of a complete and valid one. Errors:
/// kNotReadable when there is no manifest, kBadInput for a bad line of it (file:line), kCancelled.
LACUNA_API Result<VerifyReport> verify(const std::filesystem::path& folder, unsigned threads = 0,
                                       const ProgressCallback& progress = {});

}  // namespace lacuna

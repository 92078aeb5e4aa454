// SPDX-License-Identifier: GPL-3.0-or-later
// Twins: files that are damaged on one disc and there on another. docs/twins.md has the rule by which two files are
// one, and its odds.
//
//   auto search = TwinSearch::start(disc, verdicts);
//   for (each donor) { open it; search->look_at(*donor_disc, "backup.iso"); close it; }
//   auto twins = search->finish();
//   pull(disc, verdicts, {.to = …, .completions = &*twins});
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
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

/// What the donors can do for a file that is not whole here.
enum class TwinOutcome : std::uint8_t {
  kWhole,         ///< Complete, and nothing speaks against it.
  kDoubtful,      ///< Complete, but something speaks against what was taken.
  kContradicted,  ///< Donors that agree with this file disagree with each other: nothing is taken.
  kPartly,        ///< They hold some of the bytes that are missing, not all: nothing is taken.
  kCandidates,    ///< Nothing can be compared, or too little: files of that name, size and date.
  kNothing,
};
inline constexpr int kTwinOutcomeCount = 6;
LACUNA_API std::string_view to_string(TwinOutcome) noexcept;

/// A donor that was looked at, or that could not be.
struct LACUNA_API TwinDonor {
  std::string image;    ///< As the caller names it.
  bool itself = false;  ///< The image that needs help: always the first, as it may hold copies, or siblings, of a file.
  std::string volume_id;
  Basis basis = Basis::kAssumed;
  std::uint64_t files = 0;
  std::uint64_t looked_at = 0;  ///< Of these: of a size that is wanted.
  bool incomplete = false;      ///< Not all pairs were compared: it has more files of equal sizes than are taken on.
  std::string problem;          ///< Why nothing was looked at; empty when it was.
};

/// A donor's file that is equal in every byte that is readable in both.
struct LACUNA_API TwinMatch {
  std::uint32_t donor = 0;  ///< In Twins::donors().
  std::string path;
  Basis basis = Basis::kAssumed;
  std::uint64_t shared_bytes = 0;
  std::uint64_t shared_blocks = 0;  ///< That tell something: no two alike, none filled with a pattern; up to 65,536.
  RangeSet taken;                   ///< Bytes of the file here that were taken from it; others gave the rest before.
  std::uint64_t gives_bytes = 0;    ///< Of those that are lacking here, it has so many.
  std::vector<std::string> doubts;  ///< Why it can't make the file whole; empty when it can.
};

/// A donor's file of this size that nothing is taken from.
struct LACUNA_API TwinCandidate {
  enum class Kind : std::uint8_t {
    kSameNameAndDate,  ///< Nothing readable in both tells anything.
    kDoubtfulThere,    ///< Of this name and date, but its place is in doubt there.
    kDiffers,          ///< Of this name, and differs in a byte that is readable in both: another version.
    kAgrees,           ///< Agrees where both are readable, and nothing else makes it the same file.
  } kind = Kind::kSameNameAndDate;
  std::uint32_t donor = 0;
  std::string path;
  FileState state = FileState::kWhole;  ///< There.
  Timestamp modified;                   ///< There.
  std::uint64_t differs_at = 0;         ///< Byte of the file, of kDiffers.
  std::uint64_t shared_blocks = 0;      ///< Of kAgrees.
};
LACUNA_API std::string_view to_string(TwinCandidate::Kind) noexcept;

/// A file of the image that is not whole.
struct LACUNA_API TwinFile {
  NodeId node = kNoNode;
  TwinOutcome outcome = TwinOutcome::kNothing;
  std::uint64_t lacking_bytes = 0;        ///< That are not good here.
  std::uint64_t found_bytes = 0;          ///< Of these, so many some donor has.
  std::vector<TwinMatch> matches;         ///< At most kMostListed without doubts, and as many with some.
  std::vector<TwinCandidate> candidates;  ///< At most kMostListed.
  std::uint64_t more = 0;                 ///< Matches and candidates beyond these.
  std::vector<std::string> doubts;        ///< Against the completed file, or why it is not completed.
  std::optional<Completion> completion;

  static constexpr std::size_t kMostListed = 64;
};

/// What the donors can do for all files that are not whole. It keeps the bytes that it gives in a file of its own that
/// has no name; the donors need not be there any more. Constant and safe for concurrent use.
class LACUNA_API Twins final : public Completions {
 public:
  struct Impl;
  explicit Twins(std::unique_ptr<Impl> impl);
  ~Twins() override;

  const std::vector<TwinDonor>& donors() const noexcept;
  /// In the tree's order: files that lack bytes. Files that are doubtful for their place only are not among them.
  const std::vector<TwinFile>& files() const noexcept;

  const Completion* of(NodeId file) const override;
  bool read(NodeId file, std::uint64_t offset, std::span<std::uint8_t> out) const override;

 private:
  std::unique_ptr<Impl> impl_;
};

/// Which files need help, and how to look for it.
struct LACUNA_API TwinOptions {
  GlobSet only;                        ///< Which files need help; empty: all that are not whole.
  std::filesystem::path spool_folder;  ///< Where bytes of donors are kept; empty: the system's folder for such files.
  unsigned threads = 0;                ///< For looking into donors without a map; 0: as many as the machine has.
  ProgressCallback progress;
};

/// Looks at donors one by one; memory grows with the files that need help and what is found, not with the donors. For
/// one thread.
class LACUNA_API TwinSearch {
 public:
  /// Reads a few blocks of each file that needs help, and looks at the disc itself as at a donor. `disc` and `verdicts`
  /// must outlive it. Errors: as look_at().
  static Result<std::unique_ptr<TwinSearch>> start(const Disc& disc, const Verdicts& verdicts,
                                                   const TwinOptions& options = {});
  ~TwinSearch();

  /// How many files need help.
  std::size_t wanted() const noexcept;
  /// Judges the donor's files of wanted sizes and holds them against those that need help. The donor need not outlive
  /// the call; the disc itself is passed over. Errors: kCannotWrite when the bytes to keep find no room, kCancelled.
  Result<Done> look_at(const Disc& donor, const std::string& image);
  /// For a donor that can't be opened.
  void note_failure(const std::string& image, const std::string& problem);
  /// Ends the search.
  std::unique_ptr<const Twins> finish();

 private:
  struct Impl;
  explicit TwinSearch(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace lacuna

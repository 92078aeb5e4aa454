// SPDX-License-Identifier: GPL-3.0-or-later
// Combining: several reads of one disc into the best image of it, with the map of its sectors and a record of which
// read gave what.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/export.h"
#include "lacuna/finding.h"
#include "lacuna/image.h"
#include "lacuna/plan.h"
#include "lacuna/progress.h"
#include "lacuna/result.h"
#include "lacuna/states.h"

namespace lacuna {

/// Bit n stands for read n, in the order given.
using ReadMask = std::uint64_t;
inline constexpr std::size_t kMostReads = 64;

/// How the state of a sector was settled.
enum class Settled : std::uint8_t {
  kProven,      ///< Its own code agrees, as it was read.
  kRepaired,    ///< Its own code agrees after repair in one of the reads; or a map calls it repaired.
  kJoined,      ///< Its own code agrees after bytes of several reads were put together.
  kAgreed,      ///< Nothing proves it, and two or more reads have the same bytes.
  kMajority,    ///< More than half of three or more reads have these bytes; others differ.
  kAlone,       ///< One read has it.
  kDistrusted,  ///< One read has it, which elsewhere gave other bytes than those that were right or may be: suspect.
  kFill,        ///< Uniform in reads without a map, where another differs or failed: suspect.
  kConflict,    ///< Reads that call it good differ, without a majority: suspect.
  kSuspect,     ///< Only suspect in any read.
  kMissing,     ///< No read has it.
};
inline constexpr int kSettledCount = 11;
LACUNA_API std::string_view to_string(Settled) noexcept;

/// How far two reads are of the same disc.
struct LACUNA_API Agreement {
  std::uint64_t compared = 0;  ///< Sectors good in both whose bytes tell something (that no short pattern fills).
  std::uint64_t equal = 0;
  /// Sectors of volume descriptors and file sets (both good) that are equal, or differ.
  std::uint32_t descriptors_equal = 0, descriptors_differ = 0;
  /// What the second read has at LBA n is the disc's at n * kSectorBytes - shift_bytes; 0 when it is in place.
  std::int64_t shift_bytes = 0;
  std::optional<std::uint64_t> first_difference_lba;

  bool same_disc() const noexcept;
};

/// Compares up to 4096 sectors that are good in both, spread evenly, and those of the volume's descriptors. Where too
/// few agree, looks for a shift of up to 1 MiB either way under which they do.
LACUNA_API Agreement compare_reads(const Image& known, const Image& other);

/// One read of the disc.
struct LACUNA_API DiscRead {
  std::string name;              ///< As given.
  const Image* image = nullptr;  ///< Null: a drive, see `drive`.
  /// A path to be read sector by sector, only where others left something to want. The last read only.
  std::filesystem::path drive;
  std::vector<std::string> maps = {};  ///< As given, for the record.
  /// What it goes back to, see sources_of(): two reads with one in common would count as two where they are one.
  std::vector<std::string> sources = {};
};

/// The full path of an image and, when it was combined (its record lies beside it), of all images that it was made of.
/// Sorted.
LACUNA_API std::vector<std::string> sources_of(const std::filesystem::path& image);

/// How to read a drive.
struct LACUNA_API RereadOptions {
  unsigned passes = 3;        ///< Over what is still missing. 0: nothing is read.
  double limit_seconds = 20;  ///< For one request; what takes longer is left for the next pass.
  PlanOptions plan;           ///< What comes first.
  bool wanted_only = false;   ///< Only what the plan holds, not the sectors that nothing uses.
};

enum class ImageForm : std::uint8_t {
  kAuto,   ///< Raw when every read is.
  kPlain,  ///< User data, 2048 bytes a sector.
  kRaw,    ///< Whole sectors, 2352 bytes; what only plain reads have is then left out.
};

/// What to write, and how.
struct LACUNA_API CombineOptions {
  std::filesystem::path to;  ///< Beside it: NAME.map, NAME.reads.jsonl, perhaps NAME.cue; while a drive is read,
                             ///< NAME.drive-read and its map.
  ImageForm form = ImageForm::kAuto;
  bool force = false;  ///< Take reads for the same disc that don't look like it, and for several that go back to one.
  RereadOptions drive;
  unsigned threads = 0;  ///< 0: as many as the machine has.
  ProgressCallback progress;
};

/// What one read was good for.
struct LACUNA_API ReadFacts {
  std::string name;
  bool raw = false, drive = false;
  Agreement agreement;             ///< With the reads before it; the first has none.
  std::uint64_t good = 0;          ///< Sectors that it has good, repaired ones among them.
  std::uint64_t alone = 0;         ///< Sectors of the result that it alone has (kAlone, kDistrusted).
  std::uint64_t contradicted = 0;  ///< Sectors that it calls good, where the result has other bytes or a conflict.
  std::uint64_t gave = 0;          ///< Sectors of the result whose bytes it has, and none of the reads before it.
};

/// What the result is, and what each read gave to it.
struct LACUNA_API CombineReport {
  std::uint64_t first_lba = 0, sectors = 0;
  bool raw = false;
  bool has_cue = false;  ///< NAME.cue was written: whole sectors, and a read that had a layout of tracks.
  Basis basis = Basis::kAssumed;
  std::vector<ReadFacts> reads;
  std::array<std::uint64_t, kSectorStateCount> states{};
  std::array<std::uint64_t, kSettledCount> settled{};
  std::vector<Range> conflicts;  ///< LBAs, ascending; the first kMostListed.
  std::uint64_t left_out = 0;    ///< Sectors good in a plain read that a raw image has no place for.
  std::uint64_t drive_requests = 0, drive_sectors = 0;  ///< What this run asked the drive for.
  static constexpr std::size_t kMostListed = 1000;
};

/// Writes the image, its map and the record, each of which appears under its name when complete; nothing already there
/// is overwritten, and no read is changed. Image reads are compared in every sector that no code proves, a drive is
/// asked only for sectors that are not good yet. When stopped while a drive is read (kCancelled), what it gave is kept:
/// the same call goes on from there. Errors: kUsage (no read, more than kMostReads, a drive that is not the last, reads
/// of another disc, with the numbers, reads with a source in common), kNotReadable, kCannotWrite, kCancelled.
LACUNA_API Result<CombineReport> combine_reads(std::span<const DiscRead> reads, const CombineOptions& options);

}  // namespace lacuna

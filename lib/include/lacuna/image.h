// SPDX-License-Identifier: GPL-3.0-or-later
// Image: the bytes of a disc as far as they were read, and the state of every sector. A hole is a normal input:
// every read gives bytes *and* states, and nothing fails because a sector is missing.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "lacuna/export.h"
#include "lacuna/finding.h"
#include "lacuna/progress.h"
#include "lacuna/range_set.h"
#include "lacuna/result.h"
#include "lacuna/sector_map.h"
#include "lacuna/states.h"
#include "lacuna/tracks.h"

namespace lacuna {

/// Where sectors come from. LBAs are the disc's. Implementations are safe for concurrent reads.
class LACUNA_API SectorSource {
 public:
  virtual ~SectorSource() = default;

  /// The sectors [first_lba, end_lba) are inside the source; all others are absent.
  virtual std::uint64_t first_lba() const noexcept { return 0; }
  virtual std::uint64_t end_lba() const noexcept = 0;
  /// Bytes present of the last sector, 1..kSectorBytes: less than a sector when the image was cut within it.
  virtual std::uint32_t last_sector_bytes() const noexcept { return kSectorBytes; }
  /// What is known without reading: LBAs that lie in holes of a sparse file.
  virtual const RangeSet& holes() const noexcept = 0;
  /// LBAs inside [first_lba, end_lba) whose bytes are nowhere, wholly or in part (a numbered part that is missing):
  /// absent, whatever a map says.
  virtual const RangeSet& missing() const noexcept {
    static const RangeSet none;
    return none;
  }

  /// LBAs of sectors that have no kSectorBytes of user data (audio, form 2): read() gives them as absent, though they
  /// may be there whole, see raw().
  virtual const RangeSet& without_user_data() const noexcept {
    static const RangeSet none;
    return none;
  }

  /// The raw side of an image that holds whole sectors of a CD; null for any other.
  virtual const RawSectors* raw() const noexcept { return nullptr; }

  /// Reads out.size() / kSectorBytes sectors from `lba`. Each sector's state is kGood (of raw sectors also kRepaired or
  /// kSuspect), kBad (an I/O error of that sector; the others of the same request are still read), kUnread (a hole) or
  /// kAbsent; bytes of sectors without bytes are zero. A last sector that is present in part is good, its missing bytes
  /// are zero. What a read says beyond what was known before is remembered by the Image. An exception ends the call
  /// that wanted the sectors and is passed on to its caller; nothing is then learned of them.
  virtual void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const = 0;
};

/// How to open a source.
struct LACUNA_API SourceOptions {
  std::uint64_t starts_at = 0;  ///< LBA of the image's first byte.
  unsigned threads = 0;         ///< For checking raw sectors; 0: as many as the machine has.
  ProgressCallback progress;    ///< Of the same.
  RangeSet bad_bytes;           ///< Of raw sectors, bytes known to be wrong (SectorMap::bad_bytes).
};

/// Opens a regular file (sparse or not), a block device, or numbered parts: several paths in order, or the first of
/// a numbered set (x.001, x.002, …), whose others are found beside it; or a cue sheet or other description of tracks.
/// Images of whole CD sectors (2336 to 2744 bytes each) are recognised by their contents, and every sector is checked
/// by its own code.
/// Inputs are opened read-only. A part's name ends in '.' or ".part" and a number; a set begins with 0 or 1. A missing
/// part leaves its place absent, which needs parts of one size. Errors: kNotReadable with the path and what to do;
/// kUsage for parts listed out of order; kBadInput for a bad line of a cue sheet; kCancelled.
LACUNA_API Result<std::unique_ptr<SectorSource>> open_source(const std::vector<std::filesystem::path>& paths,
                                                             const SourceOptions& options, Findings& findings);

/// How to open an image.
struct LACUNA_API ImageOptions {
  std::vector<std::filesystem::path> maps;  ///< All are united: each sector has the worst state that any map says.
  MapColumns map_columns;                   ///< How to read them if they are a log of another program.
  std::uint64_t starts_at = 0;              ///< LBA of the image's first byte.
  unsigned threads = 0;                     ///< As SourceOptions has it.
  ProgressCallback progress;
};

/// A source with its maps. Safe for concurrent use.
class LACUNA_API Image {
 public:
  static Result<std::unique_ptr<Image>> open(const std::vector<std::filesystem::path>& paths,
                                             const ImageOptions& options = {});
  /// From a caller's own source. `maps` as in ImageOptions::maps.
  static std::unique_ptr<Image> from_source(std::unique_ptr<SectorSource> source, std::vector<SectorMap> maps = {},
                                            std::string name = "image");
  ~Image();
  Image(const Image&) = delete;
  Image& operator=(const Image&) = delete;

  const std::string& name() const noexcept;  ///< The first path as given.
  std::uint64_t first_lba() const noexcept;
  std::uint64_t end_lba() const noexcept;
  /// Byte address on the disc (LBA * kSectorBytes + byte) behind the last byte present.
  std::uint64_t end_byte() const noexcept;
  /// True when a map was given that is not itself inferred, or when every sector of user data carries its own code: then
  /// `good` rests on that, and nothing is inferred from contents.
  bool has_map() const noexcept;
  /// The weakest of all sectors that have bytes.
  Basis basis() const noexcept;
  /// Of sectors that no code proves.
  Basis unproven_basis() const noexcept;
  /// LBAs of sectors that have bytes, and no code that proves them. Of images that are not raw: none are listed.
  const RangeSet& unproven() const noexcept;
  /// Tracks and whole sectors, where the image has them; else null.
  const RawSectors* raw() const noexcept;

  /// Reads whole sectors; states are those of states(), bytes of sectors without bytes are zero. A state that nobody
  /// foretold, such as the kBad of a read error, is remembered.
  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const;
  /// Reads states.size() whole sectors of kRawSectorBytes. States are the worse of states() and of what the raw side
  /// says, its proof included; kAbsent where there is none, or only user data. Bytes of sectors without bytes are zero.
  /// Read errors are remembered as those of read().
  void read_raw(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const;
  /// Records what looking at the contents brought up: the sectors become the worse of `state` and what they were.
  void learn(const RangeSet& lbas, SectorState state) const;
  /// What is known now of every sector, absent ones included: maps, holes, cut ends, and what reading learned.
  /// A copy, O(runs).
  SectorMap states() const;
  /// The same as file systems see it: sectors without user data (SectorSource::without_user_data) are absent.
  SectorMap data_states() const;

  /// Notes on the opening. Kinds: cut-in-sector; holes, hole-not-in-map (with a map); map-beyond-image; part-missing,
  /// parts-joined, parts-unequal, part-alone, part-far-off.
  const Findings& findings() const noexcept;

 private:
  struct Impl;
  explicit Image(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace lacuna

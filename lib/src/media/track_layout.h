// SPDX-License-Identifier: GPL-3.0-or-later
// TrackLayout: which bytes of which files hold which sectors of a CD. Made from a cue sheet, a container, or by looking
// at an image that has none; what reads sectors needs no other.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "lacuna/finding.h"
#include "lacuna/result.h"
#include "lacuna/tracks.h"
#include "media/byte_store.h"

namespace lacuna {

/// How the bytes of a unit, one a sector, are laid out in a file.
struct UnitLayout {
  enum class Holds : std::uint8_t {
    kRaw,    ///< All 2352 bytes from byte `at` on.
    kMode2,  ///< 2336 bytes: those behind the header (subheader first).
    kUser,   ///< 2048 bytes of user data.
    kForm2,  ///< 2324 bytes of user data (form 2).
  };
  std::uint16_t bytes = kRawSectorBytes;  ///< From one sector to the next.
  Holds holds = Holds::kRaw;
  std::uint16_t at = 0;     ///< Where the held bytes begin in the unit.
  bool swapped = false;     ///< Samples are big-endian: bytes of each pair change places.
  bool scrambled = false;   ///< ECMA-130 annex B, as read from the disc.
  std::uint16_t c2_at = 0;  ///< 294 bytes of error pointers, one bit a byte of the sector, highest bit first; 0: none.

  std::uint16_t held_bytes() const noexcept;
  friend bool operator==(const UnitLayout&, const UnitLayout&) = default;
};

/// Sectors that follow one another on the disc and in a file.
struct StoredRun {
  std::uint64_t first_lba = 0;
  std::uint64_t sectors = 0;
  std::size_t store = 0;      ///< Index into TrackLayout::stores.
  std::uint64_t at_byte = 0;  ///< Of the first unit.
  UnitLayout unit;
  bool audio = false;
};

struct TrackLayout {
  std::vector<std::unique_ptr<ByteStore>> stores;
  std::vector<StoredRun> runs;  ///< Ascending by first_lba, not overlapping; what no run holds is absent.
  std::vector<Track> tracks;    ///< 1 to 99, ascending by first_lba; of unknown length: as many sectors as are certain.
  std::uint64_t first_lba = 0, end_lba = 0;  ///< What the layout speaks of.
  std::int32_t header_bias = 0;              ///< What headers count more than LBAs, where a writer began elsewhere.
};

/// A cue sheet (docs/formats/tracks.md). Files are looked up beside it by the last component of their names, the exact
/// name first, else without regard to case, and nowhere else. Kinds of tracks: AUDIO, CDG, MODE1/2048, MODE1/2352,
/// MODE2/2048, MODE2/2324, MODE2/2336, MODE2/2352, CDI/2336, CDI/2352; of files: BINARY, MOTOROLA, WAVE, AIFF.
/// Sectors that the files don't have are absent, and so is data whose place is not certain. Findings:
/// layout-file-missing, layout-file-short, layout-file-odd (ends in a sector), layout-file-kind (not read: compressed,
/// or not as a CD has it), layout-place (by addresses in sectors, by rule, or the least possible), layout-overlap,
/// layout-word. Errors: kNotReadable; kBadInput with file and line.
Result<TrackLayout> read_cue_sheet(const std::filesystem::path& path, Findings& findings);

/// A TOC file (text that begins with CD_DA, CD_ROM, CD_ROM_XA or CD_I), whose files are looked up in the same way, or
/// an NRG container. Findings and errors as above; an NRG container has no lines.
Result<TrackLayout> read_container(const std::filesystem::path& path, Findings& findings);

/// Whether a file is a cue sheet or a container of the above: by its extension (.cue, .toc, .nrg, in any case) and by
/// its first bytes, those of NRG by its last ones.
enum class LayoutKind : std::uint8_t { kNone, kCueSheet, kContainer };
LayoutKind layout_kind(const std::filesystem::path& path);

}  // namespace lacuna

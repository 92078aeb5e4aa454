// SPDX-License-Identifier: GPL-3.0-or-later
// Tracks and raw sectors: what an image of a CD holds beyond the 2048 bytes of user data of each sector.
#pragma once

#include <bitset>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/export.h"
#include "lacuna/range_set.h"
#include "lacuna/sector_map.h"
#include "lacuna/states.h"

namespace lacuna {

/// Bytes of a sector with its sync, header, codes and parity (ECMA-130 14); of an audio sector, 588 stereo samples of
/// 16 bits, little-endian.
inline constexpr std::uint32_t kRawSectorBytes = 2352;
/// Sectors a second at single speed (ECMA-130 annex C, absolute time).
inline constexpr std::uint32_t kSectorsPerSecond = 75;

/// How a sector's 2352 bytes are used.
enum class SectorForm : std::uint8_t {
  kUnknown,  ///< Can't be told; or the image holds only its user data.
  kAudio,    ///< No sync: samples.
  kMode0,    ///< ECMA-130 14.1: zeros.
  kMode1,    ///< ECMA-130 14.2: 2048 bytes with EDC and parity.
  kMode2,    ///< ECMA-130 14.3: 2336 bytes without a code.
  kForm1,    ///< Mode 2 with subheader, 2048 bytes with EDC and parity (CD-ROM XA).
  kForm2,    ///< Mode 2 with subheader, 2324 bytes, with an EDC or none (CD-ROM XA).
};
inline constexpr int kSectorFormCount = 7;
LACUNA_API std::string_view to_string(SectorForm) noexcept;

/// A track as the image's layout has it.
struct LACUNA_API Track {
  std::uint32_t number = 1;   ///< 1 to 99.
  std::uint32_t session = 1;  ///< From 1.
  bool audio = false;
  std::uint64_t first_lba = 0;         ///< Of index 1.
  std::uint64_t sectors = 0;           ///< From first_lba on, as the layout says; not all need be in the image.
  std::uint64_t pregap_sectors = 0;    ///< Before first_lba (index 0), whether or not the image holds them.
  bool guessed = false;                ///< No layout names it: by the sectors' looks.
  std::string title, performer, isrc;  ///< CD-Text and subchannel facts that the layout carries; UTF-8.
  std::string file;  ///< The image file that holds it, as the layout names it; empty: the image itself.
};

/// One bit a byte of a whole sector: those that are known to be wrong.
using WrongBytes = std::bitset<kRawSectorBytes>;

/// The raw side of a source. Safe for concurrent use.
class LACUNA_API RawSectors {
 public:
  virtual ~RawSectors() = default;

  /// Ascending by first_lba.
  virtual const std::vector<Track>& tracks() const noexcept = 0;
  /// What the sectors' own codes (EDC) say, of those that have one: good, repaired or bad; no other sector is listed.
  virtual const SectorMap& proof() const noexcept = 0;
  /// LBAs of sectors that the image holds without headers: their codes prove their bytes, and not their places.
  virtual const RangeSet& without_headers() const noexcept {
    static const RangeSet none;
    return none;
  }
  /// Sectors of a form, as LBAs; none for kUnknown.
  virtual const RangeSet& of_form(SectorForm form) const noexcept = 0;
  /// Reads states.size() whole sectors of kRawSectorBytes from `lba` on, repaired ones as repaired. States as
  /// SectorSource::read(); audio and form 2 sectors are good when the image holds them; a sector of which the image
  /// holds only the user data is absent here.
  virtual void read_raw(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const = 0;
  /// The same as the image holds them, whatever their codes say, in their places and unscrambled: to be joined with
  /// other reads of the disc. Nothing is corrected. States: kGood where there are bytes; kUnread a hole, or data of
  /// nothing but one byte value, which stands for what was not read; kBad an I/O error; kAbsent all others, those of
  /// which the image holds only the user data too. Where the image holds no sync and header, they are those of the
  /// place. `wrong`, empty or as long as `states`: the bytes that the drive or a map calls wrong.
  virtual void read_stored(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states,
                           std::span<WrongBytes> wrong) const = 0;
};

class Image;

/// LBAs at which data tracks begin, ascending; none of an image without tracks.
LACUNA_API std::vector<std::uint64_t> data_track_starts(const Image& image);

}  // namespace lacuna

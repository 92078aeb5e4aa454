// SPDX-License-Identifier: GPL-3.0-or-later
// SectorMap: what is known of each sector of an image, and the text and JSON forms of it.
#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "lacuna/export.h"
#include "lacuna/range_set.h"
#include "lacuna/result.h"
#include "lacuna/states.h"

namespace lacuna {

/// `count` sectors from LBA `first` in one state.
struct LACUNA_API SectorRun {
  std::uint64_t first = 0;
  std::uint64_t count = 0;
  SectorState state = SectorState::kGood;

  constexpr std::uint64_t end() const noexcept { return first + count; }
  friend constexpr bool operator==(const SectorRun&, const SectorRun&) = default;
};

/// A function from LBA to state: sorted disjoint runs, and a default for what no run lists. Neighbouring runs of one
/// state are joined. Reading from several threads is safe while none writes.
class LACUNA_API SectorMap {
 public:
  explicit SectorMap(SectorState default_state = SectorState::kGood) : default_(default_state) {}
  /// From runs in any order; where they overlap the later one in the list wins. O(n log n).
  static SectorMap from_runs(std::vector<SectorRun> runs, SectorState default_state = SectorState::kGood);

  SectorState default_state() const noexcept { return default_; }
  /// What its `good` rests on: kAssumed for a map that was inferred from an image alone, which proves nothing.
  Basis basis() const noexcept { return basis_; }
  void set_basis(Basis basis) noexcept { basis_ = basis; }
  SectorState at(std::uint64_t lba) const noexcept;
  /// True when a run names the sector, false when its state is the default's.
  bool lists(std::uint64_t lba) const noexcept;
  /// The listed runs, the default's state among them where it was listed.
  std::span<const SectorRun> runs() const noexcept { return runs_; }
  /// [first, end) cut into runs of one state, the default's included.
  std::vector<SectorRun> slice(std::uint64_t first, std::uint64_t end) const;
  /// For each sector the worse of the two (their order is SectorState's); listed where either lists it. The basis is
  /// the stronger of both.
  SectorMap worst_with(const SectorMap& other) const;

  /// Byte addresses on the disc that a map in smaller units than sectors calls unreadable, of sectors that it does not
  /// call so as a whole: the parity of a raw sector may make up for them.
  const RangeSet& bad_bytes() const noexcept { return bad_bytes_; }
  void set_bad_bytes(RangeSet bytes) noexcept { bad_bytes_ = std::move(bytes); }

  /// As functions from LBA to state, and their bases.
  friend bool operator==(const SectorMap& a, const SectorMap& b) noexcept {
    return a.runs_ == b.runs_ && a.default_ == b.default_ && a.basis_ == b.basis_;
  }

 private:
  std::vector<SectorRun> runs_;
  SectorState default_;
  Basis basis_ = Basis::kMap;
  RangeSet bad_bytes_;
};

/// Describes a delimited log of another program, column by column (--map-columns and its companions).
///
/// Fields are separated by blanks, or by one comma or semicolon with or without blanks; empty lines and lines that
/// begin with '#' are passed over. Without a column "state" every row is bad; without "count", "end" or "last" a row is
/// one unit (not in bytes). Words are compared as they stand, and one that is in neither list is an error; with both
/// lists empty the six state words are taken. What no row lists is unread when there are words for good (the log
/// says what was read), else good.
struct LACUNA_API MapColumns {
  enum class Unit { kSectors, kBytes, k512 };
  /// Of "first", "count", "end" (one past the last), "last", "state"; "-" is a column that is passed over, and in last
  /// place, any number of them.
  std::vector<std::string> columns;
  Unit unit = Unit::kSectors;  ///< Also that of the other forms, unless the map itself names one.
  std::vector<std::string> good_words;
  std::vector<std::string> bad_words;
  bool given() const noexcept { return !columns.empty(); }
};

/// Reads one map: the text form, a bare list of bad sector numbers, JSON "lacuna/map/1", or a log described by
/// `columns`. `name` stands in messages. Any bad line is ErrorCode::kBadInput, "NAME:LINE: reason"; nothing is guessed
/// and nothing before the bad line is used. A description that makes no sense is kUsage.
///
/// Text: lines of FIRST COUNT STATE, decimal or 0x-hex, or of one bad sector's number each, never both. '#' starts a
/// comment. `#! default STATE` (once) says what unlisted sectors are, else good; `#! unit bytes` (or 512, or sectors),
/// before the first row, what FIRST and COUNT count; `#! basis assumed` that the map was inferred from an image, so
/// that giving it back does not make its `good` a fact (else map). Later lines win. JSON: {"schema":"lacuna/map/1",
/// "unit":"sectors", "default":"good", "basis":"map", "runs":[[FIRST,COUNT,"STATE"],
/// ...]}, where unit, default and basis may be left out, and keys of other names are passed over.
/// In all forms: in bytes or 512-byte units, overlaps are resolved in that unit; then a sector takes the worst state of
/// its bytes, so that bytes called good never hide bad ones beside them. A count of 0, a row beyond kMaxSectors and a
/// map that says nothing at all are errors. A byte order mark and CR LF are accepted; a NUL byte means no map.
LACUNA_API Result<SectorMap> parse_sector_map(std::string_view text, const std::string& name,
                                              const MapColumns& columns = {});
/// The same from a file; ErrorCode::kNotReadable when it can't be opened.
LACUNA_API Result<SectorMap> load_sector_map(const std::filesystem::path& file, const MapColumns& columns = {});

/// The states of [0, end), every run, in the text form and as JSON, and the map's basis; both are read back by
/// parse_sector_map to the same states, listed.
LACUNA_API std::string to_map_text(const SectorMap& map, std::uint64_t end);
LACUNA_API std::string to_map_json(const SectorMap& map, std::uint64_t end);

}  // namespace lacuna

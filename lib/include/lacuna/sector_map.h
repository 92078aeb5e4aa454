// SPDX-License-Identifier: GPL-3.0-or-later
// SectorMap: what is known of each sector of an image, and the text and JSON forms of it.
#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/result.h"
#include "lacuna/states.h"

namespace lacuna {

/// `count` sectors from LBA `first` in one state.
struct SectorRun {
  std::uint64_t first = 0;
  std::uint64_t count = 0;
  SectorState state = SectorState::kGood;

  constexpr std::uint64_t end() const noexcept { return first + count; }
  friend constexpr bool operator==(const SectorRun&, const SectorRun&) = default;
};

/// A function from LBA to state: sorted disjoint runs, and a default for what no run lists. Neighbouring runs of one
/// state are joined. Reading from several threads is safe while none writes.
class SectorMap {
 public:
  explicit SectorMap(SectorState default_state = SectorState::kGood) : default_(default_state) {}
  /// From runs in any order; where they overlap the later one in the list wins. O(n log n).
  static SectorMap from_runs(std::vector<SectorRun> runs, SectorState default_state = SectorState::kGood);

  SectorState default_state() const noexcept { return default_; }
  SectorState at(std::uint64_t lba) const noexcept;
  /// True when a run names the sector, false when its state is the default's.
  bool lists(std::uint64_t lba) const noexcept;
  /// The listed runs, the default's state among them where it was listed.
  std::span<const SectorRun> runs() const noexcept { return runs_; }
  /// [first, end) cut into runs of one state, the default's included.
  std::vector<SectorRun> slice(std::uint64_t first, std::uint64_t end) const;
  /// For each sector the worse of the two (their order is SectorState's); listed where either lists it.
  SectorMap worst_with(const SectorMap& other) const;

  friend bool operator==(const SectorMap&, const SectorMap&) = default;

 private:
  std::vector<SectorRun> runs_;
  SectorState default_;
};

/// Describes a delimited log of another program, column by column (--map-columns and its companions).
struct MapColumns {
  enum class Unit { kSectors, kBytes, k512 };
  std::vector<std::string> columns;  ///< Of "first", "end", "count", "state"; "-" is a column that is passed over.
  Unit unit = Unit::kSectors;
  std::vector<std::string> good_words;
  std::vector<std::string> bad_words;
  bool given() const noexcept { return !columns.empty(); }
};

/// Reads one map: the text form, a bare list of bad sector numbers, JSON "lacuna/map/1", or a log described by
/// `columns`. `name` stands in messages. Any bad line is ErrorCode::kBadInput with name, line and reason; nothing is
/// guessed and nothing before the bad line is used.
Result<SectorMap> parse_sector_map(std::string_view text, const std::string& name, const MapColumns& columns = {});
/// The same from a file; ErrorCode::kNotReadable when it can't be opened.
Result<SectorMap> load_sector_map(const std::filesystem::path& file, const MapColumns& columns = {});

/// The states of [0, end) in the text form (one line a run that is not good) and as JSON; both are read back by
/// parse_sector_map to the same states.
std::string to_map_text(const SectorMap& map, std::uint64_t end);
std::string to_map_json(const SectorMap& map, std::uint64_t end);

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// What the forms of a sector map have in common: lines, numbers, units, and messages that name the line.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/result.h"
#include "lacuna/sector_map.h"

namespace lacuna {

using MapUnit = MapColumns::Unit;

/// kBadInput, "NAME:LINE: REASON".
Error bad_line(const std::string& name, std::size_t line, std::string_view reason);

/// A piece of input for a message: clipped, in quotes, without control characters.
std::string quoted_input(std::string_view text);

/// Decimal or 0x-hex. The error's message is a reason for bad_line(); `what` names the field in it.
Result<std::uint64_t> parse_map_number(std::string_view field, std::string_view what);

/// Why the row can't be (its count is 0, or it goes beyond kMaxSectors); empty when it can.
std::string why_no_row(std::uint64_t first, std::uint64_t count, MapUnit unit);

/// Runs in `unit`, of which later ones win, as a map of sectors. Overlaps are resolved in the unit first; then a sector
/// takes the worst state of its bytes, those that no row lists counting as `default_state`. It is listed when all its
/// bytes are, or when its state is not the default's.
SectorMap map_from_rows(std::vector<SectorRun> rows, MapUnit unit, SectorState default_state);

/// Goes through text line by line; CR LF ends a line as LF does.
class MapLines {
 public:
  explicit MapLines(std::string_view text) : rest_(text) {}
  bool next();
  std::string_view line() const noexcept { return line_; }
  std::size_t number() const noexcept { return number_; }

 private:
  std::string_view rest_;
  std::string_view line_;
  std::size_t number_ = 0;
};

/// The basis that a map itself names: "edc", "map" or "assumed".
std::optional<Basis> map_basis_from(std::string_view word) noexcept;

/// Without blanks (space, tab) at both ends.
std::string_view trimmed(std::string_view s) noexcept;

// The forms. All get text without a byte order mark and without NUL bytes.
Result<SectorMap> parse_map_lines(std::string_view text, const std::string& name, MapUnit unit);
Result<SectorMap> parse_map_log(std::string_view text, const std::string& name, const MapColumns& columns);
Result<SectorMap> parse_map_json(std::string_view text, const std::string& name, MapUnit unit);

}  // namespace lacuna

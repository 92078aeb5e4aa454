// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/map_rows.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <system_error>
#include <utility>

namespace lacuna {
namespace {

std::uint64_t units_per_sector(MapUnit unit) noexcept {
  switch (unit) {
    case MapUnit::kBytes:
      return kSectorBytes;
    case MapUnit::k512:
      return kSectorBytes / 512;
    case MapUnit::kSectors:
      break;
  }
  return 1;
}

// Gathers what is said of the units of one sector that runs touch in part.
class SectorGatherer {
 public:
  SectorGatherer(std::uint64_t per_sector, SectorState default_state)
      : per_sector_(per_sector), default_(default_state) {}

  // Runs come in ascending order and don't overlap.
  void add(const SectorRun& run) {
    std::uint64_t at = run.first;
    while (at < run.end()) {
      const std::uint64_t lba = at / per_sector_;
      const std::uint64_t whole = run.end() / per_sector_;
      if (at % per_sector_ == 0 && whole > lba) {
        flush();
        out_.push_back({lba, whole - lba, run.state});
        at = whole * per_sector_;
        continue;
      }
      if (part_.lba != lba) flush();
      part_.lba = lba;
      const std::uint64_t end = std::min(run.end(), (lba + 1) * per_sector_);
      part_.units += end - at;
      part_.worst = std::max(part_.worst, run.state);
      at = end;
    }
  }

  std::vector<SectorRun> take() {
    flush();
    return std::move(out_);
  }

 private:
  struct Part {
    std::uint64_t lba = 0;
    std::uint64_t units = 0;  // 0: nothing is gathered
    SectorState worst = SectorState::kGood;
  };

  void flush() {
    if (part_.units == 0) return;
    const bool all_listed = part_.units == per_sector_;
    const SectorState state = all_listed ? part_.worst : std::max(part_.worst, default_);
    if (all_listed || state != default_) out_.push_back({part_.lba, 1, state});
    part_ = {};
  }

  std::uint64_t per_sector_;
  SectorState default_;
  Part part_;
  std::vector<SectorRun> out_;
};

/// Of runs without bytes, what lies in sectors that they don't fill.
RangeSet bad_in_part(const SectorMap& map, std::uint64_t unit_bytes) {
  std::vector<Range> bytes;
  for (const SectorRun& run : map.runs()) {
    if (has_bytes(run.state)) continue;
    const Range all{run.first * unit_bytes, run.end() * unit_bytes};
    const std::uint64_t first_whole = (all.first + kSectorBytes - 1) / kSectorBytes * kSectorBytes;
    const std::uint64_t end_whole = all.end / kSectorBytes * kSectorBytes;
    bytes.push_back({all.first, std::min(first_whole, all.end)});
    bytes.push_back({std::max(end_whole, all.first), all.end});
  }
  std::erase_if(bytes, [](const Range& r) { return r.first >= r.end; });
  return RangeSet::from_unsorted(std::move(bytes));
}

}  // namespace

Error bad_line(const std::string& name, std::size_t line, std::string_view reason) {
  return {ErrorCode::kBadInput, fmt::format("{}:{}: {}", name, line, reason)};
}

std::string quoted_input(std::string_view text) {
  constexpr std::size_t kClip = 40;
  std::string out = "'";
  for (const char c : text.substr(0, kClip)) out += c >= ' ' && c <= '~' ? c : '?';
  return out + (text.size() > kClip ? "…'" : "'");
}

Result<std::uint64_t> parse_map_number(std::string_view field, std::string_view what) {
  const auto reason = [&](std::string_view why) {
    return Error{ErrorCode::kBadInput, fmt::format("{} {} {}", what, quoted_input(field), why)};
  };
  if (field.starts_with('-')) return reason("is negative");
  const bool hex = field.starts_with("0x") || field.starts_with("0X");
  const std::string_view digits = hex ? field.substr(2) : field;
  std::uint64_t value = 0;
  const auto [stop, error] = std::from_chars(digits.data(), digits.data() + digits.size(), value, hex ? 16 : 10);
  if (error == std::errc::invalid_argument || stop != digits.data() + digits.size()) return reason("is not a number");
  if (error == std::errc::result_out_of_range) return reason("is larger than any disc");
  return value;
}

std::string why_no_row(std::uint64_t first, std::uint64_t count, MapUnit unit) {
  const std::uint64_t limit = kMaxSectors * units_per_sector(unit);
  if (count == 0) return "the count is 0, so that the line says nothing";
  if (first < limit && count <= limit - first) return {};
  return fmt::format("{} from {} on goes beyond the {} sectors of {} bytes that a disc can have", count, first,
                     kMaxSectors, kSectorBytes);
}

SectorMap map_from_rows(std::vector<SectorRun> rows, MapUnit unit, SectorState default_state) {
  SectorMap map = SectorMap::from_runs(std::move(rows), default_state);
  if (unit == MapUnit::kSectors) return map;
  SectorGatherer sectors(units_per_sector(unit), default_state);
  for (const SectorRun& run : map.runs()) sectors.add(run);
  SectorMap whole = SectorMap::from_runs(sectors.take(), default_state);
  whole.set_bad_bytes(bad_in_part(map, kSectorBytes / units_per_sector(unit)));
  return whole;
}

bool MapLines::next() {
  if (rest_.empty()) return false;
  const std::size_t end = rest_.find('\n');
  line_ = rest_.substr(0, end);
  rest_ = end == std::string_view::npos ? std::string_view() : rest_.substr(end + 1);
  if (line_.ends_with('\r')) line_.remove_suffix(1);
  ++number_;
  return true;
}

std::string_view trimmed(std::string_view s) noexcept {
  const std::size_t first = s.find_first_not_of(" \t");
  if (first == std::string_view::npos) return {};
  return s.substr(first, s.find_last_not_of(" \t") - first + 1);
}

std::optional<Basis> map_basis_from(std::string_view word) noexcept {
  for (const Basis basis : {Basis::kEdc, Basis::kMap, Basis::kAssumed}) {
    if (word == to_string(basis)) return basis;
  }
  return std::nullopt;
}

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/shift.h"

#include <string.h>

#include <algorithm>
#include <array>
#include <map>
#include <utility>
#include <vector>

#include "base/bytes.h"
#include "combine/sampling.h"
#include "lacuna/verdict.h"

namespace lacuna {
namespace {

constexpr std::size_t kProbes = 16;
constexpr std::size_t kPatternAt = 512, kPatternBytes = 128;

/// Byte address of `lba` under a shift; may be negative.
constexpr std::int64_t address_of(std::uint64_t lba, std::int64_t shift) noexcept {
  return static_cast<std::int64_t>(lba * kSectorBytes) + shift;
}
constexpr std::int64_t floor_sector(std::int64_t address) noexcept {
  return (address - (address < 0 ? std::int64_t{kSectorBytes} - 1 : 0)) / std::int64_t{kSectorBytes};
}

class ShiftedSource final : public SectorSource {
 public:
  ShiftedSource(const Image& other, std::int64_t shift) : other_(other), shift_(shift) {
    const auto first = static_cast<std::int64_t>(other.first_lba() * kSectorBytes) - shift;
    const auto end = static_cast<std::int64_t>(other.end_byte()) - shift;
    first_lba_ = first <= 0 ? 0 : static_cast<std::uint64_t>(floor_sector(first + kSectorBytes - 1));
    end_lba_ = end <= 0 ? 0 : static_cast<std::uint64_t>(floor_sector(end));
    end_lba_ = std::max(first_lba_, end_lba_);
  }

  std::uint64_t first_lba() const noexcept override { return first_lba_; }
  std::uint64_t end_lba() const noexcept override { return end_lba_; }
  const RangeSet& holes() const noexcept override {
    static const RangeSet none;
    return none;
  }

  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    const std::size_t count = std::min(states.size(), out.size() / kSectorBytes);
    const std::int64_t address = address_of(lba, shift_);
    const std::int64_t from = std::max<std::int64_t>(floor_sector(address), 0);
    const std::int64_t skip = address - from * std::int64_t{kSectorBytes};
    const std::size_t straddles = skip % std::int64_t{kSectorBytes} != 0 ? 1 : 0;
    std::vector<std::uint8_t> bytes((count + straddles) * kSectorBytes);
    std::vector<SectorState> read_states(count + straddles);
    other_.read(static_cast<std::uint64_t>(from), bytes, read_states);
    for (std::size_t i = 0; i < count; ++i) {
      const bool inside = lba + i >= first_lba_ && lba + i < end_lba_ && skip >= 0;
      SectorState state = inside ? read_states[i] : SectorState::kAbsent;
      if (inside && straddles != 0) state = std::max(state, read_states[i + 1]);
      const auto to = out.subspan(i * kSectorBytes, kSectorBytes);
      if (has_bytes(state)) {
        std::ranges::copy(Bytes(bytes).subspan(i * kSectorBytes + static_cast<std::size_t>(skip), kSectorBytes),
                          to.begin());
      } else {
        std::ranges::fill(to, std::uint8_t{0});
      }
      states[i] = state;
    }
  }

 private:
  const Image& other_;
  std::int64_t shift_;
  std::uint64_t first_lba_ = 0, end_lba_ = 0;
};

/// What was known of `other`'s sectors, in their new places.
SectorMap shifted_map(const Image& other, const SectorSource& source, std::int64_t shift) {
  const SectorMap states = other.data_states();
  std::vector<SectorRun> low, high;
  for (const SectorRun& run : states.runs()) {
    // Disc sectors of which some byte is in the run.
    const std::int64_t first = floor_sector(static_cast<std::int64_t>(run.first * kSectorBytes) - shift);
    const std::int64_t end =
        floor_sector(static_cast<std::int64_t>(run.end() * kSectorBytes) - shift + kSectorBytes - 1);
    const std::int64_t from = std::max<std::int64_t>(first, static_cast<std::int64_t>(source.first_lba()));
    const std::int64_t to = std::min<std::int64_t>(end, static_cast<std::int64_t>(source.end_lba()));
    if (from >= to) continue;
    const SectorRun moved{static_cast<std::uint64_t>(from), static_cast<std::uint64_t>(to - from), run.state};
    (low.empty() || low.back().end() <= moved.first ? low : high).push_back(moved);
  }
  // Runs that meet within a sector overlap by that sector: the worse state holds.
  SectorMap map = SectorMap::from_runs(std::move(low)).worst_with(SectorMap::from_runs(std::move(high)));
  map.set_basis(other.basis());
  return map;
}

}  // namespace

std::unique_ptr<Image> shifted(const Image& other, std::int64_t shift_bytes) {
  auto source = std::make_unique<ShiftedSource>(other, shift_bytes);
  SectorMap map = shifted_map(other, *source, shift_bytes);
  std::vector<SectorMap> maps;
  maps.push_back(std::move(map));
  return Image::from_source(std::move(source), std::move(maps), other.name());
}

std::optional<std::int64_t> find_shift(const Image& known, const Image& other) {
  std::map<std::int64_t, unsigned> votes;
  unsigned asked = 0, found = 0;
  std::array<std::uint8_t, kSectorBytes> sector;
  constexpr auto kReach = static_cast<std::uint64_t>(kFarthestShiftBytes) / kSectorBytes;
  std::vector<std::uint8_t> window((2 * kReach + 2) * kSectorBytes);
  std::vector<SectorState> window_states(window.size() / kSectorBytes);
  for (const std::uint64_t lba : spread_over(good_lbas(known.data_states()), kProbes * 16)) {
    if (asked == kProbes) break;
    SectorState state = SectorState::kAbsent;
    known.read(lba, sector, {&state, 1});
    if (state > SectorState::kRepaired || uniform_period(sector) != 0) continue;
    const Bytes pattern = Bytes(sector).subspan(kPatternAt, kPatternBytes);
    if (uniform_period(pattern) != 0) continue;
    ++asked;
    const std::uint64_t from = lba > kReach ? lba - kReach : 0;
    other.read(from, window, window_states);
    const std::uint8_t* const begin = window.data();
    const std::uint8_t* at = begin;
    // The whole sector has to stand there, not the pattern alone.
    for (const std::uint8_t* const end = begin + window.size();;) {
      at = static_cast<const std::uint8_t*>(
          ::memmem(at, static_cast<std::size_t>(end - at), pattern.data(), pattern.size()));
      if (at == nullptr) break;
      const auto offset = static_cast<std::size_t>(at - begin);
      if (offset >= kPatternAt && offset - kPatternAt + kSectorBytes <= window.size() &&
          std::ranges::equal(Bytes(window).subspan(offset - kPatternAt, kSectorBytes), Bytes(sector))) {
        ++votes[static_cast<std::int64_t>(from * kSectorBytes + offset - kPatternAt) -
                static_cast<std::int64_t>(lba * kSectorBytes)];
        ++found;
        break;
      }
      ++at;
    }
  }
  if (votes.empty()) return std::nullopt;
  const auto most =
      std::max_element(votes.begin(), votes.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
  constexpr unsigned kFewestVotes = 3;
  if (most->second < kFewestVotes || most->second * 2 <= found) return std::nullopt;
  return most->first;
}

}  // namespace lacuna

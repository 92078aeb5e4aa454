// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/layout_builder.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <tuple>
#include <utility>

#include "lacuna/states.h"
#include "media/cd/sector.h"
#include "media/sample_file.h"

namespace lacuna {
namespace {

constexpr std::uint64_t kSectorsTried = 16;  // for headers that agree

bool goes_on(const StoredRun& a, const StoredRun& b) {
  return a.first_lba + a.sectors == b.first_lba && a.store == b.store && a.unit == b.unit && a.audio == b.audio &&
         a.at_byte + a.sectors * a.unit.bytes == b.at_byte;
}

}  // namespace

std::uint16_t UnitLayout::held_bytes() const noexcept {
  switch (holds) {
    case Holds::kRaw:
      return kRawSectorBytes;
    case Holds::kMode2:
      return 2336;
    case Holds::kUser:
      return kSectorBytes;
    case Holds::kForm2:
      return 2324;
  }
  return 0;
}

std::size_t LayoutBuilder::add_store(std::unique_ptr<ByteStore> store) {
  layout_.stores.push_back(std::move(store));
  return layout_.stores.size() - 1;
}

void LayoutBuilder::add_run(const StoredRun& run) {
  if (run.sectors == 0) return;
  if (!layout_.runs.empty() && goes_on(layout_.runs.back(), run)) {
    layout_.runs.back().sectors += run.sectors;
  } else {
    layout_.runs.push_back(run);
  }
}

void LayoutBuilder::find(Severity severity, std::string_view kind, std::string subject,
                         std::optional<std::uint64_t> lba, std::string text) {
  findings_.add({severity, std::string(kind), std::move(subject), lba, {}, std::move(text)});
}

Result<TrackLayout> LayoutBuilder::finish(std::uint64_t end_lba) {
  if (layout_.tracks.empty()) return Error{ErrorCode::kNotReadable, fmt::format("'{}' names no track", name_)};
  std::vector<StoredRun>& runs = layout_.runs;
  std::stable_sort(runs.begin(), runs.end(),
                   [](const StoredRun& a, const StoredRun& b) { return a.first_lba < b.first_lba; });
  std::vector<StoredRun> apart;
  std::uint64_t reached = 0;
  for (StoredRun run : runs) {
    if (run.first_lba > kMaxSectors || run.sectors > kMaxSectors - run.first_lba) {
      return Error{ErrorCode::kNotReadable,
                   fmt::format("'{}' places sectors beyond the {} that a disc can have", name_, kMaxSectors)};
    }
    const std::uint64_t cut = reached > run.first_lba ? std::min(reached - run.first_lba, run.sectors) : 0;
    if (cut > 0) {
      find(Severity::kDoubt, "layout-overlap", name_, run.first_lba,
           fmt::format("places {} sectors where others are already; they were left out", cut));
      run.first_lba += cut;
      run.at_byte += cut * run.unit.bytes;
      run.sectors -= cut;
    }
    if (run.sectors == 0) continue;
    reached = run.first_lba + run.sectors;
    apart.push_back(run);
  }
  runs = std::move(apart);
  std::stable_sort(layout_.tracks.begin(), layout_.tracks.end(), [](const Track& a, const Track& b) {
    return std::tie(a.first_lba, a.number) < std::tie(b.first_lba, b.number);
  });
  layout_.end_lba = std::max(end_lba, reached);
  if (layout_.end_lba > kMaxSectors) {
    return Error{ErrorCode::kNotReadable,
                 fmt::format("'{}' speaks of more than the {} sectors that a disc can have", name_, kMaxSectors)};
  }
  return std::move(layout_);
}

std::optional<std::uint64_t> lba_by_headers(const ByteStore& store, std::uint64_t at_byte, std::uint64_t sectors,
                                            const UnitLayout& unit) {
  if (unit.holds != UnitLayout::Holds::kRaw || unit.scrambled) return std::nullopt;
  std::vector<std::uint64_t> firsts;
  for (std::uint64_t i = 0; i < std::min(sectors, kSectorsTried); ++i) {
    std::array<std::uint8_t, 16> head{};
    if (!read_exactly(store, at_byte + i * unit.bytes + unit.at, head) || !cd::has_sync(head)) continue;
    const std::optional<std::int32_t> lba = cd::header_lba(head[12], head[13], head[14]);
    if (!lba || *lba < static_cast<std::int32_t>(i)) continue;
    const std::uint64_t first = static_cast<std::uint64_t>(*lba) - i;
    if (std::find(firsts.begin(), firsts.end(), first) != firsts.end()) return first;
    firsts.push_back(first);
  }
  return std::nullopt;
}

}  // namespace lacuna

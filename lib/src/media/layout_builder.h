// SPDX-License-Identifier: GPL-3.0-or-later
// LayoutBuilder: what the readers of sheets and containers put a TrackLayout together with.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "media/track_layout.h"

namespace lacuna {

class LayoutBuilder {
 public:
  /// `name` is the subject of findings.
  LayoutBuilder(std::string name, Findings& findings) : name_(std::move(name)), findings_(findings) {}

  std::size_t add_store(std::unique_ptr<ByteStore> store);
  const ByteStore& store(std::size_t index) const { return *layout_.stores[index]; }

  /// Places sectors; a run that goes on where the last one ended, in its store too, becomes one with it. The run's
  /// bytes must lie in the store.
  void add_run(const StoredRun& run);
  Track& add_track(Track track) { return layout_.tracks.emplace_back(std::move(track)); }
  std::vector<Track>& tracks() noexcept { return layout_.tracks; }

  void find(Severity severity, std::string_view kind, std::string subject, std::optional<std::uint64_t> lba,
            std::string text);

  /// The layout up to `end_lba`. Of runs that overlap the first in the sheet stays, and the rest is cut off it
  /// (finding: layout-overlap). Errors: kNotReadable for what is beyond kMaxSectors, or holds no track.
  Result<TrackLayout> finish(std::uint64_t end_lba);

 private:
  std::string name_;
  Findings& findings_;
  TrackLayout layout_;
};

/// The LBA that the headers of raw data sectors give the first sector of a stretch (ECMA-130 14.1): two of its first
/// sectors must agree. Nothing for a layout without headers, and when none agree.
std::optional<std::uint64_t> lba_by_headers(const ByteStore& store, std::uint64_t at_byte, std::uint64_t sectors,
                                            const UnitLayout& unit);

}  // namespace lacuna

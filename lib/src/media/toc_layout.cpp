// SPDX-License-Identifier: GPL-3.0-or-later
// A TOC file states its tracks as stretches of files and of silence, one behind the other from LBA 0 on. Plain files of
// samples are big-endian unless SWAP says otherwise, WAVE files little-endian (both from memory).
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <optional>
#include <utility>

#include "lacuna/states.h"
#include "media/layout_builder.h"
#include "media/sample_file.h"
#include "media/toc_sheet.h"

namespace lacuna {
namespace {

class TocPlacer {
 public:
  TocPlacer(const TocSheet& sheet, const std::string& name, const SheetOpener& open, Findings& findings)
      : sheet_(sheet), open_(open), builder_(name, findings) {}

  Result<TrackLayout> place() {
    std::uint32_t number = 0;
    for (const TocTrack& track : sheet_.tracks) place_track(track, ++number);
    return builder_.finish(lba_);
  }

 private:
  struct Taken {
    std::optional<std::size_t> store;
    Samples samples;
  };

  void place_track(const TocTrack& track, std::uint32_t number) {
    const std::uint64_t unit = track.unit.bytes;
    std::uint64_t at = 0;  // in bytes of units from lba_
    Track t;
    for (const TocPart& part : track.parts) {
      if (t.file.empty()) t.file = shown_name(part);
      at += place_part(track, part, at);
    }
    const std::uint64_t sectors = (at + unit - 1) / unit;
    const std::uint64_t before = std::min(track.start_bytes.value_or(0) / unit, sectors);
    t.number = number;
    t.audio = track.audio;
    t.first_lba = lba_ + before;
    t.sectors = sectors - before;
    t.pregap_sectors = before;
    t.title = track.title;
    t.performer = track.performer;
    t.isrc = track.isrc;
    builder_.add_track(std::move(t));
    lba_ += sectors;
  }

  // Gives how many bytes of units the part takes.
  std::uint64_t place_part(const TocTrack& track, const TocPart& part, std::uint64_t at) {
    if (part.file.empty()) return *part.bytes;
    const Taken& taken = file_of(part, track.audio);
    const std::uint64_t all = taken.store ? taken.samples.bytes : 0;
    const std::uint64_t there = all - std::min(part.at_byte, all);
    if (!part.bytes && there == 0) exact_ = false;
    const std::uint64_t bytes = part.bytes.value_or(there);
    if (taken.store && (bytes > there || bytes == 0)) {
      find(Severity::kLoss, "layout-file-short", part,
           fmt::format("(line {}) ends {} bytes before what the sheet takes from it; they are absent", part.line,
                       bytes - there));
    }
    // Sectors that lie in the part whole.
    const std::uint64_t unit = track.unit.bytes;
    const std::uint64_t first = (at + unit - 1) / unit;
    const std::uint64_t end = (at + std::min(bytes, there)) / unit;
    if (taken.store && end > first && (exact_ || track.audio)) {
      UnitLayout layout = track.unit;
      layout.swapped = track.audio && (taken.samples.big_endian != part.swap);
      builder_.add_run({lba_ + first, end - first, *taken.store,
                        taken.samples.at_byte + part.at_byte + (first * unit - at), layout, track.audio});
    }
    if ((at + bytes) % unit != 0) {
      find(Severity::kLoss, "layout-file-odd", part,
           fmt::format("(line {}) does not end with a sector; the sector in which it does is absent", part.line));
    }
    if (!exact_ && taken.store) {
      find(track.audio ? Severity::kDoubt : Severity::kLoss, "layout-place", part,
           fmt::format("(line {}) begins at LBA {} or later, as how long a file before it was is not known{}",
                       part.line, lba_ + first, track.audio ? "" : "; without a certain place its data is absent"));
    }
    return bytes;
  }

  const Taken& file_of(const TocPart& part, bool audio) {
    const auto [at, is_new] = taken_.try_emplace(std::string(last_component(part.file)));
    Taken& taken = at->second;
    if (!is_new) return taken;
    SheetFile found = open_(part.file);
    if (!found.store) {
      find(Severity::kLoss, "layout-file-missing", part,
           fmt::format("(line {}) {}; its sectors are absent", part.line, found.why));
      return taken;
    }
    taken.samples = {0, found.store->size_bytes(), found.store->size_bytes(), true};
    if (audio && is_sample_file(*found.store)) {
      const Result<Samples> samples = find_samples(*found.store);
      if (!samples) {
        find(Severity::kLoss, "layout-file-kind", part,
             fmt::format("(line {}) {}; its sectors are absent", part.line, samples.error().message));
        return taken;
      }
      taken.samples = *samples;
    }
    taken.store = builder_.add_store(std::move(found.store));
    return taken;
  }

  std::string shown_name(const TocPart& part) const { return shown_text(last_component(part.file), sheet_.charset); }

  void find(Severity severity, std::string_view kind, const TocPart& part, std::string text) {
    builder_.find(severity, kind, shown_name(part), lba_, std::move(text));
  }

  const TocSheet& sheet_;
  const SheetOpener& open_;
  LayoutBuilder builder_;
  std::map<std::string, Taken> taken_;
  std::uint64_t lba_ = 0;
  bool exact_ = true;  // lba_ is known, not only the least that it can be
};

}  // namespace

Result<TrackLayout> place_toc_sheet(const TocSheet& sheet, const std::string& name, const SheetOpener& open,
                                    Findings& findings) {
  return TocPlacer(sheet, name, open, findings).place();
}

}  // namespace lacuna

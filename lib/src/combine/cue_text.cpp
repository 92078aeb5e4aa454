// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/cue_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>

namespace lacuna {
namespace {

/// Minutes, seconds and frames from the start of the file.
std::string position(std::uint64_t sectors) {
  const std::uint64_t seconds = sectors / kSectorsPerSecond;
  return fmt::format("{:02}:{:02}:{:02}", seconds / 60, seconds % 60, sectors % kSectorsPerSecond);
}

/// A sheet has no way to write a quotation mark or a line's end within a text.
std::string quoted(std::string text) {
  std::erase_if(text, [](char c) { return c == '"' || static_cast<unsigned char>(c) < 0x20; });
  return '"' + text + '"';
}

}  // namespace

std::string cue_text(const std::vector<Track>& tracks, const std::string& name, std::uint64_t first_lba,
                     const RangeSet& mode_2) {
  if (std::ranges::all_of(tracks, [](const Track& t) { return t.guessed; })) return {};
  std::string text = fmt::format("FILE {} BINARY\n", quoted(name));
  std::uint32_t session = 1;
  for (const Track& t : tracks) {
    if (t.first_lba < first_lba) continue;
    if (t.session != session) fmt::format_to(std::back_inserter(text), "REM SESSION {:02}\n", session = t.session);
    const char* mode = t.audio                                                     ? "AUDIO"
                       : mode_2.intersects({t.first_lba, t.first_lba + t.sectors}) ? "MODE2/2352"
                                                                                   : "MODE1/2352";
    fmt::format_to(std::back_inserter(text), "  TRACK {:02} {}\n", t.number, mode);
    if (!t.title.empty()) fmt::format_to(std::back_inserter(text), "    TITLE {}\n", quoted(t.title));
    if (!t.performer.empty()) fmt::format_to(std::back_inserter(text), "    PERFORMER {}\n", quoted(t.performer));
    if (!t.isrc.empty()) fmt::format_to(std::back_inserter(text), "    ISRC {}\n", t.isrc);
    const std::uint64_t start = t.first_lba - first_lba;
    if (t.pregap_sectors != 0 && t.pregap_sectors <= start && t.number != tracks.front().number) {
      fmt::format_to(std::back_inserter(text), "    INDEX 00 {}\n", position(start - t.pregap_sectors));
    }
    fmt::format_to(std::back_inserter(text), "    INDEX 01 {}\n", position(start));
  }
  return text;
}

}  // namespace lacuna

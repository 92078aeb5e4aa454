// SPDX-License-Identifier: GPL-3.0-or-later
// Layouts as text, and sectors with sync and header, for tests of what reads sheets and containers.
#pragma once

#include <fmt/format.h>

#include <string>
#include <utility>
#include <vector>

#include "media/track_layout.h"

namespace lacuna::test {

/// A layout and what was found on the way to it.
struct LaidOut {
  Result<TrackLayout> layout;
  Findings findings;

  std::string message() const { return layout.ok() ? "laid out" : layout.error().message; }
  /// "LBA+SECTORS @STORE:BYTE/UNIT", audio with a '~' behind, swapped with a '^'.
  std::vector<std::string> runs() const {
    std::vector<std::string> out;
    if (!layout.ok()) return {message()};
    for (const StoredRun& r : layout->runs) {
      out.push_back(fmt::format("{}+{} @{}:{}/{}{}{}", r.first_lba, r.sectors, r.store, r.at_byte, r.unit.bytes,
                                r.audio ? "~" : "", r.unit.swapped ? "^" : ""));
    }
    return out;
  }
  /// "NUMBER.SESSION: LBA+SECTORS -PREGAP FILE", audio with a '~' behind the number.
  std::vector<std::string> tracks() const {
    std::vector<std::string> out;
    if (!layout.ok()) return {message()};
    for (const Track& t : layout->tracks) {
      out.push_back(fmt::format("{}.{}{}: {}+{} -{} {}", t.number, t.session, t.audio ? "~" : "", t.first_lba,
                                t.sectors, t.pregap_sectors, t.file));
    }
    return out;
  }
  /// "KIND SUBJECT: TEXT".
  std::vector<std::string> found() const {
    std::vector<std::string> out;
    for (const Finding& f : findings.list()) out.push_back(fmt::format("{} {}: {}", f.kind, f.subject, f.text));
    return out;
  }
};

/// `count` sectors of 2352 bytes, all zero.
inline std::vector<std::uint8_t> zero_sectors(std::size_t count) {
  return std::vector<std::uint8_t>(count * kRawSectorBytes);
}

/// `count` sectors of 2352 bytes whose headers begin at `lba` (ECMA-130 14.1), mode 1, otherwise zero.
inline std::vector<std::uint8_t> addressed_sectors(std::uint64_t lba, std::size_t count) {
  std::vector<std::uint8_t> out(count * kRawSectorBytes);
  for (std::size_t i = 0; i < count; ++i) {
    std::uint8_t* const s = out.data() + i * kRawSectorBytes;
    for (int b = 1; b <= 10; ++b) s[b] = 0xFF;
    const std::uint64_t at = lba + i + 150;
    const auto bcd = [](std::uint64_t v) { return static_cast<std::uint8_t>(v / 10 * 16 + v % 10); };
    s[12] = bcd(at / (60 * 75));
    s[13] = bcd(at / 75 % 60);
    s[14] = bcd(at % 75);
    s[15] = 1;
  }
  return out;
}

}  // namespace lacuna::test

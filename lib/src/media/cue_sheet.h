// SPDX-License-Identifier: GPL-3.0-or-later
// CueSheet: what a cue sheet says, before any of its files is looked at.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/finding.h"
#include "lacuna/result.h"
#include "media/sheet_text.h"
#include "media/track_layout.h"

namespace lacuna {

struct CueFile {
  enum class Kind : std::uint8_t { kBinary, kMotorola, kWave, kAiff, kOther };
  std::string name;  ///< As the sheet has it, in its charset; never empty.
  Kind kind = Kind::kBinary;
  std::string kind_word;
  std::size_t line = 0;
};

struct CueIndex {
  std::uint32_t number = 1;   ///< 0 to 99.
  std::uint64_t sectors = 0;  ///< From the start of its file, in sectors of the tracks before it.
  std::size_t file = 0;       ///< Index into CueSheet::files.
};

struct CueTrack {
  std::uint32_t number = 1;   ///< 1 to 99.
  std::uint32_t session = 1;  ///< REM SESSION.
  bool audio = false;
  UnitLayout unit;
  std::size_t line = 0;
  std::uint64_t pregap_sectors = 0;   ///< PREGAP: in no file.
  std::uint64_t postgap_sectors = 0;  ///< POSTGAP: in no file.
  std::vector<CueIndex> indexes;      ///< Not empty; numbers ascend, one is 1; files and times in them don't descend.
  std::vector<std::string> flags;     ///< DCP, 4CH, PRE, SCMS, in capitals.
  std::string title, performer, songwriter, isrc;  ///< UTF-8.
};

struct CueSheet {
  std::vector<CueFile> files;
  std::vector<CueTrack> tracks;  ///< Not empty; numbers ascend, sessions don't descend.
  SheetCharset charset = SheetCharset::kUtf8;
  std::string title, performer, songwriter, catalog, cdtext_file;  ///< UTF-8.
};

/// Reads text that check_sheet() has let through. Findings: words that such sheets don't have (layout-word), files
/// without a track (layout-file-unused). Errors: kBadInput with `name` and line.
Result<CueSheet> parse_cue_sheet(std::string_view text, const std::string& name, Findings& findings);

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// TocSheet: what a TOC file says (a text that begins with CD_DA, CD_ROM, CD_ROM_XA or CD_I), before any of its files is
// looked at. The language is from memory; what libcdio 2.1 makes of such files is compared in the tests.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/finding.h"
#include "lacuna/result.h"
#include "media/sheet_folder.h"
#include "media/sheet_text.h"
#include "media/track_layout.h"

namespace lacuna {

/// Bytes of a file, or bytes that are in none.
struct TocPart {
  std::string file;                    ///< As the sheet has it; empty: SILENCE, ZERO, PREGAP.
  std::uint64_t at_byte = 0;           ///< Of the file, or of its samples.
  std::optional<std::uint64_t> bytes;  ///< None: up to the end of the file. In no file: always there.
  bool swap = false;                   ///< SWAP: bytes of samples in the other order than usual.
  std::size_t line = 0;
};

struct TocTrack {
  bool audio = false;
  UnitLayout unit;
  std::vector<TocPart> parts;
  std::optional<std::uint64_t> start_bytes;  ///< START, PREGAP: index 1, from where the parts begin.
  std::string title, performer, isrc;        ///< UTF-8.
};

struct TocSheet {
  std::vector<TocTrack> tracks;  ///< Not empty, at most 99.
  SheetCharset charset = SheetCharset::kUtf8;
};

/// True for text that begins as a TOC file does, after comments and CATALOG.
bool looks_like_toc(std::string_view text);

/// Reads text that check_sheet() has let through. Errors: kBadInput with `name` and line.
Result<TocSheet> parse_toc_sheet(std::string_view text, const std::string& name);

/// Errors: kNotReadable for what no disc can hold.
Result<TrackLayout> place_toc_sheet(const TocSheet& sheet, const std::string& name, const SheetOpener& open,
                                    Findings& findings);

}  // namespace lacuna

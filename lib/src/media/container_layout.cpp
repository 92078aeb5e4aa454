// SPDX-License-Identifier: GPL-3.0-or-later
// Which description a file is, and the ways to the readers. libcdio reads these containers too, but ends the program on
// damaged ones (its assertions abort, and it writes past its table of 99 tracks), and opens what a TOC file names in
// any folder: see docs/formats/tracks.md.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <utility>

#include "base/bytes.h"
#include "base/utf8.h"
#include "media/file_store.h"
#include "media/map_rows.h"
#include "media/nrg.h"
#include "media/sample_file.h"
#include "media/sheet_folder.h"
#include "media/sheet_text.h"
#include "media/toc_sheet.h"
#include "media/track_layout.h"

namespace lacuna {
namespace {

std::string extension_of(const std::filesystem::path& path) { return lower_ascii(path.extension().string()); }

// The first bytes, when they are text.
std::string text_head(const ByteStore& store) {
  std::array<std::uint8_t, 4096> head{};
  const std::size_t bytes = static_cast<std::size_t>(std::min<std::uint64_t>(head.size(), store.size_bytes()));
  if (!read_exactly(store, 0, std::span(head).first(bytes))) return {};
  std::string text(as_text(Bytes(head).first(bytes)));
  if (text.find('\0') != std::string::npos) return {};
  return text.starts_with("\xEF\xBB\xBF") ? text.substr(3) : text;
}

// Its first word that is no remark is one of a cue sheet's.
bool looks_like_cue(std::string_view text) {
  MapLines lines(text);
  while (lines.next()) {
    const std::string_view line = trimmed(lines.line());
    const std::string_view word = line.substr(0, line.find_first_of(" \t"));
    if (word.empty() || same_word(word, "REM")) continue;
    for (const std::string_view own : {"CATALOG", "CDTEXTFILE", "FILE", "TITLE", "PERFORMER", "SONGWRITER", "TRACK"}) {
      if (same_word(word, own)) return true;
    }
    return false;
  }
  return false;
}

}  // namespace

LayoutKind layout_kind(const std::filesystem::path& path) {
  const std::string extension = extension_of(path);
  if (extension != ".cue" && extension != ".toc" && extension != ".nrg") return LayoutKind::kNone;
  const Result<std::unique_ptr<ByteStore>> store = FileStore::open(path);
  if (!store) return LayoutKind::kNone;
  if (extension == ".nrg") return nrg_chunks_at(**store) ? LayoutKind::kContainer : LayoutKind::kNone;
  const std::string head = text_head(**store);
  if (extension == ".toc") return looks_like_toc(head) ? LayoutKind::kContainer : LayoutKind::kNone;
  return looks_like_cue(head) ? LayoutKind::kCueSheet : LayoutKind::kNone;
}

Result<TrackLayout> read_container(const std::filesystem::path& path, Findings& findings) {
  Result<std::unique_ptr<ByteStore>> store = FileStore::open(path);
  if (!store) return store.error();
  const std::string name = path.string();
  if (nrg_chunks_at(**store)) return place_nrg(std::move(store).value(), name, findings);
  if (!looks_like_toc(text_head(**store))) {
    return Error{ErrorCode::kNotReadable, fmt::format("'{}' is neither a TOC file nor an NRG container", name)};
  }
  Result<std::string> text = load_sheet(path);
  if (!text) return text.error();
  const Result<TocSheet> sheet = parse_toc_sheet(*text, name);
  if (!sheet) return sheet.error();
  SheetFolder folder(path, sheet->charset);
  return place_toc_sheet(
      *sheet, name, [&](std::string_view file) { return folder.open(file); }, findings);
}

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/sheet_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <utility>

#include "base/bytes.h"
#include "base/text.h"
#include "base/utf8.h"
#include "lacuna/states.h"
#include "lacuna/tracks.h"
#include "media/file_store.h"
#include "media/map_rows.h"

namespace lacuna {
namespace {

// 99 tracks with a hundred indexes each and all their texts fit many times.
constexpr std::size_t kMaxSheetBytes = std::size_t{1} << 20;

}  // namespace

Result<std::string> check_sheet(std::string bytes, const std::string& name) {
  if (bytes.size() > kMaxSheetBytes) {
    return Error{ErrorCode::kBadInput,
                 fmt::format("{}:1: is larger than {} MiB, as no sheet of tracks is", name, kMaxSheetBytes >> 20)};
  }
  if (bytes.starts_with("\xFF\xFE") || bytes.starts_with("\xFE\xFF")) {
    return bad_line(name, 1, "is UTF-16 text; save it as UTF-8");
  }
  if (bytes.starts_with("\xEF\xBB\xBF")) bytes.erase(0, 3);
  if (const std::size_t nul = bytes.find('\0'); nul != std::string::npos) {
    const auto line = std::count(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(nul), '\n') + 1;
    return bad_line(name, static_cast<std::size_t>(line), "holds NUL bytes, as no text does");
  }
  return bytes;
}

Result<std::string> load_sheet(const std::filesystem::path& path) {
  Result<std::string> bytes = read_whole_file(path, kMaxSheetBytes + 1);
  if (!bytes) return bytes.error();
  return check_sheet(std::move(bytes).value(), path.string());
}

SheetCharset charset_of(std::string_view sheet) noexcept {
  for (std::size_t at = 0; at < sheet.size();) {
    const CodePoint c = code_point_at(sheet, at);
    if (!c.well_formed()) return SheetCharset::kLatin1;
    at += c.length;
  }
  return SheetCharset::kUtf8;
}

std::string to_utf8(std::string_view raw, SheetCharset charset) {
  if (charset == SheetCharset::kUtf8) return std::string(raw);
  std::string out;
  for (const char c : raw) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte >= 0x80 && byte < 0xA0) {
      out += fmt::format("%{:02X}", byte);
    } else {
      append_utf8(out, byte);
    }
  }
  return out;
}

std::string shown_text(std::string_view raw, SheetCharset charset) {
  return field_text(as_bytes(to_utf8(raw, charset)));
}

std::string_view last_component(std::string_view name) noexcept {
  const std::size_t slash = name.find_last_of("/\\");
  if (slash != std::string_view::npos) name.remove_prefix(slash + 1);
  return name == "." || name == ".." ? std::string_view() : name;
}

std::optional<std::uint64_t> parse_decimal(std::string_view text, std::uint64_t most) noexcept {
  std::uint64_t value = 0;
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (text.empty() || error != std::errc() || stop != text.data() + text.size() || value > most) return std::nullopt;
  return value;
}

std::optional<std::uint64_t> parse_msf(std::string_view text) noexcept {
  const std::size_t first = text.find(':');
  const std::size_t second = first == std::string_view::npos ? first : text.find(':', first + 1);
  if (second == std::string_view::npos) return std::nullopt;
  const auto minutes = parse_decimal(text.substr(0, first), kMaxSectors / (60 * kSectorsPerSecond));
  const auto seconds = parse_decimal(text.substr(first + 1, second - first - 1), 59);
  const auto frames = parse_decimal(text.substr(second + 1), kSectorsPerSecond - 1);
  if (!minutes || !seconds || !frames) return std::nullopt;
  const std::uint64_t sectors = (*minutes * 60 + *seconds) * kSectorsPerSecond + *frames;
  return sectors <= kMaxSectors ? std::optional(sectors) : std::nullopt;
}

bool same_word(std::string_view a, std::string_view b) { return lower_ascii(a) == lower_ascii(b); }

}  // namespace lacuna

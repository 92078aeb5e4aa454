// SPDX-License-Identifier: GPL-3.0-or-later
// What sheets that describe tracks (cue, TOC) have in common: their encoding, times, and names of files.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "lacuna/result.h"

namespace lacuna {

/// The whole sheet without its byte order mark. Errors: kNotReadable; kBadInput for what is no text of 8-bit units or
/// larger than 1 MiB.
Result<std::string> load_sheet(const std::filesystem::path& path);
/// The same of bytes that were read; `name` is for messages.
Result<std::string> check_sheet(std::string bytes, const std::string& name);

/// A sheet is UTF-8 when all of it is, else ISO 8859-1.
enum class SheetCharset : std::uint8_t { kUtf8, kLatin1 };
SheetCharset charset_of(std::string_view sheet) noexcept;
/// UTF-8. Bytes of ISO 8859-1 without a character (80 to 9F) stand as %HH.
std::string to_utf8(std::string_view raw, SheetCharset charset);
/// The same for display, control characters as %HH.
std::string shown_text(std::string_view raw, SheetCharset charset);

/// Behind the last '/' or '\': files are looked up by it alone. Empty for what names no file ("", ".", "..").
std::string_view last_component(std::string_view name) noexcept;

/// "mm:ss:ff" in sectors; minutes may have any number of digits. Nothing when it is no time, or one beyond kMaxSectors.
std::optional<std::uint64_t> parse_msf(std::string_view text) noexcept;

/// Decimal digits alone, up to `most`.
std::optional<std::uint64_t> parse_decimal(std::string_view text, std::uint64_t most) noexcept;

/// True for the same word in any case of ASCII letters.
bool same_word(std::string_view a, std::string_view b);

}  // namespace lacuna

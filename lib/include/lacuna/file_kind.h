// SPDX-License-Identifier: GPL-3.0-or-later
// FileKind: what a file is to a person, by its name.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

#include "lacuna/export.h"

namespace lacuna {

enum class FileKind : std::uint8_t { kPhotos, kVideo, kAudio, kDocuments, kOther };
inline constexpr int kFileKindCount = 5;
/// "photos", "video", "audio", "documents", "other".
LACUNA_API std::string_view to_string(FileKind) noexcept;
LACUNA_API std::optional<FileKind> file_kind_from(std::string_view word) noexcept;

/// By the extension of the name (or path), whatever its letter case; a version number behind it does not count. The
/// lists are common practice, no source.
LACUNA_API FileKind file_kind(std::string_view name);

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// The words that Lacuna uses for sectors, files and facts. They are the same in code, JSON, text and docs.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

#include "lacuna/export.h"

namespace lacuna {

/// Bytes of user data in a logical sector; every LBA of this library counts these (ECMA-119 6.1.2).
inline constexpr std::uint32_t kSectorBytes = 2048;
/// One past the highest LBA that the library handles.
inline constexpr std::uint64_t kMaxSectors = std::uint64_t{1} << 32;

/// What is known of one sector. Ordered from best to worst, so that the worse of two is the greater.
enum class SectorState : std::uint8_t {
  kGood,      ///< Read without error.
  kRepaired,  ///< Failed its EDC, corrected by the parity and then agreed.
  kSuspect,   ///< Present, but something speaks against it.
  kBad,       ///< A drive or the EDC says it can't be read.
  kUnread,    ///< Never tried, or a hole in a sparse image file.
  kAbsent,    ///< Outside the image: cut short, or starting late.
};
inline constexpr int kSectorStateCount = 6;

/// True when the sector's bytes can be had (good, repaired or suspect).
constexpr bool has_bytes(SectorState s) noexcept { return s <= SectorState::kSuspect; }

/// What is known of one file. `whole` is a promise: every byte is in its place and was read.
enum class FileState : std::uint8_t {
  kWhole,
  kDoubtful,   ///< Every byte is there, but one is suspect or its place rests on facts that disagree.
  kDamaged,    ///< Some bytes are missing.
  kLost,       ///< No byte is there.
  kUnlocated,  ///< The name is known, where its data lies is not.
};
inline constexpr int kFileStateCount = 5;

/// One name space over a volume.
enum class View : std::uint8_t { kRockRidge, kUdf, kJoliet, kEnhanced, kIso9660 };
inline constexpr int kViewCount = 5;

/// Where a fact came from.
enum class Evidence : std::uint8_t { kTree, kView, kPathTable, kSession, kScan, kTwin };
inline constexpr int kEvidenceCount = 6;

/// What a `good` rests on. Ordered from strongest to weakest; a file's basis is its sectors' weakest.
enum class Basis : std::uint8_t { kEdc, kMap, kAssumed };

LACUNA_API std::string_view to_string(SectorState) noexcept;
LACUNA_API std::string_view to_string(FileState) noexcept;
LACUNA_API std::string_view to_string(View) noexcept;
LACUNA_API std::string_view to_string(Evidence) noexcept;
LACUNA_API std::string_view to_string(Basis) noexcept;

LACUNA_API std::optional<SectorState> sector_state_from(std::string_view word) noexcept;
LACUNA_API std::optional<FileState> file_state_from(std::string_view word) noexcept;
LACUNA_API std::optional<View> view_from(std::string_view word) noexcept;

}  // namespace lacuna

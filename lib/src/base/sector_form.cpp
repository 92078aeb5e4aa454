// SPDX-License-Identifier: GPL-3.0-or-later
#include <array>

#include "lacuna/tracks.h"

namespace lacuna {
namespace {

constexpr std::array<std::string_view, kSectorFormCount> kSectorFormWords{
    "unknown", "audio", "mode 0", "mode 1", "mode 2", "mode 2 form 1", "mode 2 form 2"};

}  // namespace

std::string_view to_string(SectorForm form) noexcept { return kSectorFormWords[static_cast<std::size_t>(form)]; }

}  // namespace lacuna

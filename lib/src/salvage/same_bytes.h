// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once

#include <fcntl.h>

#include <algorithm>
#include <cstdint>
#include <span>
#include <string_view>

#include "salvage/output_folder.h"

namespace lacuna {

/// Whether the file of this name has the bytes of `made`, an open file. False too when it can't be read. `room` is for
/// the bytes of both and must not be empty.
inline bool has_same_bytes(const Directory& dir, std::string_view name, int made, std::span<std::uint8_t> room) {
  Fd there;
  if (open_at(dir->get(), name, O_RDONLY | O_NONBLOCK, there) != 0) return false;
  const std::span<std::uint8_t> a = room.first(room.size() / 2), b = room.subspan(a.size()).first(a.size());
  for (std::uint64_t at = 0;; at += a.size()) {
    std::size_t got_a = 0, got_b = 0;
    if (read_fully_at(there.get(), at, a, got_a) != 0 || read_fully_at(made, at, b, got_b) != 0) return false;
    if (got_a != got_b || !std::equal(a.begin(), a.begin() + static_cast<std::ptrdiff_t>(got_a), b.begin())) {
      return false;
    }
    if (got_a < a.size()) return true;
  }
}

}  // namespace lacuna

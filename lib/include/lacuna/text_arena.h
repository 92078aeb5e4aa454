// SPDX-License-Identifier: GPL-3.0-or-later
// TextArena: many short texts, one after the other, in blocks that never move.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string_view>
#include <vector>

#include "lacuna/export.h"

namespace lacuna {

/// Text in an arena.
struct LACUNA_API TextRef {
  std::uint32_t offset = 0;
  std::uint32_t length = 0;
};

/// Up to 4 GiB. Reading from several threads is safe while none writes.
class LACUNA_API TextArena {
 public:
  TextArena() = default;
  TextArena(TextArena&& other) noexcept;
  TextArena& operator=(TextArena&& other) noexcept;
  ~TextArena();

  /// Gives an empty text when the arena is full or the text longer than a block.
  TextRef add(std::string_view s);
  std::string_view get(TextRef r) const noexcept {
    if (r.length == 0) return {};
    return {blocks_[r.offset / kBlockBytes] + r.offset % kBlockBytes, r.length};
  }

 private:
  static constexpr std::size_t kBlockBytes = std::size_t{2} << 20;
  std::vector<char*> blocks_;
  std::size_t used_ = kBlockBytes;  // of the last block
};

}  // namespace lacuna

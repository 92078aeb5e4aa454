// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/text_arena.h"

#include <cstring>
#include <utility>

#include "lacuna/blocks.h"

namespace lacuna {

TextArena::TextArena(TextArena&& other) noexcept
    : blocks_(std::move(other.blocks_)), used_(std::exchange(other.used_, kBlockBytes)) {
  other.blocks_.clear();
}

TextArena& TextArena::operator=(TextArena&& other) noexcept {
  std::swap(blocks_, other.blocks_);
  std::swap(used_, other.used_);
  return *this;
}

TextArena::~TextArena() {
  for (char* block : blocks_) detail::free_block(block, kBlockBytes);
}

TextRef TextArena::add(std::string_view s) {
  constexpr std::size_t kMostBlocks = (std::size_t{1} << 32) / kBlockBytes;
  if (s.empty() || s.size() > kBlockBytes) return {};
  if (s.size() > kBlockBytes - used_) {
    if (blocks_.size() == kMostBlocks) return {};
    blocks_.reserve(blocks_.size() + 1);
    blocks_.push_back(static_cast<char*>(detail::allocate_block(kBlockBytes)));
    used_ = 0;
  }
  std::memcpy(blocks_.back() + used_, s.data(), s.size());
  const TextRef ref{static_cast<std::uint32_t>((blocks_.size() - 1) * kBlockBytes + used_),
                    static_cast<std::uint32_t>(s.size())};
  used_ += s.size();
  return ref;
}

}  // namespace lacuna

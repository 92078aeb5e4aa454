// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/blocks.h"

#include <sys/mman.h>

namespace lacuna::detail {
namespace {

// The size of a large page on the machines at hand; where it is another, the advice does nothing.
constexpr std::size_t kLargePageBytes = std::size_t{2} << 20;
constexpr std::align_val_t kLargeAlignment{kLargePageBytes};

// Blocks of which a large page would not be mostly waste.
constexpr bool is_large(std::size_t bytes) { return bytes >= kLargePageBytes / 8; }

}  // namespace

void* allocate_block(std::size_t bytes) {
  if (!is_large(bytes)) return ::operator new(bytes);
  bytes = (bytes + kLargePageBytes - 1) / kLargePageBytes * kLargePageBytes;
  void* const block = ::operator new(bytes, kLargeAlignment);
  // Advice only: a first touch then brings in 2 MiB at once.
  static_cast<void>(::madvise(block, bytes, MADV_HUGEPAGE));
  return block;
}

void free_block(void* block, std::size_t bytes) noexcept {
  if (is_large(bytes)) {
    ::operator delete(block, kLargeAlignment);
  } else {
    ::operator delete(block);
  }
}

}  // namespace lacuna::detail

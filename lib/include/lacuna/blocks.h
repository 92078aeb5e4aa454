// SPDX-License-Identifier: GPL-3.0-or-later
// Memory for large flat arrays. Where a page fault costs more than the work on the page, a million records would spend
// most of their time on being touched first: large blocks ask the system for large pages.
#pragma once

#include <cstddef>
#include <limits>
#include <new>
#include <vector>

#include "lacuna/export.h"

namespace lacuna {

namespace detail {
/// Memory that is not touched yet. Throws std::bad_alloc.
LACUNA_API void* allocate_block(std::size_t bytes);
LACUNA_API void free_block(void* block, std::size_t bytes) noexcept;
}  // namespace detail

/// An allocator for large flat arrays.
template <class T>
struct BlockAllocator {
  using value_type = T;

  BlockAllocator() = default;
  template <class U>
  constexpr BlockAllocator(const BlockAllocator<U>&) noexcept {}

  T* allocate(std::size_t n) {
    if (n > std::numeric_limits<std::size_t>::max() / 2 / sizeof(T)) throw std::bad_array_new_length();
    return static_cast<T*>(detail::allocate_block(n * sizeof(T)));
  }
  void deallocate(T* p, std::size_t n) noexcept { detail::free_block(p, n * sizeof(T)); }

  friend bool operator==(const BlockAllocator&, const BlockAllocator&) noexcept { return true; }
};

/// A std::vector for what may have millions of elements.
template <class T>
using LargeVector = std::vector<T, BlockAllocator<T>>;

}  // namespace lacuna

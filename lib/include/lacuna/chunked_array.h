// SPDX-License-Identifier: GPL-3.0-or-later
// ChunkedArray: an array that grows without moving what it holds. A disc's tree is built from hundreds of thousands of
// small records; moving them at every doubling, into fresh memory each time, would cost more than decoding them.
#pragma once

#include <array>
#include <bit>
#include <cstddef>
#include <memory>
#include <type_traits>
#include <utility>

#include "lacuna/blocks.h"

namespace lacuna {

/// Chunk k holds kFirst * 4^k elements. Reading from several threads is safe while none writes.
template <class T>
class ChunkedArray {
  static_assert(std::is_trivially_copyable_v<T> && std::is_trivially_destructible_v<T>);

 public:
  ChunkedArray() = default;
  ChunkedArray(ChunkedArray&& other) noexcept
      : chunks_(std::exchange(other.chunks_, {})), size_(std::exchange(other.size_, 0)) {}
  ChunkedArray& operator=(ChunkedArray&& other) noexcept {
    std::swap(chunks_, other.chunks_);
    std::swap(size_, other.size_);
    return *this;
  }
  ~ChunkedArray() {
    for (std::size_t k = 0; k < chunks_.size() && chunks_[k] != nullptr; ++k) {
      detail::free_block(chunks_[k], bytes_of(k));
    }
  }

  std::size_t size() const noexcept { return size_; }
  T& operator[](std::size_t i) noexcept { return *at(i); }
  const T& operator[](std::size_t i) const noexcept { return *at(i); }
  T& back() noexcept { return *at(size_ - 1); }

  void push_back(const T& value) {
    const std::size_t k = chunk_of(size_);
    if (chunks_[k] == nullptr) {
      const T copy = value;  // `value` may be an element
      chunks_[k] = static_cast<T*>(detail::allocate_block(bytes_of(k)));
      std::construct_at(at(size_++), copy);
      return;
    }
    std::construct_at(at(size_), value);
    ++size_;
  }

 private:
  static constexpr std::size_t kFirst = 1024;
  static constexpr std::size_t kMostChunks = 16;  // more elements than any index has values

  // The chunks before k hold kFirst * (4^k - 1) / 3.
  static std::size_t chunk_of(std::size_t i) noexcept {
    return (static_cast<std::size_t>(std::bit_width(3 * (i / kFirst) + 1)) - 1) / 2;
  }
  static std::size_t bytes_of(std::size_t k) noexcept { return (kFirst << (2 * k)) * sizeof(T); }
  T* at(std::size_t i) const noexcept {
    const std::size_t k = chunk_of(i);
    return chunks_[k] + (i - ((std::size_t{1} << (2 * k)) - 1) / 3 * kFirst);
  }

  std::array<T*, kMostChunks> chunks_{};
  std::size_t size_ = 0;
};

}  // namespace lacuna

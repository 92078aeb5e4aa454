// SPDX-License-Identifier: GPL-3.0-or-later
// Turns: pieces of work that end one after the other, though several threads do them.
#pragma once

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <mutex>
#include <vector>

namespace lacuna {

/// A piece waits for one that started before it, so that the first that has not ended waits for nothing.
class Turns {
 public:
  static constexpr std::size_t kNone = ~std::size_t{0};

  /// Before any thread starts.
  void resize(std::size_t pieces) { done_.assign(pieces, false); }

  /// Waits until a piece has ended. False when the work is stopped instead.
  bool wait(std::size_t piece, const std::atomic<bool>& stop) {
    constexpr std::chrono::milliseconds kLookInterval(20);  // whoever stops the work does not know who waits
    if (piece == kNone) return !stop;
    std::unique_lock lock(mutex_);
    while (!done_[piece]) {
      if (stop) return false;
      ended_.wait_for(lock, kLookInterval);
    }
    return !stop;
  }

  void done(std::size_t piece) {
    const std::lock_guard lock(mutex_);
    done_[piece] = true;
    ended_.notify_all();
  }

 private:
  std::mutex mutex_;
  std::condition_variable ended_;
  std::vector<bool> done_;
};

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// One line on standard error that says where long work is, and Ctrl-C.
#pragma once

#include <chrono>
#include <string>

#include "lacuna/progress.h"

namespace lacuna::tool {

/// From now on Ctrl-C (and SIGTERM) asks the work to stop; a second one ends the process at once.
void catch_interrupts();
bool interrupted() noexcept;

/// The line: task, percent, rate, time left; at most ten times a second, erased at the end. For one thread at a time.
class ProgressLine {
 public:
  explicit ProgressLine(bool visible) : visible_(visible) {}
  ~ProgressLine() { erase(); }
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;

  /// For the library's options. The line must outlive it.
  ProgressCallback callback();
  void erase();

 private:
  using Clock = std::chrono::steady_clock;
  void show(const Progress& p);

  bool visible_;
  std::string task_;
  std::uint64_t first_done_ = 0;
  Clock::time_point started_{}, shown_at_{};
  std::size_t width_ = 0;
};

/// What the line says: "checking contents   45 %   123 MB/s   1:23 left".
std::string progress_text(const Progress& p, std::uint64_t bytes_since_start, double seconds);

}  // namespace lacuna::tool

// SPDX-License-Identifier: GPL-3.0-or-later
// Out: output gathered into pieces of 64 KiB for a sink. Text reports append to it; RapidJSON writes into it as a
// stream.
#pragma once

#include <fmt/format.h>

#include <iterator>
#include <string>
#include <string_view>

#include "lacuna/report.h"

namespace lacuna::report {

/// The sink must outlive it. Nothing is flushed on destruction, because the sink may throw: call finish().
class Out {
 public:
  explicit Out(const Sink& sink) : sink_(sink) { buffer_.reserve(kPieceBytes + kPieceBytes / 4); }
  Out(const Out&) = delete;
  Out& operator=(const Out&) = delete;

  void add(std::string_view s) {
    buffer_.append(s);
    hand_on();
  }
  void add(char c) {
    buffer_.push_back(c);
    hand_on();
  }
  void pad(std::size_t spaces) { buffer_.append(spaces, ' '); }
  template <class... Args>
  void print(fmt::format_string<Args...> format, Args&&... args) {
    fmt::format_to(std::back_inserter(buffer_), format, std::forward<Args>(args)...);
    hand_on();
  }
  void finish() {
    if (!buffer_.empty()) sink_(buffer_);
    buffer_.clear();
  }

  /// Gives the sink what has gathered, once it is a piece.
  void hand_on() {
    if (buffer_.size() >= kPieceBytes) finish();
  }

  // RapidJSON's concept of an output stream. It puts character by character, so Put() asks nothing; Json hands on.
  using Ch = char;
  void Put(char c) { buffer_.push_back(c); }
  void Flush() {}

 private:
  static constexpr std::size_t kPieceBytes = 64 * 1024;

  const Sink& sink_;
  std::string buffer_;
};

}  // namespace lacuna::report

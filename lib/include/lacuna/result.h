// SPDX-License-Identifier: GPL-3.0-or-later
// Result<T>: the outcome of a call that either gives a value or says why it can't.
// Damage that a call survives is not an Error: it is a Finding (finding.h).
#pragma once

#include <string>
#include <utility>
#include <variant>

#include "lacuna/export.h"

namespace lacuna {

/// What the caller can do about a failure; the message says what happened.
enum class ErrorCode {
  kUsage,         ///< The request itself is wrong; change it.
  kNotReadable,   ///< An input can't be opened or is of a kind that is not taken.
  kNoFileSystem,  ///< The input was read, but nothing in it is a file system.
  kBadInput,      ///< A text input (a sector map, a manifest) has a bad line; the message names file and line.
  kCannotWrite,   ///< The target can't be written: full, read-only, or something is already there.
  kCancelled,     ///< The caller's progress callback asked to stop.
};

/// Why a call could not do its work.
struct LACUNA_API Error {
  ErrorCode code;
  std::string message;  ///< One line, no trailing full stop; names the file and, where there is one, the LBA.
};

/// A value or an Error. Thread rule: like a std::variant.
template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value) : state_(std::in_place_index<0>, std::move(value)) {}
  Result(Error error) : state_(std::in_place_index<1>, std::move(error)) {}

  bool ok() const noexcept { return state_.index() == 0; }
  explicit operator bool() const noexcept { return ok(); }

  T& value() & { return std::get<0>(state_); }
  const T& value() const& { return std::get<0>(state_); }
  T&& value() && { return std::get<0>(std::move(state_)); }
  T* operator->() { return &std::get<0>(state_); }
  const T* operator->() const { return &std::get<0>(state_); }
  T& operator*() & { return std::get<0>(state_); }
  const T& operator*() const& { return std::get<0>(state_); }
  T&& operator*() && { return std::get<0>(std::move(state_)); }

  const Error& error() const { return std::get<1>(state_); }

 private:
  std::variant<T, Error> state_;
};

/// For calls that give nothing but success.
struct LACUNA_API Done {};

}  // namespace lacuna

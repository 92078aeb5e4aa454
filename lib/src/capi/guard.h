// SPDX-License-Identifier: GPL-3.0-or-later
// The border of the C interface: what is thrown inside becomes a code and an error object outside.
#pragma once

#include <exception>
#include <new>
#include <string>
#include <utility>

#include "lacuna/c/error.h"
#include "lacuna/result.h"

namespace lacuna::capi {

/// Thrown to leave a call with a code and a message.
struct Failure {
  lacuna_code code;
  std::string message;
};

/// Thrown when a callback of the caller did not give 0.
struct CallbackFailure {
  std::int32_t given;
};

[[noreturn]] void fail_usage(std::string message);

/// Usage errors of a call, by its name: "lacuna_disc_open: disc is NULL".
inline void need(bool fulfilled, const char* what) {
  if (!fulfilled) fail_usage(what);
}

lacuna_code code_of(ErrorCode code) noexcept;

/// The value, or the C++ interface's error thrown.
template <class T>
T must(Result<T> result) {
  if (!result) throw Failure{code_of(result.error().code), result.error().message};
  return std::move(result).value();
}

/// Puts the exception that is being handled into `error`, if anybody wants it, and gives its code.
lacuna_code settle_exception(lacuna_error** error) noexcept;

/// Runs the body of a call.
template <class Body>
lacuna_code guarded(lacuna_error** error, Body&& body) noexcept {
  if (error != nullptr) *error = nullptr;
  try {
    std::forward<Body>(body)();
    return LACUNA_OK;
  } catch (...) {
    return settle_exception(error);
  }
}

}  // namespace lacuna::capi

// SPDX-License-Identifier: GPL-3.0-or-later
// Functions of the caller.
#pragma once

#include <cstdint>

#include "capi/guard.h"
#include "lacuna/c/words.h"
#include "lacuna/progress.h"

namespace lacuna::capi {

/// What a callback gives; -1 for one that throws.
template <class F, class... Args>
std::int32_t called(F* function, Args... args) {
  try {
    return function(args...);
  } catch (...) {
    return -1;
  }
}

/// Calls it, and throws when it does not give 0.
template <class F, class... Args>
void call(F* function, Args... args) {
  if (const std::int32_t given = called(function, args...); given != 0) throw CallbackFailure{given};
}

/// The caller's progress function for one call. It must outlive the work.
class ProgressBridge {
 public:
  ProgressBridge(lacuna_progress_function function, void* user) : function_(function), user_(user) {}

  ProgressCallback callback() {
    if (function_ == nullptr) return {};
    return [this](const Progress& p) {
      if (given_ == 0) {
        given_ = called(function_, user_, lacuna_string{p.task.data(), p.task.size()}, p.done_bytes, p.total_bytes);
      }
      return given_ == 0;
    };
  }

  /// The outcome of the work, or what the function gave, thrown.
  template <class T>
  T must(Result<T> result) const {
    if (given_ != 0) throw CallbackFailure{given_};
    return capi::must(std::move(result));
  }

 private:
  lacuna_progress_function function_;
  void* user_;
  std::int32_t given_ = 0;
};

}  // namespace lacuna::capi

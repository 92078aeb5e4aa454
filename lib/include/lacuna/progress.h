// SPDX-License-Identifier: GPL-3.0-or-later
// How long work reports where it is and is asked to stop.
#pragma once

#include <cstdint>
#include <functional>
#include <string_view>

#include "lacuna/export.h"

namespace lacuna {

/// State of one piece of long work. Bytes are those handled so far and expected in all (0: not known).
struct LACUNA_API Progress {
  std::string_view task;  ///< "checking contents", "pulling", …; valid during the call only.
  std::uint64_t done_bytes = 0;
  std::uint64_t total_bytes = 0;
};

/// Called often (at least a few times a second) and from one thread at a time; return false to cancel: the work
/// then stops soon, leaves nothing half-written, and its call gives ErrorCode::kCancelled. May be empty.
using ProgressCallback = std::function<bool(const Progress&)>;

}  // namespace lacuna

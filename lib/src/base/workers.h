// SPDX-License-Identifier: GPL-3.0-or-later
// Workers: numbered pieces of work over a few threads, with progress and a way to stop.
#pragma once

#include <atomic>
#include <cstddef>
#include <functional>

namespace lacuna {

/// Gives each of `threads` threads (0: as many as the machine has, never more than pieces) a worker of its own and
/// hands it the pieces 0 … count - 1, which start in this order. Meanwhile the caller's thread calls `tick` every
/// few hundredths of a second, at the start and at the end; false sets `stop`. Once `stop` is set, by whomever, no
/// further piece starts. Returns when all threads have ended; an exception of a worker (no memory) is passed on.
void run_workers(unsigned threads, std::size_t count,
                 const std::function<std::function<void(std::size_t)>()>& make_worker, std::atomic<bool>& stop,
                 const std::function<bool()>& tick);

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/workers.h"

#include <algorithm>
#include <chrono>
#include <condition_variable>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace lacuna {
namespace {

constexpr std::chrono::milliseconds kTickInterval(50);

}  // namespace

void run_workers(unsigned threads, std::size_t count,
                 const std::function<std::function<void(std::size_t)>()>& make_worker, std::atomic<bool>& stop,
                 const std::function<bool()>& tick) {
  if (threads == 0) threads = std::max(1u, std::thread::hardware_concurrency());
  const std::size_t workers = std::min<std::size_t>(threads, count);
  std::atomic<std::size_t> next{0};
  std::mutex mutex;
  std::condition_variable ended;
  std::size_t running = workers;
  std::exception_ptr failure;

  const auto work = [&] {
    try {
      const std::function<void(std::size_t)> worker = make_worker();
      for (std::size_t i = next++; i < count && !stop; i = next++) worker(i);
    } catch (...) {
      const std::lock_guard lock(mutex);
      failure = std::current_exception();
      stop = true;
    }
    const std::lock_guard lock(mutex);
    --running;
    ended.notify_one();
  };

  if (!tick()) stop = true;
  std::vector<std::jthread> pool;
  pool.reserve(workers);
  for (std::size_t i = 0; i < workers; ++i) pool.emplace_back(work);
  for (std::unique_lock lock(mutex); running != 0;) {
    if (ended.wait_for(lock, kTickInterval, [&] { return running == 0; })) break;
    lock.unlock();
    if (!tick()) stop = true;
    lock.lock();
  }
  pool.clear();
  if (failure) std::rethrow_exception(failure);
  if (!stop && !tick()) stop = true;
}

}  // namespace lacuna

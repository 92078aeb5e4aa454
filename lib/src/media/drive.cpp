// SPDX-License-Identifier: GPL-3.0-or-later
// A worker is a thread with the drive open. One that does not come back from a read is left behind, with what the two
// of them share, and another takes its place; what it brings in the end is taken all the same.
#include "media/drive.h"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <condition_variable>
#include <deque>
#include <exception>
#include <limits>
#include <mutex>
#include <new>
#include <utility>

#include "lacuna/image.h"
#include "media/direct_store.h"

namespace lacuna {
namespace {

using Clock = std::chrono::steady_clock;
constexpr std::chrono::milliseconds kTick{40};

/// Stops after the read during which `given_up` is set.
DriveAnswer read_sectors(const ByteStore& store, std::uint64_t lba, std::span<std::uint8_t> out,
                         const std::atomic<bool>& given_up) {
  using End = DriveAnswer::End;
  if (lba > std::numeric_limits<std::int64_t>::max() / kSectorBytes) return {0, End::kTooShort, 0};
  const std::uint64_t at_byte = lba * kSectorBytes;
  DriveAnswer answer;
  std::size_t done = 0;
  while (done < out.size() && answer.end == End::kAll) {
    if (at_byte + done >= store.size_bytes()) {
      answer.end = End::kTooShort;
    } else if (const ReadAnswer part = store.read_some(at_byte + done, out.subspan(done)); part.error != 0) {
      if (part.error == EINTR && !given_up) continue;
      answer.end = End::kFailed;
      answer.error = part.error;
    } else if (part.bytes == 0) {
      answer.end = End::kTooShort;
    } else {
      done += std::min(part.bytes, out.size() - done);
      if (done < out.size() && given_up) answer.end = End::kTimedOut;
    }
  }
  answer.good = done / kSectorBytes;
  std::ranges::fill(out.subspan(answer.good * kSectorBytes), std::uint8_t{0});
  return answer;
}

/// Waits on `changed` until done() or the time is up. False from keep_waiting, which is called without the lock, ends
/// it, too.
enum class Waited : std::uint8_t { kDone, kTimeUp, kCancelled };
template <class IsDone>
Waited wait_for(std::unique_lock<std::mutex>& lock, std::condition_variable& changed, std::chrono::milliseconds limit,
                const DriveReader::KeepWaiting& keep_waiting, IsDone&& done) {
  const Clock::time_point until = Clock::now() + limit;
  while (!done()) {
    const Clock::time_point now = Clock::now();
    if (now >= until) return Waited::kTimeUp;
    changed.wait_for(lock, std::min<Clock::duration>(kTick, until - now));
    if (done() || !keep_waiting) continue;
    lock.unlock();
    const bool go_on = keep_waiting();
    lock.lock();
    if (!go_on && !done()) return Waited::kCancelled;
  }
  return Waited::kDone;
}

}  // namespace

bool says_drive_is_gone(int error) noexcept {
  return error == ENOMEDIUM || error == ENODEV || error == ENXIO || error == ESHUTDOWN;
}

/// Outlives the reader while a worker is stuck.
struct DriveReader::Shared {
  std::mutex mutex;
  std::condition_variable changed;
  std::deque<LateAnswer> late;
  unsigned stuck = 0;  // workers that were left behind and have not come back
};

/// All of its members are the mutex's, but `given_up`.
class DriveReader::Worker {
 public:
  enum class Request : std::uint8_t { kNone, kAsked, kBeingRead, kDone };

  Worker(Opener opener, std::shared_ptr<Shared> shared) : opener_(std::move(opener)), shared_(std::move(shared)) {}

  /// The thread.
  void run() {
    std::unique_ptr<ByteStore> store = open();
    std::unique_lock lock(shared_->mutex);
    if (store != nullptr) size_bytes = store->size_bytes();
    opened = true;
    shared_->changed.notify_all();
    while (store != nullptr && !ended) {
      if (request != Request::kAsked) {
        shared_->changed.wait(lock);
        continue;
      }
      request = Request::kBeingRead;
      lock.unlock();
      answer = read_sectors(*store, lba, bytes->all(), given_up);
      lock.lock();
      request = given_up ? Request::kNone : Request::kDone;
      if (given_up) keep_late();
      shared_->changed.notify_all();
    }
    if (left_behind) --shared_->stuck;
    shared_->changed.notify_all();
  }

  void ask(std::uint64_t first, std::unique_ptr<AlignedBytes> buffer) {
    lba = first;
    bytes = std::move(buffer);
    given_up = false;
    request = Request::kAsked;
    shared_->changed.notify_all();
  }
  bool is_free() const { return opened && request == Request::kNone; }

  bool opened = false;  // or failed to: `error`
  std::optional<Error> error;
  std::uint64_t size_bytes = 0;
  Request request = Request::kNone;
  std::uint64_t lba = 0;
  std::unique_ptr<AlignedBytes> bytes;  // the thread's while it is being read
  DriveAnswer answer;
  std::atomic<bool> given_up{false};
  bool ended = false, left_behind = false;

 private:
  std::unique_ptr<ByteStore> open() {
    std::optional<Error> failure;
    try {
      Result<std::unique_ptr<ByteStore>> store = opener_();
      if (store) return std::move(store).value();
      failure = store.error();
    } catch (const std::exception& e) {  // no memory
      failure = Error{ErrorCode::kNotReadable, e.what()};
    }
    const std::lock_guard lock(shared_->mutex);
    error = std::move(failure);
    return nullptr;
  }

  void keep_late() {
    if (answer.good == 0 && answer.end == DriveAnswer::End::kTimedOut) return;
    while (shared_->late.size() >= kMostLate) shared_->late.pop_front();
    const std::span<std::uint8_t> all = bytes->all();
    try {
      shared_->late.push_back({lba, std::vector<std::uint8_t>(all.begin(), all.end()), answer});
    } catch (const std::bad_alloc&) {
      return;  // the sectors can be asked for again
    }
  }

  const Opener opener_;
  const std::shared_ptr<Shared> shared_;
};

DriveReader::DriveReader(Opener opener, std::string name, const DriveOptions& options)
    : opener_(std::move(opener)), name_(std::move(name)), options_(options), shared_(std::make_shared<Shared>()) {}

DriveReader::~DriveReader() {
  if (!thread_.joinable()) return;
  bool comes_back = false;
  {
    const std::lock_guard lock(shared_->mutex);
    worker_->ended = true;
    comes_back = worker_->opened && worker_->request != Worker::Request::kBeingRead;
    shared_->changed.notify_all();
  }
  comes_back ? thread_.join() : thread_.detach();
}

Result<std::unique_ptr<DriveReader>> DriveReader::open(const std::filesystem::path& path, const DriveOptions& options,
                                                       const KeepWaiting& keep_waiting) {
  return open([path, regular_files = options.regular_files] { return DirectStore::open(path, regular_files); },
              path.string(), options, keep_waiting);
}

Result<std::unique_ptr<DriveReader>> DriveReader::open(Opener opener, const std::string& name,
                                                       const DriveOptions& options, const KeepWaiting& keep_waiting) {
  std::unique_ptr<DriveReader> reader(new DriveReader(std::move(opener), name, options));
  reader->start();
  std::unique_lock lock(reader->shared_->mutex);
  Worker& worker = *reader->worker_;
  switch (
      wait_for(lock, reader->shared_->changed, options.opening, keep_waiting, [&worker] { return worker.opened; })) {
    case Waited::kTimeUp:
      return reader->silent("");
    case Waited::kCancelled:
      return Error{ErrorCode::kCancelled, "cancelled while opening the drive"};
    case Waited::kDone:
      break;
  }
  if (worker.error) return *worker.error;
  reader->size_bytes_ = worker.size_bytes;
  return reader;
}

void DriveReader::start() {
  worker_ = std::make_shared<Worker>(opener_, shared_);
  thread_ = std::thread([worker = worker_] { worker->run(); });
}

/// With the lock.
void DriveReader::leave_behind() {
  worker_->ended = worker_->left_behind = true;
  ++shared_->stuck;
  thread_.detach();
  worker_.reset();
}

Error DriveReader::silent(const std::string& where) const {
  return {ErrorCode::kNotReadable, fmt::format("'{}': the drive does not answer{}: switch it off and on, then run the "
                                               "same command again, it goes on where it stopped",
                                               name_, where)};
}

Result<Done> DriveReader::free_worker(std::uint64_t lba, const KeepWaiting& keep_waiting) {
  const std::string where = fmt::format(" at LBA {}", lba);
  std::chrono::milliseconds limit = options_.patience;
  if (worker_ == nullptr) {
    start();
    limit = options_.opening;
  }
  for (;;) {
    std::unique_lock lock(shared_->mutex);
    const Worker& worker = *worker_;
    const Waited waited = wait_for(lock, shared_->changed, limit, keep_waiting, [&worker] { return worker.is_free(); });
    if (waited == Waited::kCancelled) return Error{ErrorCode::kCancelled, "cancelled while waiting for the drive"};
    if (waited == Waited::kTimeUp) {
      const bool never_opened = limit == options_.opening && !worker.opened;
      if (never_opened || shared_->stuck >= options_.most_stuck) return silent(where);
      leave_behind();
      start();
      limit = options_.opening;
      continue;
    }
    if (worker.error) {  // the next request tries another one
      const Error error = *worker.error;
      lock.unlock();
      thread_.join();
      worker_.reset();
      return error;
    }
    if (worker.size_bytes == size_bytes_) return Done{};
    return Error{ErrorCode::kNotReadable,
                 fmt::format("'{}' has {} bytes where it had {}: is it still the same disc? Put that in again", name_,
                             worker.size_bytes, size_bytes_)};
  }
}

Result<DriveAnswer> DriveReader::read(std::uint64_t lba, std::span<std::uint8_t> out, const KeepWaiting& keep_waiting) {
  std::ranges::fill(out, std::uint8_t{0});
  const std::size_t bytes = out.size() / kSectorBytes * kSectorBytes;
  if (bytes == 0) return DriveAnswer{};
  if (const Result<Done> free = free_worker(lba, keep_waiting); !free) return free.error();
  auto buffer = std::make_unique<AlignedBytes>(bytes);

  std::unique_lock lock(shared_->mutex);
  Worker& worker = *worker_;
  worker.ask(lba, std::move(buffer));
  const Waited waited = wait_for(lock, shared_->changed, options_.limit, keep_waiting,
                                 [&worker] { return worker.request == Worker::Request::kDone; });
  if (waited == Waited::kDone) {
    worker.request = Worker::Request::kNone;
    std::ranges::copy(worker.bytes->all(), out.begin());
    return worker.answer;
  }
  worker.given_up = true;
  if (waited == Waited::kCancelled) return Error{ErrorCode::kCancelled, "cancelled while reading the drive"};
  return DriveAnswer{0, DriveAnswer::End::kTimedOut, 0};
}

std::optional<LateAnswer> DriveReader::late() {
  const std::lock_guard lock(shared_->mutex);
  if (shared_->late.empty()) return std::nullopt;
  LateAnswer answer = std::move(shared_->late.front());
  shared_->late.pop_front();
  return answer;
}

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// DriveReader: sectors of a drive that may fail, take minutes over a bad sector, or never answer. A thread of its own
// does the reading, so that the caller can give up on a request and be cancelled, which a read that the kernel has
// begun can't.
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <thread>
#include <vector>

#include "lacuna/result.h"
#include "media/byte_store.h"

namespace lacuna {

struct DriveOptions {
  std::chrono::milliseconds opening{60'000};   ///< Until the drive is open: it may have to start turning.
  std::chrono::milliseconds limit{30'000};     ///< Of a request.
  std::chrono::milliseconds patience{60'000};  ///< How long a request waits for one before it that was given up.
  unsigned most_stuck = 3;                     ///< Given up requests that are left behind at one time.
  bool regular_files = false;                  ///< Take a file for a drive.
};

/// What became of a request: its first `good` sectors were read, and why no more were.
struct DriveAnswer {
  enum class End : std::uint8_t {
    kAll,     ///< All were.
    kFailed,  ///< The next one can't be read, or one behind it: the kernel may fail a request as a whole. See `error`.
    kTooShort,  ///< The drive has no more.
    kTimedOut,  ///< The request was given up; late() may still bring its sectors.
  };
  std::size_t good = 0;  ///< Sectors.
  End end = End::kAll;
  int error = 0;  ///< An errno value.
};

/// What a request that was given up has brought since.
struct LateAnswer {
  std::uint64_t lba = 0;
  std::vector<std::uint8_t> bytes;  ///< As many sectors as were asked for; zero behind the good ones.
  DriveAnswer answer;
};

/// True when the errno value says that there is no disc or no drive any more: trying other sectors is no use.
bool says_drive_is_gone(int error) noexcept;

/// For one caller at a time. Never retries: what is worth another try is the caller's affair.
class DriveReader {
 public:
  /// Called every few hundredths of a second by read() and open(), in the caller's thread; false: stop waiting.
  using KeepWaiting = std::function<bool()>;
  /// How a worker gets at the drive: a store of its own, read by it alone. Called by workers.
  using Opener = std::function<Result<std::unique_ptr<ByteStore>>()>;

  /// A block device. Errors: kNotReadable, with the path and what to do; kUsage for a file; kCancelled.
  static Result<std::unique_ptr<DriveReader>> open(const std::filesystem::path& path, const DriveOptions& options,
                                                   const KeepWaiting& keep_waiting = {});
  /// By an opener; `name` stands in messages.
  static Result<std::unique_ptr<DriveReader>> open(Opener opener, const std::string& name, const DriveOptions& options,
                                                   const KeepWaiting& keep_waiting = {});
  ~DriveReader();
  DriveReader(const DriveReader&) = delete;
  DriveReader& operator=(const DriveReader&) = delete;

  /// Of all of the drive, the last sector that is not whole included.
  std::uint64_t size_bytes() const noexcept { return size_bytes_; }

  /// Reads out.size() / kSectorBytes sectors from `lba` on; `out` is zero behind the good ones. Takes no longer than
  /// the limit, and when a request before it is not done, patience and opening besides; a short answer is gone on from.
  /// Errors: kCancelled; kNotReadable when the drive can't be opened anew, is of another size then, or answers nothing
  /// any more. After an error, too, another request may be tried.
  Result<DriveAnswer> read(std::uint64_t lba, std::span<std::uint8_t> out, const KeepWaiting& keep_waiting = {});

  /// What requests that were given up have brought since the last call, one at a time. Of a cancelled one, too. At most
  /// kMostLate are kept, the newest.
  std::optional<LateAnswer> late();
  static constexpr std::size_t kMostLate = 64;

 private:
  class Worker;
  struct Shared;

  DriveReader(Opener opener, std::string name, const DriveOptions& options);
  void start();
  void leave_behind();
  Result<Done> free_worker(std::uint64_t lba, const KeepWaiting& keep_waiting);
  Error silent(const std::string& where) const;

  Opener opener_;
  std::string name_;
  DriveOptions options_;
  std::uint64_t size_bytes_ = 0;
  std::shared_ptr<Shared> shared_;
  std::shared_ptr<Worker> worker_;  ///< Null: none could open the drive.
  std::thread thread_;              ///< That of `worker_`.
};

}  // namespace lacuna

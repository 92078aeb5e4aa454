// SPDX-License-Identifier: GPL-3.0-or-later
// Drives that fail, hang and come back, by a store that blocks until it is told to go on. The limits are real but
// short; nothing here depends on how long anything takes, only on what was let through before.
#include "media/drive.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cerrno>
#include <condition_variable>
#include <map>
#include <mutex>
#include <set>
#include <thread>

#include "lacuna/image.h"
#include "media/direct_store.h"
#include "support/authoring.h"

namespace lacuna::test {
namespace {

using End = DriveAnswer::End;
constexpr std::uint64_t kDriveSectors = 100;
constexpr std::chrono::milliseconds kShort{30}, kLong{600'000};

/// Each byte tells its sector.
std::vector<std::uint8_t> drive_sectors(std::uint64_t lba, std::size_t count) {
  std::vector<std::uint8_t> bytes(count * kSectorBytes);
  for (std::size_t i = 0; i < bytes.size(); ++i) bytes[i] = static_cast<std::uint8_t>(lba + i / kSectorBytes + 1);
  return bytes;
}

/// What all stores of a test's drive share.
class FakeDrive {
 public:
  // Set before the drive is read.
  std::map<std::uint64_t, int> errors;      // by LBA: errno of what begins there or reaches it
  std::size_t most_bytes = SIZE_MAX;        // of one answer
  std::uint64_t end_bytes = UINT64_MAX;     // behind which it gives nothing, whatever size it says
  std::vector<std::uint64_t> sizes_bytes;   // of each opening; the last one of all others
  std::map<unsigned, Error> opening_fails;  // by number of the opening

  DriveReader::Opener opener() {
    return [this]() -> Result<std::unique_ptr<ByteStore>> {
      const User user(*this);
      const unsigned number = next_opening();
      if (const auto failure = opening_fails.find(number); failure != opening_fails.end()) return failure->second;
      pass("opening " + std::to_string(number));
      const std::uint64_t size = sizes_bytes.empty()
                                     ? kDriveSectors * kSectorBytes
                                     : sizes_bytes[std::min<std::size_t>(number, sizes_bytes.size() - 1)];
      return std::unique_ptr<ByteStore>(std::make_unique<Store>(*this, size));
    };
  }

  /// What begins at this sector, or an opening, waits until release().
  void block(const std::string& what) {
    const std::lock_guard lock(mutex_);
    blocked_.insert(what);
  }
  void block(std::uint64_t lba) { block("reading " + std::to_string(lba)); }
  void release(const std::string& what) {
    const std::lock_guard lock(mutex_);
    blocked_.erase(what);
    changed_.notify_all();
  }
  void release(std::uint64_t lba) { release("reading " + std::to_string(lba)); }
  /// Until something is blocked there.
  void wait_until_blocked(const std::string& what) {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [&] { return waiting_.contains(what); });
  }
  unsigned openings() {
    const std::lock_guard lock(mutex_);
    return openings_;
  }
  /// Waits until no thread has it open any more.
  ~FakeDrive() {
    std::unique_lock lock(mutex_);
    blocked_.clear();
    changed_.notify_all();
    changed_.wait(lock, [&] { return users_ == 0; });
  }

 private:
  /// Of which the drive outlives all.
  class User {
   public:
    explicit User(FakeDrive& drive) : drive_(drive) {
      const std::lock_guard lock(drive_.mutex_);
      ++drive_.users_;
    }
    User(const User&) = delete;
    User& operator=(const User&) = delete;
    ~User() {
      const std::lock_guard lock(drive_.mutex_);
      --drive_.users_;
      drive_.changed_.notify_all();
    }

   private:
    FakeDrive& drive_;
  };
  class Store final : public ByteStore {
   public:
    Store(FakeDrive& drive, std::uint64_t size_bytes) : user_(drive), drive_(drive), size_bytes_(size_bytes) {}
    std::uint64_t size_bytes() const noexcept override { return size_bytes_; }
    ReadAnswer read_some(std::uint64_t at_byte, std::span<std::uint8_t> out) const override {
      const std::uint64_t lba = at_byte / kSectorBytes;
      drive_.pass("reading " + std::to_string(lba));
      const std::uint64_t end = std::min({at_byte + out.size(), drive_.end_bytes, size_bytes_});
      if (end <= at_byte) return {};
      const auto error = drive_.errors.lower_bound(lba);
      if (error != drive_.errors.end() && error->first * kSectorBytes < end) return {0, error->second};
      const auto n = static_cast<std::size_t>(std::min<std::uint64_t>(end - at_byte, drive_.most_bytes));
      for (std::size_t i = 0; i < n; ++i) out[i] = static_cast<std::uint8_t>((at_byte + i) / kSectorBytes + 1);
      return {n, 0};
    }

   private:
    User user_;
    FakeDrive& drive_;
    std::uint64_t size_bytes_;
  };

  unsigned next_opening() {
    const std::lock_guard lock(mutex_);
    return openings_++;
  }
  void pass(const std::string& what) {
    std::unique_lock lock(mutex_);
    if (!blocked_.contains(what)) return;
    waiting_.insert(what);
    changed_.notify_all();
    changed_.wait(lock, [&] { return !blocked_.contains(what); });
    waiting_.erase(what);
  }

  std::mutex mutex_;
  std::condition_variable changed_;
  std::set<std::string> blocked_, waiting_;
  unsigned openings_ = 0;
  int users_ = 0;
};

DriveOptions limits(std::chrono::milliseconds limit, std::chrono::milliseconds patience = kLong) {
  DriveOptions options;
  options.opening = kLong;
  options.limit = limit;
  options.patience = patience;
  return options;
}

std::unique_ptr<DriveReader> opened(FakeDrive& drive, const DriveOptions& options = limits(kLong)) {
  Result<std::unique_ptr<DriveReader>> reader = DriveReader::open(drive.opener(), "/dev/cd", options);
  if (!reader) {
    ADD_FAILURE() << reader.error().message;
    return nullptr;
  }
  return std::move(reader).value();
}

struct Got {
  std::vector<std::uint8_t> bytes;
  DriveAnswer answer;
  std::optional<Error> error;
};
Got read(DriveReader& reader, std::uint64_t lba, std::size_t sectors, const DriveReader::KeepWaiting& keep = {}) {
  Got got{std::vector<std::uint8_t>(sectors * kSectorBytes, 0xee), {}, {}};
  Result<DriveAnswer> answer = reader.read(lba, got.bytes, keep);
  if (answer) {
    got.answer = *answer;
  } else {
    got.error = answer.error();
  }
  return got;
}
void expect_answer(const Got& got, std::size_t good, End end, int error = 0) {
  EXPECT_FALSE(got.error) << got.error->message;
  EXPECT_EQ(got.answer.good, good);
  EXPECT_EQ(got.answer.end, end);
  EXPECT_EQ(got.answer.error, error);
}
/// For read(): gives up once the drive is blocked there.
DriveReader::KeepWaiting until_blocked(FakeDrive& drive, std::uint64_t lba) {
  return [&drive, lba] {
    drive.wait_until_blocked("reading " + std::to_string(lba));
    return false;
  };
}
/// Until something late comes, which does when it has been let through.
LateAnswer next_late(DriveReader& reader) {
  for (;;) {
    if (std::optional<LateAnswer> late = reader.late()) return std::move(*late);
    std::this_thread::yield();
  }
}

TEST(Drive, ReadsSectorsAndKnowsItsSize) {
  FakeDrive drive;
  const auto reader = opened(drive);
  EXPECT_EQ(reader->size_bytes(), kDriveSectors * kSectorBytes);
  const Got got = read(*reader, 7, 5);
  expect_answer(got, 5, End::kAll);
  EXPECT_EQ(got.bytes, drive_sectors(7, 5));
  EXPECT_EQ(drive.openings(), 1U);
  expect_answer(read(*reader, 7, 0), 0, End::kAll);
}

TEST(Drive, ShortAnswersAreGoneOnFrom) {
  FakeDrive drive;
  drive.most_bytes = 1500;
  const auto reader = opened(drive);
  const Got got = read(*reader, 7, 5);
  expect_answer(got, 5, End::kAll);
  EXPECT_EQ(got.bytes, drive_sectors(7, 5));
}

TEST(Drive, AnErrorLeavesWhatCameBefore) {
  FakeDrive drive;
  drive.errors = {{9, EIO}, {20, ENOMEDIUM}};
  drive.most_bytes = 2 * kSectorBytes + 100;
  const auto reader = opened(drive);
  expect_answer(read(*reader, 5, 10), 0, End::kFailed, EIO);  // the whole request, as the kernel does
  expect_answer(read(*reader, 9, 1), 0, End::kFailed, EIO);
  expect_answer(read(*reader, 10, 1), 1, End::kAll);
  const Got gone = read(*reader, 20, 1);
  expect_answer(gone, 0, End::kFailed, ENOMEDIUM);
  EXPECT_TRUE(says_drive_is_gone(gone.answer.error));
  EXPECT_FALSE(says_drive_is_gone(EIO));
  EXPECT_EQ(gone.bytes, std::vector<std::uint8_t>(kSectorBytes));
}

TEST(Drive, TheEndOfTheDrive) {
  FakeDrive drive;
  const auto reader = opened(drive);
  const Got got = read(*reader, 98, 5);
  expect_answer(got, 2, End::kTooShort);
  std::vector<std::uint8_t> expected = drive_sectors(98, 2);
  expected.resize(5 * kSectorBytes);
  EXPECT_EQ(got.bytes, expected);
  expect_answer(read(*reader, 100, 1), 0, End::kTooShort);
  expect_answer(read(*reader, UINT64_MAX, 1), 0, End::kTooShort);
  expect_answer(read(*reader, UINT64_MAX / kSectorBytes, 1), 0, End::kTooShort);
}

TEST(Drive, ADriveThatIsSmallerThanItSays) {
  FakeDrive drive;
  drive.end_bytes = 50 * kSectorBytes + 1000;
  const auto reader = opened(drive);
  expect_answer(read(*reader, 48, 5), 2, End::kTooShort);
  expect_answer(read(*reader, 60, 1), 0, End::kTooShort);
}

TEST(Drive, WhatComesLateIsNotLost) {
  FakeDrive drive;
  const auto reader = opened(drive, limits(kShort));
  drive.block(7);
  const Got got = read(*reader, 7, 3);
  expect_answer(got, 0, End::kTimedOut);
  EXPECT_EQ(got.bytes, std::vector<std::uint8_t>(3 * kSectorBytes));
  EXPECT_FALSE(reader->late());
  drive.release(7);
  const LateAnswer late = next_late(*reader);
  EXPECT_EQ(late.lba, 7U);
  EXPECT_EQ(late.answer.good, 3U);
  EXPECT_EQ(late.answer.end, End::kAll);
  EXPECT_EQ(late.bytes, drive_sectors(7, 3));
  EXPECT_FALSE(reader->late());
}

TEST(Drive, ARequestThatWasGivenUpEndsWithTheReadThatIsGoingOn) {
  FakeDrive drive;
  drive.most_bytes = kSectorBytes;
  const auto reader = opened(drive);
  drive.block(8);
  drive.block(9);
  EXPECT_TRUE(read(*reader, 7, 10, until_blocked(drive, 8)).error);
  drive.release(8);
  const LateAnswer late = next_late(*reader);
  EXPECT_EQ(late.answer.good, 2U);
  EXPECT_EQ(late.answer.end, End::kTimedOut);
}

TEST(Drive, ALateErrorIsToldToo) {
  FakeDrive drive;
  drive.errors = {{7, EIO}};
  const auto reader = opened(drive, limits(kShort));
  drive.block(7);
  expect_answer(read(*reader, 7, 1), 0, End::kTimedOut);
  drive.release(7);
  const LateAnswer late = next_late(*reader);
  EXPECT_EQ(late.answer.end, End::kFailed);
  EXPECT_EQ(late.answer.error, EIO);
}

TEST(Drive, ARequestWaitsForTheOneBeforeIt) {
  FakeDrive drive;
  const auto reader = opened(drive, limits(kShort));
  drive.block(7);
  expect_answer(read(*reader, 7, 1), 0, End::kTimedOut);
  int asked = 0;
  const Got got = read(*reader, 20, 1, [&] {
    if (++asked == 3) drive.release(7);
    return true;
  });
  EXPECT_FALSE(got.error);
  EXPECT_GE(asked, 3);
  EXPECT_EQ(next_late(*reader).lba, 7U);
  EXPECT_EQ(drive.openings(), 1U) << "no other was needed";
}

TEST(Drive, AWorkerThatIsStuckIsLeftBehindAndComesBack) {
  FakeDrive drive;
  const auto reader = opened(drive, limits(kLong, kShort));
  drive.block(7);
  const Got cancelled = read(*reader, 7, 1, until_blocked(drive, 7));
  ASSERT_TRUE(cancelled.error);
  EXPECT_EQ(cancelled.error->code, ErrorCode::kCancelled);
  const Got got = read(*reader, 20, 2);
  expect_answer(got, 2, End::kAll);
  EXPECT_EQ(got.bytes, drive_sectors(20, 2));
  EXPECT_EQ(drive.openings(), 2U);
  drive.release(7);
  EXPECT_EQ(next_late(*reader).bytes, drive_sectors(7, 1));
  expect_answer(read(*reader, 7, 1), 1, End::kAll);
  EXPECT_EQ(drive.openings(), 2U);
}

TEST(Drive, ADriveThatAnswersNothingAnyMore) {
  FakeDrive drive;
  DriveOptions options = limits(kShort, kShort);
  options.most_stuck = 2;
  const auto reader = opened(drive, options);
  for (std::uint64_t lba = 10; lba < 14; ++lba) drive.block(lba);
  for (std::uint64_t lba = 10; lba < 13; ++lba) {
    expect_answer(read(*reader, lba, 1), 0, End::kTimedOut);
    drive.wait_until_blocked("reading " + std::to_string(lba));
  }
  const Got got = read(*reader, 13, 1);
  ASSERT_TRUE(got.error);
  EXPECT_EQ(got.error->code, ErrorCode::kNotReadable);
  EXPECT_EQ(got.error->message,
            "'/dev/cd': the drive does not answer at LBA 13: switch it off and on, then run the same command again, it "
            "goes on where it stopped");
  EXPECT_EQ(drive.openings(), 3U);
  // Those that come back make room for others.
  drive.release(10);
  EXPECT_EQ(next_late(*reader).lba, 10U);
  drive.release(12);
  EXPECT_EQ(next_late(*reader).lba, 12U);
  drive.release(13);
  EXPECT_FALSE(read(*reader, 13, 1).error);
}

TEST(Drive, CancelledWhileWaitingForTheOneBefore) {
  FakeDrive drive;
  const auto reader = opened(drive, limits(kShort));
  drive.block(7);
  expect_answer(read(*reader, 7, 1), 0, End::kTimedOut);
  int asked = 0;
  const Got got = read(*reader, 20, 1, [&] { return ++asked < 2; });
  ASSERT_TRUE(got.error);
  EXPECT_EQ(got.error->code, ErrorCode::kCancelled);
  EXPECT_EQ(asked, 2);
}

TEST(Drive, OpeningMayFailOrHangToo) {
  FakeDrive drive;
  drive.opening_fails = {{0, {ErrorCode::kNotReadable, "no disc"}}};
  const auto none = DriveReader::open(drive.opener(), "/dev/cd", limits(kLong));
  ASSERT_FALSE(none);
  EXPECT_EQ(none.error().message, "no disc");

  drive.block("opening 1");
  DriveOptions options;
  options.opening = kShort;
  const auto silent = DriveReader::open(drive.opener(), "/dev/cd", options);
  ASSERT_FALSE(silent);
  EXPECT_THAT(silent.error().message, ::testing::HasSubstr("the drive does not answer: switch it off and on"));
  drive.block("opening 2");
  int asked = 0;
  const auto cancelled = DriveReader::open(drive.opener(), "/dev/cd", limits(kLong), [&] { return ++asked < 2; });
  ASSERT_FALSE(cancelled);
  EXPECT_EQ(cancelled.error().code, ErrorCode::kCancelled);
  drive.release("opening 1");
  drive.release("opening 2");
  EXPECT_NE(opened(drive), nullptr);
}

TEST(Drive, OpenedAnewItMayFailOrBeAnotherDisc) {
  FakeDrive drive;
  drive.sizes_bytes = {100 * kSectorBytes, 100 * kSectorBytes, 90 * kSectorBytes, 100 * kSectorBytes};
  drive.opening_fails = {{1, {ErrorCode::kNotReadable, "gone"}}};
  const auto reader = opened(drive, limits(kShort, kShort));
  drive.block(7);
  expect_answer(read(*reader, 7, 1), 0, End::kTimedOut);
  const Got gone = read(*reader, 20, 1);
  ASSERT_TRUE(gone.error);
  EXPECT_EQ(gone.error->message, "gone");
  const Got other = read(*reader, 20, 1);
  ASSERT_TRUE(other.error);
  EXPECT_EQ(other.error->message,
            "'/dev/cd' has 184320 bytes where it had 204800: is it still the same disc? Put that in again");
}

TEST(Drive, OnlyTheNewestLateAnswersAreKept) {
  FakeDrive drive;
  const auto reader = opened(drive, limits(std::chrono::milliseconds(1)));
  for (std::uint64_t lba = 0; lba < DriveReader::kMostLate + 2; ++lba) {
    drive.block(lba);
    expect_answer(read(*reader, lba, 1), 0, End::kTimedOut);
    drive.release(lba);
  }
  std::size_t count = 0;
  while (reader->late()) ++count;
  EXPECT_LE(count, DriveReader::kMostLate);
}

TEST(DirectStore, ReadsFilesAtAnyPlaceIntoAnyBuffer) {
  const ScratchFolder folder;
  std::string text(10 * kSectorBytes + 77, ' ');
  for (std::size_t i = 0; i < text.size(); ++i) text[i] = static_cast<char>('a' + i / 100 % 26);
  write_file(folder / "disc.iso", text);
  const auto refused = DirectStore::open(folder / "disc.iso", false);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, ErrorCode::kUsage);
  const auto store = DirectStore::open(folder / "disc.iso", true);
  ASSERT_TRUE(store) << store.error().message;
  AlignedBytes aligned(2 * kSectorBytes);
  EXPECT_EQ((*store)->read_some(4096, aligned.all()).bytes, 2 * kSectorBytes);
  EXPECT_TRUE(std::equal(aligned.all().begin(), aligned.all().end(), text.begin() + 4096,
                         [](auto a, char b) { return a == static_cast<std::uint8_t>(b); }));
  std::vector<std::uint8_t> odd(101);
  const ReadAnswer answer = (*store)->read_some(13, std::span(odd).subspan(1));
  EXPECT_EQ(answer.error, 0);
  EXPECT_EQ(answer.bytes, 100U);
  EXPECT_EQ(odd[1], 'a');
  EXPECT_EQ(odd[100], static_cast<std::uint8_t>(text[112]));
}

TEST(Drive, OfAFile) {
  const ScratchFolder folder;
  const std::vector<std::uint8_t> bytes = drive_sectors(0, 10);
  write_file(folder / "disc.iso", std::string(bytes.begin(), bytes.end()) + "tail");
  DriveOptions options;
  const auto refused = DriveReader::open(folder / "disc.iso", options);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, ErrorCode::kUsage);
  options.regular_files = true;
  const auto reader = DriveReader::open(folder / "disc.iso", options);
  ASSERT_TRUE(reader) << reader.error().message;
  const Got got = read(**reader, 3, 4);
  expect_answer(got, 4, End::kAll);
  EXPECT_EQ(got.bytes, drive_sectors(3, 4));
  expect_answer(read(**reader, 9, 2), 1, End::kTooShort);
  const auto missing = DriveReader::open(folder / "none", options);
  ASSERT_FALSE(missing);
  EXPECT_EQ(missing.error().code, ErrorCode::kNotReadable);
}

}  // namespace
}  // namespace lacuna::test

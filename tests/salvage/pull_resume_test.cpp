// SPDX-License-Identifier: GPL-3.0-or-later
// Pulling again: after a stop, after a kill, after a better reading, with another selection.
#include <fcntl.h>
#include <gmock/gmock.h>
#include <signal.h>
#include <sys/file.h>
#include <sys/wait.h>
#include <unistd.h>

#include "lacuna/pull.h"
#include "pull_box.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

/// Calls back when a sector is read for the `at`th time.
class TrippingSource final : public SectorSource {
 public:
  TrippingSource(std::unique_ptr<SectorSource> inner, std::uint64_t lba, std::function<void()> trip)
      : inner_(std::move(inner)), lba_(lba), trip_(std::move(trip)) {}
  std::uint64_t first_lba() const noexcept override { return inner_->first_lba(); }
  std::uint64_t end_lba() const noexcept override { return inner_->end_lba(); }
  std::uint32_t last_sector_bytes() const noexcept override { return inner_->last_sector_bytes(); }
  const RangeSet& holes() const noexcept override { return inner_->holes(); }
  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    if (lba <= lba_ && lba_ < lba + states.size()) trip_();
    inner_->read(lba, out, states);
  }

 private:
  std::unique_ptr<SectorSource> inner_;
  std::uint64_t lba_;
  std::function<void()> trip_;
};

/// A disc of several files, one of them in several chunks.
struct ResumeBox : PullBox {
  std::uint64_t large_lba = 0;
  ResumeBox() {
    const std::size_t a = directory("a"), b = directory("b");
    for (unsigned i = 0; i < 20; ++i) file("f" + std::to_string(i), noise(3000 + i * 1000, i), a);
    large_lba = file("large", noise(4 << 20, 99), b);
    for (unsigned i = 20; i < 40; ++i) file("f" + std::to_string(i), noise(3000 + i * 1000, i), b);
    symlink("link", "a/f1");
  }
  std::unique_ptr<Image> tripping(std::function<void()> trip) const {
    // In the midst of the large file.
    return Image::from_source(std::make_unique<TrippingSource>(memory().source(), large_lba + 1100, std::move(trip)),
                              {SectorMap(SectorState::kGood)}, "image");
  }
  std::uint64_t count(const PullReport& r, PullOutcome o) const { return r.counts[static_cast<std::size_t>(o)]; }
};

std::string uninterrupted() {
  ResumeBox box;
  box.open();
  box.pull();
  return box.manifest_body();
}

std::vector<std::string> temporaries(const fs::path& folder) {
  std::vector<std::string> out;
  for (const std::string& path : listing(folder)) {
    if (path.find(".lacuna-") != std::string::npos) out.push_back(path);
  }
  return out;
}

/// The name that the unfinished pull gave itself in its journal.
std::string run_of(const fs::path& folder) {
  const std::string journal = read_text(folder / kWorkName);
  const std::string key = R"("run":")";
  const std::size_t at = journal.find(key);
  if (at == std::string::npos) return "no run in the journal";
  return journal.substr(at + key.size(), journal.find('"', at + key.size()) - at - key.size());
}

TEST(PullResume, PullingAgainDoesNothing) {
  ResumeBox box;
  box.open();
  box.pull();
  const std::string body = box.manifest_body();
  MemoryImage fenced = box.memory();
  fenced.allow_only({});  // not one sector is read
  box.open(fenced);
  const PullReport again = box.pull();
  EXPECT_EQ(box.count(again, PullOutcome::kAlreadyThere), 42u);
  EXPECT_EQ(again.bytes_written, 0u);
  EXPECT_EQ(box.manifest_body(), body);
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(PullResume, StoppedByTheCallerThenGoneOn) {
  ResumeBox box;
  std::atomic<bool> stop{false};
  box.open(box.tripping([&] { stop = true; }));
  PullOptions options;
  options.threads = 1;
  // The worker must not outrun the caller: it waits in its read until the stop was seen.
  std::atomic<bool> seen{false};
  box.open(box.tripping([&] {
    stop = true;
    while (!seen) ::usleep(1000);
  }));
  options.progress = [&](const Progress&) {
    if (!stop) return true;
    seen = true;
    return false;
  };
  const auto stopped = box.try_pull(options);
  ASSERT_FALSE(stopped.ok());
  EXPECT_EQ(stopped.error().code, ErrorCode::kCancelled);
  EXPECT_TRUE(is_there(box.to() / "a/f19"));
  EXPECT_FALSE(is_there(box.to() / "b/f39"));
  EXPECT_THAT(temporaries(box.to()), IsEmpty());
  EXPECT_EQ(box.check_sums(), 0);
  EXPECT_THAT(read_text(box.to() / kManifestName), HasSubstr(R"("complete":false)"));

  box.open();
  const PullReport rest = box.pull();
  EXPECT_GE(box.count(rest, PullOutcome::kAlreadyThere), 20u);
  EXPECT_GE(box.count(rest, PullOutcome::kPulled), 20u);
  EXPECT_EQ(box.manifest_body(), uninterrupted());
  EXPECT_EQ(box.check_sums(), 0);
  EXPECT_TRUE(verify(box.to())->problems.empty());
}

TEST(PullResume, KilledThenGoneOn) {
  ResumeBox box;
  const pid_t child = ::fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    box.open(box.tripping([] { ::kill(::getpid(), SIGKILL); }));
    PullOptions options;
    options.threads = 1;
    static_cast<void>(box.try_pull(options));
    ::_exit(0);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  ASSERT_TRUE(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
  EXPECT_TRUE(is_there(box.to() / "a/f19"));
  EXPECT_FALSE(is_there(box.to() / "b/large"));
  EXPECT_FALSE(is_there(box.to() / kManifestName));
  // What a target that knows no nameless files keeps of a killed pull.
  write_file(box.to() / "b" / (std::string(kPartPrefix) + run_of(box.to()) + "-7"), "half a file");

  // What is not of the killed pull stays: another's file of such a name.
  write_file(box.to() / "a/.lacuna-part-0123456789abcdef-1", "not ours");
  MemoryImage fenced = box.memory();
  fenced.allow_only({{box.large_lba, ~std::uint64_t{0}}});  // what is complete is not read again
  box.open(fenced);
  const PullReport rest = box.pull();
  EXPECT_EQ(box.count(rest, PullOutcome::kAlreadyThere), 20u);
  EXPECT_THAT(temporaries(box.to()), ElementsAre("a/.lacuna-part-0123456789abcdef-1"));
  EXPECT_EQ(box.manifest_body(), uninterrupted());
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(PullResume, KilledTwiceAndAnUnfinishedLineOfTheJournal) {
  ResumeBox box;
  for (int i = 0; i < 2; ++i) {
    const pid_t child = ::fork();
    ASSERT_GE(child, 0);
    if (child == 0) {
      box.open(box.tripping([] { ::kill(::getpid(), SIGKILL); }));
      PullOptions options;
      options.threads = 1;
      static_cast<void>(box.try_pull(options));
      ::_exit(0);
    }
    int status = 0;
    ASSERT_EQ(::waitpid(child, &status, 0), child);
    std::ofstream(box.to() / kWorkName, std::ios::app) << R"({"path":"a/f1","targ)";
  }
  box.open();
  const PullReport rest = box.pull();
  EXPECT_EQ(box.count(rest, PullOutcome::kAlreadyThere), 20u);
  EXPECT_THAT(temporaries(box.to()), IsEmpty());
  EXPECT_EQ(box.manifest_body(), uninterrupted());
}

TEST(PullResume, FilesWithoutRecordAreComparedNotTrusted) {
  ResumeBox box;
  box.open();
  box.pull();
  fs::remove(box.to() / kManifestName);
  fs::remove(box.to() / kSumsName);
  std::string other = read_text(box.to() / "a/f3");
  other[100] = static_cast<char>(other[100] + 1);
  const auto date = fs::last_write_time(box.to() / "a/f3");
  write_file(box.to() / "a/f3", other);
  fs::last_write_time(box.to() / "a/f3", date);  // size and date as they should be
  const PullReport again = box.pull();
  EXPECT_EQ(box.of(again, "a/f3").outcome, PullOutcome::kBlocked);
  EXPECT_EQ(box.of(again, "a/f4").outcome, PullOutcome::kAlreadyThere);
  EXPECT_EQ(read_text(box.to() / "a/f3"), other);
  EXPECT_EQ(box.manifest().at("a/f4").outcome, PullOutcome::kAlreadyThere);
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(PullResume, AMissingFileIsPulledAgain) {
  ResumeBox box;
  box.open();
  box.pull();
  fs::remove(box.to() / "a/f3");
  fs::remove_all(box.to() / "b");
  const PullReport again = box.pull();
  EXPECT_EQ(box.count(again, PullOutcome::kPulled), 22u);
  EXPECT_EQ(box.check_sums(), 0);
  EXPECT_TRUE(verify(box.to())->problems.empty());
}

TEST(PullResume, AnotherSelectionIsAddedToTheManifest) {
  ResumeBox box;
  box.open();
  PullOptions options;
  options.only = GlobSet({"a/f1"}, false);
  box.pull(options);
  options.only = GlobSet({"b/f30"}, false);
  box.pull(options);
  EXPECT_EQ(box.manifest_entries().size(), 2u);
  EXPECT_EQ(box.check_sums(), 0);
  EXPECT_TRUE(verify(box.to())->problems.empty());
}

TEST(PullResume, FilesOfAnotherDiscAreNotMixedIn) {
  ResumeBox box;
  box.open(box.memory().open("one.iso"));
  box.pull();
  const std::string before = read_text(box.to() / kManifestName);
  box.open(box.memory().open("two.iso"));
  const auto mixed = box.try_pull();
  ASSERT_FALSE(mixed.ok());
  EXPECT_EQ(mixed.error().code, ErrorCode::kUsage);
  EXPECT_THAT(mixed.error().message, HasSubstr("another disc (image 'one.iso'); pull into another folder"));
  EXPECT_EQ(read_text(box.to() / kManifestName), before);
  EXPECT_THAT(temporaries(box.to()), IsEmpty());
}

TEST(PullResume, ABetterReadingAddsWhatIsNowWhole) {
  PullBox box;
  const std::string content = noise(10'000, 1);
  const std::uint64_t lba = box.file("x", content);
  PullOptions options;
  options.damaged = true;
  box.open(box.memory().mark(lba, 2, SectorState::kBad));
  box.pull(options);
  box.open(box.memory().mark(lba, 1, SectorState::kBad));  // better: our own damaged copy is replaced
  EXPECT_EQ(box.of(box.pull(options), "x").outcome, PullOutcome::kPulled);
  EXPECT_EQ(read_text(box.to() / "_damaged/x").substr(2048), content.substr(2048));
  EXPECT_THAT(read_text(box.to() / "_damaged/x.gaps.txt"), HasSubstr("\n0 2048 bad\n"));
  EXPECT_EQ(box.check_sums(), 0);
  box.open();
  EXPECT_EQ(box.of(box.pull(options), "x").target, "x");
  EXPECT_EQ(read_text(box.to() / "x"), content);
  EXPECT_EQ(box.manifest_entries().size(), 2u);  // the damaged copy is still there, and said
  EXPECT_EQ(box.check_sums(), 0);
  EXPECT_TRUE(verify(box.to())->problems.empty());
}

TEST(PullResume, AWorseReadingNeitherTakesAwayNorStaysUnsaid) {
  PullBox box;
  const std::uint64_t lba = box.file("x", noise(10'000, 1));
  box.open();
  box.pull();
  box.open(box.memory().mark(lba, 1, SectorState::kBad));
  EXPECT_EQ(box.of(box.pull(), "x").outcome, PullOutcome::kLeftDamaged);
  EXPECT_TRUE(is_there(box.to() / "x"));
  const auto entries = box.manifest_entries();
  ASSERT_EQ(entries.size(), 1u);
  EXPECT_EQ(entries[0].target, "x");
  EXPECT_EQ(entries[0].state, FileState::kDoubtful);
  EXPECT_THAT(entries[0].doubts, Contains(HasSubstr("a later one damaged")));
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(PullResume, OneAtATime) {
  ResumeBox box;
  box.open();
  fs::create_directory(box.to());
  const int held = ::open((box.to() / kWorkName).c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666);
  ASSERT_GE(held, 0);
  ASSERT_EQ(::flock(held, LOCK_EX), 0);
  const auto second = box.try_pull();
  ASSERT_FALSE(second.ok());
  EXPECT_EQ(second.error().code, ErrorCode::kCannotWrite);
  EXPECT_THAT(second.error().message, HasSubstr("another pull is at work"));
  ::close(held);
  EXPECT_EQ(box.count(box.pull(), PullOutcome::kPulled), 42u);
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
// Equal files stored once, on one disc and on several.
#include <gmock/gmock.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include "archive_box.h"
#include "salvage/stored_files.h"
#include "small_target.h"

namespace lacuna::test {
namespace {

using ::testing::Contains;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

PullOptions once(const fs::path& to, Arrangement arrangement = Arrangement::kTree) {
  PullOptions options;
  options.to = to;
  options.once = true;
  options.arrangement = arrangement;
  return options;
}

std::int64_t date_of(const fs::path& file) {
  struct stat st {};
  EXPECT_EQ(::stat(file.c_str(), &st), 0) << file;
  return st.st_mtim.tv_sec;
}

TEST(OncePull, EqualFilesOfOneDisc) {
  NamedBox box("one.iso");
  const std::size_t sub = box.directory("sub");
  const std::string same = noise(700'000, 1);
  std::string other = same;
  other.back() = static_cast<char>(other.back() ^ 1);
  box.file("a", same, 0, day(2005, 1, 1));
  box.file("b", same, sub, day(2001, 1, 1));
  box.file("c", other, sub, day(2002, 1, 1));
  box.file("empty", "", 0, day(2002, 1, 1));
  box.file("empty too", "", 0, day(2002, 1, 1));
  const std::uint64_t suspect = box.file("doubtful", same, 0, day(1999, 1, 1));
  const std::uint64_t hurt = box.file("hurt", same, 0, day(1999, 1, 1));
  box.open(box.memory().mark(suspect, 1, SectorState::kSuspect).mark(hurt, 1, SectorState::kBad));
  PullOptions options = once(box.to());
  options.damaged = true;
  const PullReport report = box.pull(options);
  EXPECT_EQ(files_in(box.to()), (std::set<std::string>{"SHA256SUMS", "lacuna-discs/one.jsonl", "one/a", "one/sub/c",
                                                       "one/empty", "one/empty too", "one/doubtful",
                                                       "_damaged/one/hurt", "_damaged/one/hurt.gaps.txt"}));
  EXPECT_TRUE(box.of(report, "sub/b").shared);
  EXPECT_EQ(box.of(report, "sub/b").outcome, PullOutcome::kPulled);
  EXPECT_EQ(report.bytes_shared, same.size());
  const auto entries = entries_in(manifest_of(box.to(), "one"));
  EXPECT_TRUE(entries.at("sub/b").shared);
  EXPECT_EQ(entries.at("sub/b").target, "one/a");
  EXPECT_EQ(entries.at("sub/b").modified, "2001-01-01T12:00:00+00:00");
  EXPECT_EQ(entries.at("a").modified, "2005-01-01T12:00:00+00:00");
  EXPECT_FALSE(entries.at("doubtful").shared);
  EXPECT_EQ(date_of(box.to() / "one/a"), day(2001, 1, 1).seconds);  // the oldest of both
  EXPECT_THAT(problems_in(box.to()), IsEmpty());
  EXPECT_EQ(shell(box.to(), "sha256sum --check --strict --quiet SHA256SUMS"), 0);
}

/// Two discs with the same photos under other names.
struct TwoDiscs {
  NamedBox first{"first.iso"}, second{"second.iso"};
  fs::path to = first.to();

  TwoDiscs() {
    const std::size_t photos = first.directory("photos"), copy = second.directory("backup of photos");
    for (unsigned i = 0; i < 12; ++i) {
      first.file(numbered("IMG_", i) + ".jpg", noise(3000 + i % 3, i), photos, day(2004, 1, 1));
      second.file(numbered("copy ", i) + ".jpg", noise(3000 + i % 3, i), copy, day(i % 2 == 0 ? 2003 : 2006, 1, 1));
    }
    second.file("IMG_1.jpg", noise(5000, 99), copy, day(2004, 1, 1));
    first.open();
    second.open();
  }
};

TEST(OncePull, EqualFilesOfSeveralDiscs) {
  TwoDiscs discs;
  discs.first.pull(once(discs.to, Arrangement::kYear));
  const PullReport report = discs.second.pull(once(discs.to, Arrangement::kYear));
  EXPECT_EQ(report.bytes_written, 5000u);
  EXPECT_EQ(files_in(discs.to).size(), 12u + 1 + 3);
  const auto of_second = entries_in(manifest_of(discs.to, "second"));
  for (unsigned i = 0; i < 12; ++i) {
    const ManifestEntry& e = of_second.at("backup of photos/" + numbered("copy ", i) + ".jpg");
    EXPECT_TRUE(e.shared);
    EXPECT_EQ(e.target, "2004/" + numbered("IMG_", i) + ".jpg");
    EXPECT_EQ(date_of(discs.to / e.target), day(i % 2 == 0 ? 2003 : 2004, 1, 1).seconds);
  }
  EXPECT_FALSE(is_there(discs.to / "2006"));  // nothing but copies would lie there
  EXPECT_THAT(problems_in(discs.to), IsEmpty());

  // Again: nothing is read, nothing is written, nothing changes.
  const std::string first = body_of(manifest_of(discs.to, "first")), second = body_of(manifest_of(discs.to, "second"));
  MemoryImage fenced_first = discs.first.memory(), fenced_second = discs.second.memory();
  discs.first.open(fenced_first.allow_only({}));
  discs.second.open(fenced_second.allow_only({}));
  for (NamedBox* box : {&discs.first, &discs.second}) {
    const PullReport again = box->pull(once(discs.to, Arrangement::kYear));
    EXPECT_EQ(again.bytes_written, 0u);
    EXPECT_EQ(again.counts[static_cast<std::size_t>(PullOutcome::kPulled)], 0u);
  }
  EXPECT_EQ(body_of(manifest_of(discs.to, "first")), first);
  EXPECT_EQ(body_of(manifest_of(discs.to, "second")), second);
  EXPECT_THAT(problems_in(discs.to), IsEmpty());
}

// Two files of one size and one checksum that are not equal can't be made, so the record of one is forged.
TEST(OncePull, EqualChecksumsAreNotEnough) {
  NamedBox first("first.iso"), second("second.iso");
  const std::string a = noise(40'000, 1), b = noise(40'000, 2);
  first.file("a", a);
  second.file("b", b);
  first.open();
  second.open();
  const fs::path to = first.to();
  first.pull(once(to));
  NamedBox alone("second.iso");
  alone.file("b", b);
  alone.open();
  alone.pull(once(alone.to()));
  const Checksums of_a = entries_in(manifest_of(to, "first")).at("a").sums;
  const Checksums of_b = entries_in(manifest_of(alone.to(), "second")).at("b").sums;
  std::string text = read_text(manifest_of(to, "first"));
  text.replace(text.find(of_a.xxh3_128), 32, of_b.xxh3_128);
  text.replace(text.find(of_a.sha256), 64, of_b.sha256);
  write_file(manifest_of(to, "first"), text);

  const PullReport report = second.pull(once(to));
  EXPECT_FALSE(second.of(report, "b").shared);
  EXPECT_EQ(read_text(to / "second/b"), b);
  EXPECT_EQ(read_text(to / "first/a"), a);
  EXPECT_EQ(report.findings.counts().at("stored-file-differs"), 1u);
}

TEST(OncePull, AStoredFileThatChangedOrIsGoneStandsForNoOther) {
  for (const bool gone : {false, true}) {
    NamedBox first("first.iso"), second("second.iso");
    const std::string content = noise(40'000, 1);
    first.file("a", content, 0, day(2001, 1, 1));
    second.file("b", content, 0, day(2001, 1, 1));
    first.open();
    second.open();
    const fs::path to = first.to(), stored = to / "first/a";
    first.pull(once(to));
    if (gone) {
      fs::remove(stored);
    } else {
      const auto date = fs::last_write_time(stored);
      std::string changed = content;
      changed[20'000] = static_cast<char>(changed[20'000] ^ 4);
      write_file(stored, changed);
      fs::last_write_time(stored, date);
    }
    const PullReport report = second.pull(once(to));
    EXPECT_FALSE(second.of(report, "b").shared);
    EXPECT_EQ(read_text(to / "second/b"), content);
    EXPECT_THAT(problems_in(to), ElementsAre(gone ? "missing first/a" : "changed first/a"));
  }
}

TEST(OncePull, AStoredFileIsNeverReplaced) {
  NamedBox box("one.iso");
  box.file("a", "a");
  box.open();
  PullOptions options = once(box.to());
  options.replace = true;
  const auto refused = box.try_pull(options);
  ASSERT_FALSE(refused.ok());
  EXPECT_EQ(refused.error().code, ErrorCode::kUsage);
  EXPECT_THAT(refused.error().message, HasSubstr("--replace"));
  EXPECT_FALSE(is_there(box.to()));
}

TEST(OncePull, LinksInTheFolderAreNotTakenForStoredFiles) {
  NamedBox first("first.iso"), second("second.iso");
  const std::string content = noise(40'000, 1);
  first.file("a", content);
  second.file("b", content);
  first.open();
  second.open();
  const fs::path to = first.to();
  first.pull(once(to));
  write_file(first.scratch() / "outside", content);
  fs::remove(to / "first/a");
  fs::create_symlink(first.scratch() / "outside", to / "first/a");
  const PullReport report = second.pull(once(to));
  EXPECT_FALSE(second.of(report, "b").shared);
  EXPECT_EQ(read_text(to / "second/b"), content);
}

TEST(OncePull, WhatIsLaterFoundHurtKeepsTheWholeFile) {
  TwoDiscs discs;
  discs.first.pull(once(discs.to));
  discs.second.pull(once(discs.to));
  // Another read of the second disc has less.
  discs.second.open(discs.second.memory().mark(20, 1, SectorState::kBad));
  discs.second.pull(once(discs.to));
  const ManifestEntry e = entries_in(manifest_of(discs.to, "second")).at("backup of photos/copy 0.jpg");
  EXPECT_TRUE(e.shared);
  EXPECT_EQ(e.state, FileState::kDoubtful);
  EXPECT_EQ(e.target, "first/photos/IMG_0.jpg");
  EXPECT_THAT(problems_in(discs.to), IsEmpty());
}

/// Kills itself when a sector is read.
class KillingSource final : public SectorSource {
 public:
  KillingSource(std::unique_ptr<SectorSource> inner, std::uint64_t lba) : inner_(std::move(inner)), lba_(lba) {}
  std::uint64_t first_lba() const noexcept override { return inner_->first_lba(); }
  std::uint64_t end_lba() const noexcept override { return inner_->end_lba(); }
  std::uint32_t last_sector_bytes() const noexcept override { return inner_->last_sector_bytes(); }
  const RangeSet& holes() const noexcept override { return inner_->holes(); }
  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    if (lba <= lba_ && lba_ < lba + states.size()) ::kill(::getpid(), SIGKILL);
    inner_->read(lba, out, states);
  }

 private:
  std::unique_ptr<SectorSource> inner_;
  std::uint64_t lba_;
};

void pull_until_killed(NamedBox& box, std::uint64_t lba, PullOptions options) {
  const pid_t child = ::fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    static_cast<PullBox&>(box).open(Image::from_source(std::make_unique<KillingSource>(box.memory().source(), lba),
                                                       {SectorMap(SectorState::kGood)}, box.name()));
    options.threads = 1;
    static_cast<void>(box.try_pull(options));
    ::_exit(0);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  ASSERT_TRUE(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
}

TEST(OncePull, KilledThenGoneOn) {
  for (const bool bag : {false, true}) {
    PullOptions options;
    TwoDiscs whole, killed;
    for (TwoDiscs* discs : {&whole, &killed}) {
      options = once(discs->to, Arrangement::kYear);
      options.bag = bag;
      discs->first.pull(options);
      if (discs == &killed) {
        pull_until_killed(discs->second, 20 + 2 * 8, options);
        EXPECT_TRUE(is_there(discs->to / kWorkName));
        EXPECT_FALSE(is_there(discs->to / "bagit.txt"));
      }
      discs->second.pull(options);
    }
    EXPECT_EQ(files_in(killed.to), files_in(whole.to));
    for (const char* disc : {"first", "second"}) {
      EXPECT_EQ(body_of(manifest_of(killed.to, disc)), body_of(manifest_of(whole.to, disc)));
    }
    EXPECT_THAT(problems_in(killed.to), IsEmpty());
    if (bag) {
      EXPECT_EQ(check_bag(killed.to), "valid");
    }
  }
}

TEST(OncePull, AKilledPullOfOneDiscDoesNotHoldUpAnother) {
  TwoDiscs discs;
  pull_until_killed(discs.first, 20 + 2 * 8, once(discs.to, Arrangement::kYear));
  discs.second.pull(once(discs.to, Arrangement::kYear));
  EXPECT_THAT(read_text(manifest_of(discs.to, "first")), HasSubstr(R"("complete":false)"));
  EXPECT_THAT(problems_in(discs.to), IsEmpty());
  const auto of_second = entries_in(manifest_of(discs.to, "second"));
  EXPECT_TRUE(of_second.at("backup of photos/copy 0.jpg").shared);
  EXPECT_FALSE(of_second.at("backup of photos/copy 11.jpg").shared);
  discs.first.pull(once(discs.to, Arrangement::kYear));
  EXPECT_TRUE(entries_in(manifest_of(discs.to, "first")).at("photos/IMG_11.jpg").shared);
  EXPECT_EQ(files_in(discs.to).size(), 12u + 1 + 3);
  EXPECT_THAT(problems_in(discs.to), IsEmpty());
}

TEST(OncePull, TheSameFileIsStoredHoweverManyThreads) {
  std::string bodies[2];
  for (std::string& body : bodies) {
    NamedBox box("threads.iso");
    for (unsigned i = 0; i < 120; ++i) box.file(numbered("f", i), noise(2000 + i % 4, i % 12));
    box.open();
    PullOptions options = once(box.to());
    options.threads = &body == &bodies[0] ? 1 : 8;
    box.pull(options);
    EXPECT_EQ(files_in(box.to()).size(), 12u + 2);
    body = body_of(manifest_of(box.to(), "threads"));
  }
  EXPECT_EQ(bodies[0], bodies[1]);
}

TEST(OncePull, AFullTargetIsSaidAndCanBeGoneOnWith) {
  NamedBox box("full.iso");
  for (unsigned i = 0; i < 10; ++i) box.file(numbered("f", i), noise(200'000, i / 2));
  for (unsigned i = 10; i < 15; ++i) box.file(numbered("f", i), noise(200'000, i));
  box.open();
  const SmallTarget target(box.to());
  if (!target.mounted()) GTEST_SKIP() << "no file system could be mounted to be filled: " << target.reason();
  PullOptions options = once(box.to(), Arrangement::kYear);
  options.bag = true;
  options.threads = 1;
  const auto full = box.try_pull(options);
  ASSERT_FALSE(full.ok());
  EXPECT_EQ(full.error().code, ErrorCode::kCannotWrite);
  EXPECT_THAT(full.error().message, HasSubstr("no space left"));
  EXPECT_FALSE(is_there(box.to() / "bagit.txt"));
  ASSERT_TRUE(target.remount(0, "size=16m")) << std::strerror(errno);
  EXPECT_TRUE(box.pull(options).bag_closed);
  EXPECT_EQ(check_bag(box.to()), "valid");
  EXPECT_THAT(problems_in(box.to()), IsEmpty());
  ASSERT_TRUE(target.remount(MS_RDONLY, "")) << std::strerror(errno);
  EXPECT_EQ(box.try_pull(options).error().code, ErrorCode::kCannotWrite);
  EXPECT_EQ(check_bag(box.to()), "valid");
}

// Every combination of what a folder can be, with two discs where it takes two: all that is whole is there under the
// path that its manifest names, with its bytes.
TEST(OncePull, GoesWithEverythingElse) {
  const ScratchFolder scratch;
  fs::create_directories(scratch / "bags");
  int number = 0, bags = 0;
  for (int bits = 0; bits < 16; ++bits) {
    for (int a = 0; a < kArrangementCount; ++a) {
      NamedBox first("first.iso"), second("second.iso");
      std::map<std::string, std::string> contents;
      for (NamedBox* box : {&first, &second}) {
        const std::size_t sub = box->directory("Sub");
        for (unsigned i = 0; i < 4; ++i) {
          const std::string content = noise(3000, i), name = numbered("f:", i) + ".jpg";
          box->file(name, content, i % 2 == 0 ? sub : 0, day(2000 + static_cast<int>(i), 1, 1));
          contents[(i % 2 == 0 ? "Sub/" : "") + name] = content;
        }
        box->file("same.txt", noise(3000, 1), sub, Timestamp{});
        contents["Sub/same.txt"] = noise(3000, 1);
        const std::uint64_t hurt = box->file("hurt.avi", noise(9000, 5));
        box->open(box->memory().mark(hurt, 1, SectorState::kBad));
      }
      PullOptions options;
      options.bag = (bits & 1) != 0;
      options.to = (options.bag ? scratch / "bags" : scratch.path()) / std::to_string(number++);
      bags += options.bag;
      options.once = (bits & 2) != 0;
      options.damaged = (bits & 4) != 0;
      options.portable_names = (bits & 8) != 0;
      options.arrangement = static_cast<Arrangement>(a);
      options.threads = 2;
      const bool collection = options.once || a != 0;
      SCOPED_TRACE(::testing::Message() << "bits " << bits << " arrangement " << a);
      first.pull(options);
      if (collection) {
        second.pull(options);
      } else {
        EXPECT_EQ(second.try_pull(options).error().code, ErrorCode::kUsage);
      }
      EXPECT_THAT(problems_in(options.to), IsEmpty());
      std::vector<fs::path> manifests{options.to / kManifestName};
      if (collection) manifests = {manifest_of(options.to, "first"), manifest_of(options.to, "second")};
      std::set<std::string> targets;
      for (const fs::path& manifest : manifests) {
        const auto entries = entries_in(manifest);
        for (const auto& [path, content] : contents) {
          EXPECT_EQ(read_text(options.to / entries.at(path).target), content) << path;
          targets.insert(entries.at(path).target);
        }
        EXPECT_EQ(entries.at("hurt.avi").in_folder(), options.damaged);
      }
      EXPECT_EQ(targets.size(), options.once ? 4u : contents.size() * manifests.size());
    }
  }
  const auto checked = check_bags(scratch / "bags");
  EXPECT_EQ(checked.size(), static_cast<std::size_t>(bags));
  for (const auto& [bag, said] : checked) EXPECT_EQ(said, "valid") << bag;
}

TEST(StoredFiles, AFileWhoseRecordsDisagreeStandsForNoOther) {
  StoredFiles stored;
  ManifestEntry e;
  e.path = e.target = "a";
  e.size = 5;
  e.sums = {std::string(32, '1'), std::string(64, '2')};
  stored.add(e, false);
  EXPECT_THAT(stored.of_content(e.sums, 5), ElementsAre("a"));
  EXPECT_THAT(stored.of_content(e.sums, 6), IsEmpty());
  ManifestEntry other = e;
  other.sums.sha256 = std::string(64, '3');
  stored.add(other, true);
  EXPECT_THAT(stored.of_content(e.sums, 5), IsEmpty());
}

TEST(StoredFiles, DatesAreReadAsTheyAreWritten) {
  for (const Timestamp& t : {day(1999, 12, 31, 23, -480), day(2004, 2, 29, 0, 345), date(1'083'820'089, 123'456'789)}) {
    EXPECT_EQ(from_iso8601(to_iso8601(t)), t);
  }
  for (const char* text : {"", "2004", "2004-13-01T00:00:00+00:00", "2004-01-01T00:00:00", "2004-01-01T00:00:00+00:00x",
                           "2004-01-01T00:00:00.+00:00Z", "-004-01-01T00:00:00+00:00"}) {
    EXPECT_FALSE(from_iso8601(text).known) << text;
  }
}

}  // namespace
}  // namespace lacuna::test

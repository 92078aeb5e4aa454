// SPDX-License-Identifier: GPL-3.0-or-later
// Trouble in the target: what is already there, traps, no room, no permission.
#include <gmock/gmock.h>
#include <sys/mount.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "lacuna/pull.h"
#include "pull_box.h"
#include "small_target.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

constexpr auto index_of(PullOutcome o) { return static_cast<std::size_t>(o); }

TEST(PullTrouble, AFileThatIsThereBlocksUnlessToldToReplace) {
  PullBox box;
  box.file("a", "from the disc");
  box.file("same", "the same bytes");
  box.open();
  fs::create_directory(box.to());
  write_file(box.to() / "a", "somebody's own");
  write_file(box.to() / "same", "the same bytes");
  PullReport report = box.pull();
  EXPECT_EQ(box.of(report, "a").outcome, PullOutcome::kBlocked);
  EXPECT_THAT(box.of(report, "a").why, HasSubstr("already there"));
  EXPECT_EQ(box.of(report, "same").outcome, PullOutcome::kAlreadyThere);
  EXPECT_EQ(read_text(box.to() / "a"), "somebody's own");
  EXPECT_EQ(box.manifest().at("a").target, "");
  EXPECT_EQ(box.check_sums(), 0);

  PullOptions options;
  options.replace = true;
  report = box.pull(options);
  EXPECT_EQ(box.of(report, "a").outcome, PullOutcome::kPulled);
  EXPECT_EQ(read_text(box.to() / "a"), "from the disc");
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(PullTrouble, ReplaceNeverTakesADirectoryALinkOrASpecialFile) {
  PullBox box;
  box.file("directory", "d");
  box.file("link", "l");
  box.file("pipe", "p");
  box.open();
  fs::create_directories(box.to() / "directory");
  write_file(box.scratch() / "outside", "untouched");
  fs::create_symlink(box.scratch() / "outside", box.to() / "link");
  ASSERT_EQ(::mkfifo((box.to() / "pipe").c_str(), 0666), 0);
  PullOptions options;
  options.replace = true;
  const PullReport report = box.pull(options);
  EXPECT_EQ(report.counts[index_of(PullOutcome::kBlocked)], 3u);
  EXPECT_TRUE(fs::is_directory(box.to() / "directory"));
  EXPECT_TRUE(fs::is_symlink(box.to() / "link"));
  EXPECT_TRUE(fs::is_fifo(box.to() / "pipe"));
  EXPECT_EQ(read_text(box.scratch() / "outside"), "untouched");
}

// A folder that somebody prepared with links to lead the pull outside of it.
TEST(PullTrouble, LinksInTheTargetAreNeverFollowed) {
  PullBox box;
  const std::size_t photos = box.directory("photos"), deep = box.directory("deep", photos);
  box.file("a.jpg", noise(100, 1), photos);
  box.file("b.jpg", noise(100, 2), deep);
  box.file("config", noise(100, 3));
  const std::uint64_t lba = box.file("hurt", noise(9000, 4));
  box.symlink("way", "photos");
  box.open(box.memory().mark(lba, 1, SectorState::kBad));
  const fs::path outside = box.scratch() / "outside";
  fs::create_directories(outside);
  write_file(outside / "config", "untouched");
  for (const bool replace : {false, true}) {
    fs::remove_all(box.to());
    fs::create_directories(box.to());
    fs::create_directory_symlink(outside, box.to() / "photos");
    fs::create_directory_symlink(outside, box.to() / "_damaged");
    fs::create_directory_symlink(outside, box.to() / "way");
    fs::create_symlink(outside / "config", box.to() / "config");
    PullOptions options;
    options.damaged = true;
    options.replace = replace;
    const PullReport report = box.pull(options);
    EXPECT_THAT(listing(outside), ElementsAre("config")) << replace;
    EXPECT_EQ(read_text(outside / "config"), "untouched");
    for (const std::string_view path : {"photos/a.jpg", "photos/deep/b.jpg", "config", "hurt"}) {
      EXPECT_EQ(box.of(report, path).outcome, PullOutcome::kBlocked) << path;
    }
    EXPECT_GE(report.findings.counts().at("directory-not-made"), 2u);
    EXPECT_EQ(fs::read_symlink(box.to() / "way"), replace ? fs::path("photos") : outside);
  }
}

TEST(PullTrouble, LinksUnderOurOwnNamesAreRefused) {
  for (const std::string_view name : {kManifestName, kSumsName, kWorkName}) {
    PullBox box;
    box.file("a", "a");
    box.open();
    fs::create_directory(box.to());
    write_file(box.scratch() / "outside", "untouched");
    fs::create_symlink(box.scratch() / "outside", box.to() / name);
    const auto report = box.try_pull();
    ASSERT_FALSE(report.ok()) << name;
    EXPECT_EQ(report.error().code, ErrorCode::kCannotWrite);
    EXPECT_THAT(report.error().message, HasSubstr(name));
    EXPECT_EQ(read_text(box.scratch() / "outside"), "untouched");
    EXPECT_FALSE(is_there(box.to() / "a"));
  }
}

TEST(PullTrouble, ForeignFilesUnderOurOwnNamesAreRefused) {
  for (const std::string_view name : {kManifestName, kSumsName, kWorkName}) {
    for (const std::string_view content : {"somebody's own\n", "{\"schema\":\"other/1\"}\n", "x"}) {
      PullBox box;
      box.file("a", "a");
      box.open();
      fs::create_directory(box.to());
      write_file(box.to() / name, content);
      const auto report = box.try_pull();
      ASSERT_FALSE(report.ok()) << name << ": " << content;
      EXPECT_EQ(report.error().code, ErrorCode::kCannotWrite);
      EXPECT_EQ(read_text(box.to() / name), content);
      EXPECT_FALSE(is_there(box.to() / "a"));
    }
  }
}

TEST(PullTrouble, AJournalThatIsAlsoAFileElsewhereIsRefused) {
  PullBox box;
  box.file("a", "a");
  box.open();
  fs::create_directory(box.to());
  write_file(box.scratch() / "outside", "");
  fs::create_hard_link(box.scratch() / "outside", box.to() / kWorkName);
  EXPECT_FALSE(box.try_pull().ok());
  EXPECT_EQ(read_text(box.scratch() / "outside"), "");
}

TEST(PullTrouble, ABrokenManifestIsAnErrorWithItsLine) {
  PullBox box;
  box.file("a", "a");
  box.open();
  box.pull();
  std::ofstream(box.to() / kManifestName, std::ios::app) << "{\"path\":\n";
  const auto report = box.try_pull();
  ASSERT_FALSE(report.ok());
  EXPECT_EQ(report.error().code, ErrorCode::kBadInput);
  EXPECT_THAT(report.error().message, HasSubstr("lacuna-manifest.jsonl:3: "));
}

TEST(PullTrouble, TargetIsAFile) {
  PullBox box;
  box.file("a", "a");
  box.open();
  write_file(box.to(), "a file");
  const auto report = box.try_pull();
  ASSERT_FALSE(report.ok());
  EXPECT_EQ(report.error().code, ErrorCode::kCannotWrite);
  EXPECT_THAT(report.error().message, HasSubstr("it is not a folder"));
  EXPECT_EQ(read_text(box.to()), "a file");
}

TEST(PullTrouble, ParentOfTheTargetIsMissing) {
  PullBox box;
  box.file("a", "a");
  box.open();
  PullOptions options;
  options.to = box.scratch() / "no/such";
  const auto report = box.try_pull(options);
  ASSERT_FALSE(report.ok());
  EXPECT_EQ(report.error().code, ErrorCode::kCannotWrite);
  EXPECT_THAT(report.error().message, HasSubstr("parent folder is not there"));
  EXPECT_FALSE(is_there(box.scratch() / "no"));
}

TEST(PullTrouble, AFileInTheWayOfADirectory) {
  PullBox box;
  const std::size_t sub = box.directory("sub");
  box.file("a", "a", sub);
  box.file("b", "b");
  box.open();
  fs::create_directory(box.to());
  write_file(box.to() / "sub", "a file");
  const PullReport report = box.pull();
  EXPECT_EQ(box.of(report, "sub/a").outcome, PullOutcome::kBlocked);
  EXPECT_THAT(box.of(report, "sub/a").why, HasSubstr("in the way of 'sub'"));
  EXPECT_EQ(box.of(report, "b").outcome, PullOutcome::kPulled);
  EXPECT_EQ(read_text(box.to() / "sub"), "a file");
}

TEST(PullTrouble, AFullTargetIsSaidAndCanBeGoneOnWith) {
  PullBox box;
  for (unsigned i = 0; i < 10; ++i) box.file("f" + std::to_string(i), noise(200'000, i));
  box.open();
  const SmallTarget target(box.to());
  if (!target.mounted()) GTEST_SKIP() << "no file system could be mounted to be filled: " << target.reason();
  PullOptions options;
  options.threads = 1;
  const auto full = box.try_pull(options);
  ASSERT_FALSE(full.ok());
  EXPECT_EQ(full.error().code, ErrorCode::kCannotWrite);
  EXPECT_THAT(full.error().message, HasSubstr("no space left"));
  EXPECT_THAT(full.error().message, HasSubstr((box.to() / "f").string()));
  EXPECT_EQ(read_text(box.to() / "f0"), noise(200'000, 0));
  for (const auto& path : listing(box.to())) EXPECT_THAT(path, Not(HasSubstr(".lacuna-part")));

  ASSERT_TRUE(target.remount(0, "size=16m")) << std::strerror(errno);
  const PullReport rest = box.pull(options);
  EXPECT_GE(rest.counts[index_of(PullOutcome::kAlreadyThere)], 4u);
  EXPECT_EQ(rest.counts[index_of(PullOutcome::kAlreadyThere)] + rest.counts[index_of(PullOutcome::kPulled)], 10u);
  EXPECT_EQ(box.check_sums(), 0);
  EXPECT_TRUE(verify(box.to())->problems.empty());
}

TEST(PullTrouble, AReadOnlyTargetIsSaid) {
  PullBox box;
  box.file("a", "a");
  box.open();
  const SmallTarget target(box.to());
  if (!target.mounted()) GTEST_SKIP() << "no file system could be mounted read-only: " << target.reason();
  ASSERT_TRUE(target.remount(MS_RDONLY, "")) << std::strerror(errno);
  const auto report = box.try_pull();
  ASSERT_FALSE(report.ok());
  EXPECT_EQ(report.error().code, ErrorCode::kCannotWrite);
  EXPECT_THAT(report.error().message, HasSubstr("read-only file system"));
  EXPECT_THAT(listing(box.to()), IsEmpty());
}

/// Permissions do not hold for the administrator, so the test goes on as somebody else.
class OrdinaryUser {
 public:
  OrdinaryUser() : was_(::geteuid()) {
    if (was_ == 0 && ::seteuid(kNobody) != 0) ADD_FAILURE() << "cannot become somebody else";
  }
  ~OrdinaryUser() { EXPECT_EQ(::seteuid(was_), 0); }
  OrdinaryUser(const OrdinaryUser&) = delete;
  OrdinaryUser& operator=(const OrdinaryUser&) = delete;

 private:
  static constexpr uid_t kNobody = 65534;
  uid_t was_;
};

TEST(PullTrouble, AFolderWithoutPermissionIsSaid) {
  PullBox box;
  box.file("a", "a");
  box.open();
  fs::create_directory(box.to());
  fs::permissions(box.scratch(), fs::perms(0755));
  fs::permissions(box.to(), fs::perms(0555));
  const auto report = [&] {
    const OrdinaryUser user;
    return box.try_pull();
  }();
  fs::permissions(box.to(), fs::perms::owner_all);
  ASSERT_FALSE(report.ok());
  EXPECT_EQ(report.error().code, ErrorCode::kCannotWrite);
  EXPECT_THAT(report.error().message, HasSubstr("permission denied"));
  EXPECT_THAT(listing(box.to()), IsEmpty());
}

TEST(PullTrouble, ADirectoryWithoutPermissionCostsItsFilesOnly) {
  PullBox box;
  const std::size_t closed = box.directory("closed");
  box.file("a", "a", closed);
  box.file("b", "b");
  box.open();
  fs::permissions(box.scratch(), fs::perms(0755));
  fs::create_directories(box.to() / "closed");
  fs::permissions(box.to(), fs::perms(0777));
  fs::permissions(box.to() / "closed", fs::perms(0555));
  const PullReport report = [&] {
    const OrdinaryUser user;
    return box.pull();
  }();
  fs::permissions(box.to() / "closed", fs::perms::owner_all);
  EXPECT_EQ(box.of(report, "closed/a").outcome, PullOutcome::kFailed);
  EXPECT_THAT(box.of(report, "closed/a").why, HasSubstr("permission denied"));
  EXPECT_EQ(box.of(report, "b").outcome, PullOutcome::kPulled);
  EXPECT_EQ(box.manifest().at("closed/a").outcome, PullOutcome::kFailed);
  EXPECT_EQ(box.check_sums(), 0);
}

}  // namespace
}  // namespace lacuna::test

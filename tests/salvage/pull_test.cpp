// SPDX-License-Identifier: GPL-3.0-or-later
// What a pull writes. Trouble in the target is in pull_trouble_test.cpp, going on after an interruption in
// pull_resume_test.cpp.
#include "lacuna/pull.h"

#include <gmock/gmock.h>

#include "pull_box.h"
#include "salvage/pull_file.h"

namespace lacuna::test {
namespace {

using ::testing::Contains;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;

struct stat stat_of(const fs::path& path) {
  struct stat st {};
  EXPECT_EQ(::lstat(path.c_str(), &st), 0) << path;
  return st;
}

TEST(Pull, WritesContentsDirectoriesAndDates) {
  PullBox box;
  const std::size_t photos = box.directory("photos", 0, date(1'000'000'123, 5));
  box.directory("empty", photos, date(900'000'000));
  const std::string a = noise(5000, 1), b = noise(3 * 1048576 + 5, 2);
  box.file("a.jpg", a, photos);
  box.file("b.avi", b);
  box.file("nothing", "");
  box.open();
  const PullReport report = box.pull();

  EXPECT_EQ(read_text(box.to() / "photos/a.jpg"), a);
  EXPECT_EQ(read_text(box.to() / "b.avi"), b);
  EXPECT_EQ(read_text(box.to() / "nothing"), "");
  EXPECT_THAT(listing(box.to()), ElementsAre("SHA256SUMS", "b.avi", "lacuna-manifest.jsonl", "nothing", "photos/",
                                             "photos/a.jpg", "photos/empty/"));
  const struct stat st = stat_of(box.to() / "photos/a.jpg");
  EXPECT_EQ(st.st_mtim.tv_sec, 1'083'820'089);
  EXPECT_EQ(st.st_mtim.tv_nsec, 123'456'789);
  EXPECT_EQ(st.st_mode & 0111, 0u);
  EXPECT_EQ(stat_of(box.to() / "photos").st_mtim.tv_sec, 1'000'000'123);
  EXPECT_EQ(stat_of(box.to() / "photos").st_mtim.tv_nsec, 5);
  EXPECT_EQ(stat_of(box.to() / "photos/empty").st_mtim.tv_sec, 900'000'000);

  EXPECT_EQ(report.files.size(), 3u);
  EXPECT_EQ(report.counts[static_cast<std::size_t>(PullOutcome::kPulled)], 3u);
  EXPECT_EQ(report.bytes_written, a.size() + b.size());
  EXPECT_TRUE(report.findings.empty());
  EXPECT_EQ(box.of(report, "photos/a.jpg").target, "photos/a.jpg");
}

TEST(Pull, DatesKeepTheirMicrosecondsAndTheirZone) {
  PullBox box;
  Timestamp t = date(1'083'820'089, 123'456'000);  // to the microsecond, as ECMA-167 1/7.3 records
  t.zone_minutes = 120;
  box.file("a", "x", 0, t);
  box.open();
  box.pull();
  EXPECT_EQ(stat_of(box.to() / "a").st_mtim.tv_nsec, 123'456'000);
  EXPECT_EQ(box.manifest().at("a").modified, "2004-05-06T07:08:09.123456+02:00");
  const PullReport again = box.pull();
  EXPECT_EQ(box.of(again, "a").outcome, PullOutcome::kAlreadyThere);
}

TEST(Pull, DeletedFilesAndStreamsComeOutBesideTheOthers) {
  const std::unique_ptr<Image> image = MemoryImage(numbered_sectors(40)).with_map().open();
  HandDisc hand(*image);
  hand.file("letter.txt", 2000, {at_lba(20, 2000)}, node_flag::kDeleted);
  hand.file("letter.txt", 21, 2000);
  hand.file("letter.txt:author", 300, {at_lba(22, 300)}, node_flag::kStream);
  const auto verdicts = judge(hand.finish(), {});
  ASSERT_TRUE(verdicts.ok());
  ScratchFolder scratch;
  PullOptions options;
  options.to = scratch.path() / "out";
  ASSERT_TRUE(pull(hand.disc(), *verdicts, options).ok());
  EXPECT_THAT(listing(options.to),
              ElementsAre("SHA256SUMS", "lacuna-manifest.jsonl", "letter.txt", "letter.txt:author", "letter.txt~2"));
  const std::vector<std::uint8_t> live = numbered_sector(21);
  EXPECT_EQ(read_text(options.to / "letter.txt"), std::string(live.begin(), live.begin() + 2000));
  const std::string manifest = read_text(options.to / kManifestName);
  EXPECT_THAT(manifest, HasSubstr(R"("path":"letter.txt~2","target":"letter.txt~2")"));
  EXPECT_THAT(manifest, HasSubstr(R"("deleted":true)"));
  EXPECT_THAT(manifest, HasSubstr(R"("stream":true)"));
}

TEST(Pull, ChecksumsAreThePublishedOnes) {
  PullBox box;
  box.file("abc", "abc");
  box.file("empty", "");
  box.open();
  box.pull();
  const auto manifest = box.manifest();
  // FIPS 180-4, example of SHA-256 ("abc", the empty message); XXH3-128 of nothing: xxHash's own sanity test values.
  EXPECT_EQ(manifest.at("abc").sums.sha256, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(manifest.at("empty").sums.sha256, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  EXPECT_EQ(manifest.at("empty").sums.xxh3_128, "99aa06d3014798d86001c324468d497f");
}

TEST(Pull, SumsAreAcceptedBySha256sum) {
  PullBox box;
  const std::size_t sub = box.directory("sub dir");
  box.file("back\\slash", noise(10, 1), sub);
  box.file("\xC3\xA9t\xC3\xA9.txt", noise(10, 2), sub);
  box.file(" leading and trailing ", noise(10, 3));
  box.file("-dash", noise(10, 4));
  box.file("*star", noise(10, 5));
  const std::uint64_t lba = box.file("hurt", noise(9000, 6));
  box.open(box.memory().mark(lba + 1, 1, SectorState::kBad));
  PullOptions options;
  options.damaged = true;
  box.pull(options);
  EXPECT_EQ(box.check_sums(), 0);
  EXPECT_EQ(shell(box.to(), "test $(wc -l < SHA256SUMS) -eq 8"), 0);  // 6 files, a list of gaps, the manifest
  write_file(box.to() / "-dash", "changed");
  EXPECT_EQ(box.check_sums(), 1);
}

TEST(Pull, DamagedFilesStayInTheImageUnlessAskedFor) {
  PullBox box;
  const std::uint64_t lba = box.file("hurt.jpg", noise(10'000, 1));
  box.file("fine.jpg", noise(10'000, 2));
  box.open(box.memory().mark(lba + 2, 1, SectorState::kBad));
  const PullReport report = box.pull();
  EXPECT_EQ(box.of(report, "hurt.jpg").outcome, PullOutcome::kLeftDamaged);
  EXPECT_EQ(box.of(report, "hurt.jpg").why, "2048 bytes are missing");
  EXPECT_THAT(listing(box.to()), ElementsAre("SHA256SUMS", "fine.jpg", "lacuna-manifest.jsonl"));
  const ManifestEntry entry = box.manifest().at("hurt.jpg");
  EXPECT_EQ(entry.state, FileState::kDamaged);
  EXPECT_EQ(entry.target, "");
  EXPECT_THAT(entry.gaps, ElementsAre(Gap{4096, 2048, SectorState::kBad}));
}

TEST(Pull, DamagedFilesGoApartWithTheListOfTheirGaps) {
  PullBox box;
  const std::size_t sub = box.directory("sub");
  const std::string content = noise(10'000, 1);
  const std::uint64_t lba = box.file("hurt.jpg", content, sub);
  box.open(box.memory().mark(lba, 1, SectorState::kUnread).mark(lba + 4, 1, SectorState::kBad));
  PullOptions options;
  options.damaged = true;
  const PullReport report = box.pull(options);
  EXPECT_EQ(box.of(report, "sub/hurt.jpg").target, "_damaged/sub/hurt.jpg");
  std::string expected = content;
  std::fill_n(expected.begin(), 2048, '\0');
  std::fill(expected.begin() + 8192, expected.end(), '\0');
  EXPECT_EQ(read_text(box.to() / "_damaged/sub/hurt.jpg"), expected);
  EXPECT_FALSE(is_there(box.to() / "sub/hurt.jpg"));
  const std::string list = read_text(box.to() / "_damaged/sub/hurt.jpg.gaps.txt");
  EXPECT_THAT(list, HasSubstr("\n0 2048 unread\n8192 1808 bad\n"));
  EXPECT_THAT(list, HasSubstr("3856 of the 10000 bytes of \"sub/hurt.jpg\""));
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(Pull, LostFilesAreNeverWritten) {
  PullBox box;
  const std::uint64_t lba = box.file("gone", noise(4000, 1));
  box.open(box.memory().mark(lba, 2, SectorState::kAbsent));
  PullOptions options;
  options.damaged = true;
  const PullReport report = box.pull(options);
  EXPECT_EQ(box.of(report, "gone").outcome, PullOutcome::kLeftDamaged);
  EXPECT_THAT(listing(box.to()), ElementsAre("SHA256SUMS", "lacuna-manifest.jsonl"));
  EXPECT_EQ(box.manifest().at("gone").state, FileState::kLost);
}

TEST(Pull, DoubtfulFilesArePulledAndMarked) {
  PullBox box;
  const std::string content = noise(5000, 1);
  const std::uint64_t lba = box.file("odd", content);
  box.open(box.memory().mark(lba + 1, 1, SectorState::kSuspect));
  const PullReport report = box.pull();
  EXPECT_EQ(box.of(report, "odd").outcome, PullOutcome::kPulled);
  EXPECT_EQ(read_text(box.to() / "odd"), content);
  const ManifestEntry entry = box.manifest().at("odd");
  EXPECT_EQ(entry.state, FileState::kDoubtful);
  EXPECT_FALSE(entry.doubts.empty());
  EXPECT_THAT(entry.gaps, ElementsAre(Gap{2048, 2048, SectorState::kSuspect}));
}

// The map says good, the source fails: nobody knew. It must not pass as whole.
TEST(Pull, SectorThatFailsWithoutWarningIsNeverWhole) {
  PullBox box;
  const std::uint64_t lba = box.file("trusted", noise(3 * 1048576, 1));
  box.file("fine", noise(5000, 2));
  box.open(box.memory().fail(lba + 700, 2));
  ASSERT_EQ(box.verdicts().of(1).state, FileState::kWhole);
  const PullReport report = box.pull();
  EXPECT_EQ(box.of(report, "trusted").outcome, PullOutcome::kLeftDamaged);
  EXPECT_EQ(box.of(report, "fine").outcome, PullOutcome::kPulled);
  EXPECT_FALSE(is_there(box.to() / "trusted"));
  EXPECT_EQ(report.findings.counts().at("worse-when-pulled"), 1u);
  const ManifestEntry entry = box.manifest().at("trusted");
  EXPECT_EQ(entry.state, FileState::kDamaged);
  EXPECT_EQ(entry.missing_bytes, 4096u);
  EXPECT_THAT(entry.gaps, ElementsAre(Gap{700 * 2048, 4096, SectorState::kBad}));
  EXPECT_THAT(entry.doubts.back(), HasSubstr("judged whole before"));
}

TEST(Pull, SectorThatFailsWithoutWarningSendsTheFileToTheDamaged) {
  PullBox box;
  const std::string content = noise(10'000, 1);
  const std::uint64_t lba = box.file("trusted", content);
  const std::uint64_t gone = box.file("all gone", noise(100, 2));
  box.open(box.memory().fail(lba + 1, 1).fail(gone, 1));
  PullOptions options;
  options.damaged = true;
  const PullReport report = box.pull(options);
  EXPECT_EQ(box.of(report, "trusted").target, "_damaged/trusted");
  EXPECT_EQ(read_text(box.to() / "_damaged/trusted").substr(0, 2048), content.substr(0, 2048));
  EXPECT_THAT(read_text(box.to() / "_damaged/trusted.gaps.txt"), HasSubstr("\n2048 2048 bad\n"));
  EXPECT_EQ(box.of(report, "all gone").outcome, PullOutcome::kLeftDamaged);
  EXPECT_EQ(box.manifest().at("all gone").state, FileState::kLost);
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(Pull, SparseWhereZero) {
  PullBox box;
  const std::string content = noise(4096, 1) + std::string(1 << 20, '\0') + noise(100, 2) + std::string(64 << 10, '\0');
  box.file("disk.img", content);
  box.file("all zero", std::string(100'000, '\0'));
  box.open();
  box.pull();
  EXPECT_EQ(read_text(box.to() / "disk.img"), content);
  EXPECT_EQ(read_text(box.to() / "all zero"), std::string(100'000, '\0'));
  EXPECT_LE(stat_of(box.to() / "disk.img").st_blocks * 512, 64 << 10);
  EXPECT_LE(stat_of(box.to() / "all zero").st_blocks * 512, 16 << 10);
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(Pull, SymbolicLinksOnlyWhereTheyStayInside) {
  PullBox box;
  const std::size_t sub = box.directory("sub");
  box.file("a", "content");
  box.symlink("good", "../a", sub);
  box.symlink("dangling", "no/such");
  box.symlink("absolute", "/etc/passwd");
  box.symlink("escape", "../../etc/passwd", sub);
  box.symlink("sneaky", "good/../../..", sub);
  box.open();
  const PullReport report = box.pull();
  EXPECT_EQ(fs::read_symlink(box.to() / "sub/good"), "../a");
  EXPECT_EQ(read_text(box.to() / "sub/good"), "content");
  EXPECT_EQ(fs::read_symlink(box.to() / "dangling"), "no/such");
  EXPECT_EQ(stat_of(box.to() / "dangling").st_mtim.tv_sec, 1'000'000'001);
  for (const std::string_view path : {"absolute", "sub/escape", "sub/sneaky"}) {
    EXPECT_EQ(box.of(report, path).outcome, PullOutcome::kLeftSpecial) << path;
    EXPECT_FALSE(is_there(box.to() / path)) << path;
    EXPECT_FALSE(box.manifest().at(std::string(path)).symlink.empty()) << path;
  }
  EXPECT_EQ(box.manifest().at("sub/good").link, "../a");
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(LinkInside, Rules) {
  std::string why;
  EXPECT_EQ(link_inside("a/b", 0, false, why), "a/b");
  EXPECT_EQ(link_inside("./a//b/.", 0, false, why), "a/b");
  EXPECT_EQ(link_inside("..", 1, false, why), "..");
  EXPECT_EQ(link_inside("../../x", 2, false, why), "../../x");
  EXPECT_EQ(link_inside(".", 0, false, why), ".");
  EXPECT_EQ(link_inside("aux/x", 0, false, why), "aux_/x");  // as the file itself is called in the folder
  EXPECT_FALSE(link_inside("..", 0, false, why));
  EXPECT_FALSE(link_inside("../..", 1, false, why));
  EXPECT_FALSE(link_inside("a/..", 5, false, why));
  EXPECT_FALSE(link_inside("/", 5, false, why));
  EXPECT_FALSE(link_inside("", 5, false, why));
  EXPECT_FALSE(why.empty());
}

TEST(Pull, SpecialFilesAreListedButNotMade) {
  PullBox box;
  box.special("pipe", NodeKind::kFifo);
  box.special("disk", NodeKind::kBlockDevice);
  box.special("socket", NodeKind::kSocket);
  box.open();
  const PullReport report = box.pull();
  EXPECT_EQ(report.counts[static_cast<std::size_t>(PullOutcome::kLeftSpecial)], 3u);
  EXPECT_THAT(listing(box.to()), ElementsAre("SHA256SUMS", "lacuna-manifest.jsonl"));
  EXPECT_EQ(box.manifest().at("pipe").outcome, PullOutcome::kLeftSpecial);
}

TEST(Pull, ProgramsStayInTheImageOnRequestAndAreListed) {
  PullBox box;
  box.file("setup.exe", noise(100, 1));
  box.file("photo.jpg", "MZ" + noise(100, 2));
  box.file("letter.txt", "Dear reader");
  box.open();
  PullOptions options;
  options.skip_programs = true;
  const PullReport report = box.pull(options);
  EXPECT_EQ(box.of(report, "setup.exe").outcome, PullOutcome::kLeftProgram);
  EXPECT_EQ(box.of(report, "photo.jpg").outcome, PullOutcome::kLeftProgram);
  EXPECT_EQ(box.of(report, "letter.txt").outcome, PullOutcome::kPulled);
  EXPECT_THAT(listing(box.to()), ElementsAre("SHA256SUMS", "lacuna-manifest.jsonl", "letter.txt"));
  EXPECT_EQ(box.manifest().at("photo.jpg").outcome, PullOutcome::kLeftProgram);
  EXPECT_FALSE(box.manifest().at("setup.exe").why.empty());

  box.pull();  // now all of them
  EXPECT_EQ(box.manifest().at("setup.exe").outcome, PullOutcome::kPulled);
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(Pull, GlobsSelectAndDirectoriesOnTheWayAreMade) {
  PullBox box;
  const std::size_t a = box.directory("a"), b = box.directory("b", a);
  box.directory("unwanted");
  box.file("x.jpg", noise(10, 1), b);
  box.file("y.txt", noise(10, 2), b);
  box.open();
  PullOptions options;
  options.only = GlobSet({"*.jpg"}, false);
  EXPECT_EQ(box.pull(options).files.size(), 1u);
  EXPECT_THAT(listing(box.to()), ElementsAre("SHA256SUMS", "a/", "a/b/", "a/b/x.jpg", "lacuna-manifest.jsonl"));
}

TEST(Pull, NothingIsWrittenWhenNothingMatches) {
  PullBox box;
  box.file("x.jpg", "x");
  box.open();
  PullOptions options;
  options.only = GlobSet({"*.gif"}, false);
  EXPECT_THAT(box.pull(options).files, IsEmpty());
  EXPECT_FALSE(is_there(box.to()));
}

TEST(Pull, TheDiscsOwnFilesOfOurNames) {
  PullBox box;
  box.file("SHA256SUMS", "theirs");
  box.file("lacuna-manifest.jsonl", "theirs too");
  const std::size_t damaged = box.directory("_damaged");
  box.file("x", "not damaged", damaged);
  box.open();
  const PullReport report = box.pull();
  EXPECT_EQ(read_text(box.to() / box.of(report, "SHA256SUMS").target), "theirs");
  EXPECT_EQ(read_text(box.to() / box.of(report, "lacuna-manifest.jsonl").target), "theirs too");
  EXPECT_FALSE(is_there(box.to() / "_damaged"));
  EXPECT_EQ(box.check_sums(), 0);
  EXPECT_TRUE(verify(box.to())->problems.empty());
}

TEST(Pull, HostileNamesStayInTheFolder) {
  PullBox box;
  const std::size_t up = box.directory("..");
  box.file("outside", "x", up);
  box.file(".", "dot");
  box.file("CON", "device");
  box.open();
  const PullReport report = box.pull();
  EXPECT_EQ(box.of(report, "../outside").target, "%2E%2E/outside");
  EXPECT_EQ(box.of(report, "CON").target, "CON_");
  EXPECT_THAT(listing(box.scratch()), Not(Contains("outside")));
  EXPECT_EQ(box.manifest().at("../outside").target, "%2E%2E/outside");
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(Pull, PathsBeyondPathMax) {
  PullBox box;
  std::size_t at = 0;
  for (int i = 0; i < 300; ++i) at = box.directory("a directory name of thirty", at);
  box.file("deep.txt", "deep", at);
  box.open();
  const PullReport report = box.pull();
  ASSERT_EQ(report.files.size(), 1u);
  EXPECT_EQ(report.files[0].outcome, PullOutcome::kPulled);
  EXPECT_GT(report.files[0].target.size(), 4096u);
  const auto verified = verify(box.to());
  ASSERT_TRUE(verified.ok());
  EXPECT_THAT(verified->problems, IsEmpty());
  EXPECT_EQ(verified->files_right, 1u);
  EXPECT_EQ(shell(box.scratch(), "rm -r out"), 0);
}

TEST(Pull, ThreadsMakeNoDifference) {
  PullBox box;
  std::vector<std::size_t> directories{0};
  for (unsigned i = 0; i < 300; ++i) {
    if (i % 10 == 0) directories.push_back(box.directory("d" + std::to_string(i), directories[i / 30]));
    box.file("f" + std::to_string(i), noise(i * 97, i), directories[i % directories.size()]);
  }
  box.open();
  PullOptions options;
  options.threads = 1;
  box.pull(options);
  const std::string one = box.manifest_body();
  fs::remove_all(box.to());
  options.threads = 8;
  box.pull(options);
  EXPECT_EQ(box.manifest_body(), one);
  EXPECT_EQ(box.check_sums(), 0);
}

TEST(Pull, ProgressGoesToTheEnd) {
  PullBox box;
  box.file("a", noise(5 << 20, 1));
  box.open();
  std::vector<std::uint64_t> done;
  PullOptions options;
  options.progress = [&](const Progress& p) {
    EXPECT_EQ(p.task, "pulling");
    EXPECT_EQ(p.total_bytes, 5u << 20);
    done.push_back(p.done_bytes);
    return true;
  };
  box.pull(options);
  ASSERT_GE(done.size(), 2u);
  EXPECT_TRUE(std::is_sorted(done.begin(), done.end()));
  EXPECT_EQ(done.front(), 0u);
  EXPECT_EQ(done.back(), 5u << 20);
}

TEST(Pull, ManifestTellsTheImage) {
  PullBox box;
  box.file("a", "a");
  box.open(box.memory().open("somewhere/box-17.iso"));
  box.pull();
  std::ifstream in(box.to() / kManifestName);
  std::string line, error;
  std::getline(in, line);
  const auto header = parse_header(line, error);
  ASSERT_TRUE(header) << error;
  EXPECT_EQ(header->schema, "lacuna/manifest/1");
  EXPECT_EQ(header->image.name, "box-17.iso");
  EXPECT_EQ(header->image.bytes, 21u * 2048);
  EXPECT_TRUE(header->map);
  EXPECT_TRUE(header->complete);
  EXPECT_THAT(line, HasSubstr(R"("outcomes":{"pulled":1,)"));
}

}  // namespace
}  // namespace lacuna::test

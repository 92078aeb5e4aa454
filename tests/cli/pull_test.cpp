// SPDX-License-Identifier: GPL-3.0-or-later
// pull and verify from end to end, in good and bad surroundings.
#include <signal.h>
#include <unistd.h>

#include <fstream>

#include "cli/command.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;
using ::testing::IsEmpty;

std::string content(const std::filesystem::path& file) {
  const std::vector<std::uint8_t> bytes = read_file(file);
  return {bytes.begin(), bytes.end()};
}

std::size_t files_below(const std::filesystem::path& folder) {
  std::size_t n = 0;
  for (const auto& e : std::filesystem::recursive_directory_iterator(folder)) n += e.is_regular_file();
  return n;
}

TEST_F(MuseumDisc, PullsWhatIsWholeAndVerifiesIt) {
  const ScratchFolder scratch;
  const std::string to = (scratch / "out").string();
  const std::string damage = map("pull.map", std::to_string(lba_of("Pilot boat, line 1\n")) + " 1 bad\n");
  const ProcessResult r = lacuna({"pull", image(), "--map", damage, "--to", to});
  EXPECT_EQ(r.status, 1) << r.err;
  EXPECT_THAT(r.err, IsEmpty());
  EXPECT_THAT(r.out, HasSubstr("Not whole, left in the image: 1 file\n  Pictures/Pilot boat.jpg"));
  EXPECT_EQ(content(scratch / "out/Pictures/Ice in the basin.jpg"), prose("Ice in the basin", 9000));
  EXPECT_FALSE(std::filesystem::exists(scratch / "out/Pictures/Pilot boat.jpg"));
  EXPECT_TRUE(run_command(scratch / "out", "sha256sum -c SHA256SUMS"));
  EXPECT_EQ(lacuna({"verify", to}).status, 0);
}

TEST_F(MuseumDisc, AllWholeAndPulledEndsWithZero) {
  const ScratchFolder scratch;
  const ProcessResult r =
      lacuna({"pull", image(), "--map", map("good.map", "#! default good\n"), "--to", (scratch / "out").string()});
  EXPECT_EQ(r.status, 0) << r.out << r.err;
  EXPECT_EQ(content(scratch / "out/Pictures/Pilot boat.jpg"), prose("Pilot boat", 30000));
}

TEST_F(MuseumDisc, ADamagedFileOnRequest) {
  const ScratchFolder scratch;
  const std::string damage = map("pull.map", std::to_string(lba_of("Pilot boat, line 1\n")) + " 1 bad\n");
  const ProcessResult r =
      lacuna({"pull", image(), "*.jpg", "--map", damage, "--damaged", "--to", (scratch / "out").string()});
  EXPECT_EQ(r.status, 1);
  const std::string got = content(scratch / "out/_damaged/Pictures/Pilot boat.jpg");
  EXPECT_EQ(got.substr(0, 2048), std::string(2048, '\0'));
  EXPECT_EQ(got.substr(2048), prose("Pilot boat", 30000).substr(2048));
  EXPECT_FALSE(std::filesystem::exists(scratch / "out/Letters"));
}

TEST_F(MuseumDisc, ProgramsCanStayInsideAndAreListed) {
  const ScratchFolder scratch;
  const ProcessResult r = lacuna({"pull", image(), "--map", map("good.map", "#! default good\n"), "--skip-programs",
                                  "--to", (scratch / "out").string()});
  EXPECT_EQ(r.status, 0) << r.out << r.err;
  EXPECT_THAT(r.out, HasSubstr("Programs, left in the image as asked: 1 file\n  Programs/slides.exe"));
  EXPECT_FALSE(std::filesystem::exists(scratch / "out/Programs/slides.exe"));
}

TEST_F(MuseumDisc, AgainDoesNothingAndOthersFilesStay) {
  const ScratchFolder scratch;
  const std::string to = (scratch / "out").string(), good = map("good.map", "#! default good\n");
  write_file(scratch / "out/Read me.txt", "somebody else's");
  const std::vector<std::string> pull{"pull", image(), "--map", good, "--to", to};
  ProcessResult r = lacuna(pull);
  EXPECT_EQ(r.status, 4);
  EXPECT_THAT(r.out, HasSubstr("Something else is in the way: 1 file\n  Read me.txt"));
  EXPECT_EQ(content(scratch / "out/Read me.txt"), "somebody else's");
  r = lacuna({"pull", image(), "--map", good, "--to", to, "--replace"});
  EXPECT_EQ(r.status, 0) << r.out << r.err;
  EXPECT_EQ(content(scratch / "out/Read me.txt"), prose("Contents of the disc", 600));
  r = lacuna(pull);
  EXPECT_EQ(r.status, 0) << r.out << r.err;
  EXPECT_THAT(r.out, HasSubstr("6 files there from before, unchanged"));
}

TEST_F(MuseumDisc, VerifyFindsWhatIsMissingChangedAndSurplus) {
  const ScratchFolder scratch;
  const std::string to = (scratch / "out").string();
  lacuna({"pull", image(), "--to", to});
  std::filesystem::remove(scratch / "out/Read me.txt");
  write_file(scratch / "out/Letters/1981 anchor.txt", prose("The anchor", 6999) + "!");
  write_file(scratch / "out/new.txt", "x");
  const ProcessResult r = lacuna({"verify", to});
  EXPECT_EQ(r.status, 1);
  EXPECT_THAT(r.out, HasSubstr("missing       Read me.txt"));
  EXPECT_THAT(r.out, HasSubstr("changed       Letters/1981 anchor.txt"));
  EXPECT_THAT(r.out, HasSubstr("surplus       new.txt"));
}

TEST_F(MuseumDisc, VerifyOfAFolderWithoutAManifest) {
  const ScratchFolder scratch;
  EXPECT_EQ(lacuna({"verify", scratch.path().string()}).status, 3);
  EXPECT_EQ(lacuna({"verify", (scratch / "nothing").string()}).status, 3);
  write_file(scratch / "lacuna-manifest.jsonl", "not json\n");
  const ProcessResult r = lacuna({"verify", scratch.path().string()});
  EXPECT_EQ(r.status, 3);
  EXPECT_THAT(r.err, HasSubstr("lacuna-manifest.jsonl:1"));
}

TEST_F(MuseumDisc, TargetsThatCannotBeWritten) {
  const ScratchFolder scratch;
  write_file(scratch / "file", "x");
  const auto pull_to = [](const std::string& to) { return lacuna({"pull", image(), "--to", to}); };
  ProcessResult r = pull_to((scratch / "file").string());
  EXPECT_EQ(r.status, 4);
  EXPECT_THAT(r.err, HasSubstr("file"));
  r = pull_to((scratch / "no/such/parent").string());
  EXPECT_EQ(r.status, 4);
  EXPECT_EQ(content(scratch / "file"), "x");
  r = pull_to("/proc/lacuna-test");  // A file system that takes no new files, also for root.
  EXPECT_EQ(r.status, 4) << r.out;
}

TEST_F(MuseumDisc, ADiskThatFillsUpLeavesNothingHalfWrittenAndIsResumed) {
  const ScratchFolder scratch;
  const std::string to = (scratch / "out").string(), good = map("good.map", "#! default good\n");
  // Files beyond 8 kB can't be written: as on a full disk, some of the writes fail.
  const ProcessResult r = lacuna({"pull", image(), "--map", good, "--to", to}, {.largest_file = 8192});
  EXPECT_EQ(r.status, 4) << r.out << r.err;
  EXPECT_FALSE(std::filesystem::exists(scratch / "out/Pictures/Pilot boat.jpg"));
  for (const auto& e : std::filesystem::recursive_directory_iterator(scratch.path())) {
    if (!e.is_regular_file() || e.path().parent_path() == scratch / "out") continue;
    const std::string name = e.path().filename().string();
    if (name == "1974 roof.txt") {
      EXPECT_EQ(content(e.path()), prose("Roof repair", 1500));
    }
    if (name == "1981 anchor.txt") {
      EXPECT_EQ(content(e.path()), prose("The anchor", 7000));
    }
  }
  EXPECT_EQ(lacuna({"pull", image(), "--map", good, "--to", to}).status, 0);
  EXPECT_EQ(content(scratch / "out/Pictures/Pilot boat.jpg"), prose("Pilot boat", 30000));
  EXPECT_EQ(lacuna({"verify", to}).status, 0) << "nothing of the failed run may be left over";
}

TEST(FullDisk, ARealOneOfOneMegabyte) {
  const ScratchFolder scratch;
  // A file system of one's own needs a privilege that not every machine gives.
  const ProcessResult probe = run_process(
      {"/bin/sh", "-c", "mkdir disk && unshare -rm mount -t tmpfs -o size=64k tmpfs disk"}, {.in = scratch.path()});
  if (probe.status != 0) GTEST_SKIP() << "no file system can be mounted here: " << probe.err;
  write_file(scratch / "tree/large.txt", prose("large", 300000));
  write_file(scratch / "tree/small.txt", prose("small", 3000));
  const std::vector<std::uint8_t> bytes = genisoimage(scratch / "tree", "-R");
  write_file(scratch / "image.iso", std::string(bytes.begin(), bytes.end()));
  const std::string script = std::string("mount -t tmpfs -o size=64k tmpfs disk && { ") + LACUNA_COMMAND +
                             " pull image.iso --to disk/out; echo status $?; find disk -name '*large*'; }";
  const ProcessResult r = run_process({"/usr/bin/unshare", "-rm", "/bin/sh", "-c", script}, {.in = scratch.path()});
  EXPECT_THAT(r.out, HasSubstr("status 4\n")) << r.err;
  EXPECT_TRUE(r.out.ends_with("status 4\n")) << "something of the large file is left: " << r.out;
}

TEST(Interrupt, NothingHalfWrittenAndResumed) {
  const ScratchFolder scratch;
  constexpr int kFiles = 3000;
  for (int i = 0; i < kFiles; ++i) {
    const std::string name = "file " + std::to_string(i);
    write_file(scratch / ("tree/" + std::to_string(i % 30) + "/" + name), prose(name, 20000));
  }
  const std::vector<std::uint8_t> bytes = genisoimage(scratch / "tree", "-R");
  write_file(scratch / "image.iso", std::string(bytes.begin(), bytes.end()));
  const std::vector<std::string> pull{"pull", (scratch / "image.iso").string(), "--to", (scratch / "out").string()};

  bool sent = false;
  ProcessOptions options;
  options.meanwhile = [&](int process) {
    if (sent || !std::filesystem::exists(scratch / "out")) return;
    if (std::filesystem::is_empty(scratch / "out")) return;
    kill(process, SIGINT);
    sent = true;
  };
  const ProcessResult r = lacuna(pull, options);
  if (r.status != 130) GTEST_SKIP() << "the pull was done before it could be interrupted: status " << r.status;
  EXPECT_THAT(r.err, HasSubstr("the same command goes on"));
  std::size_t there = 0;
  for (const auto& e : std::filesystem::recursive_directory_iterator(scratch / "out")) {
    const std::string name = e.path().filename().string();
    if (!e.is_regular_file() || !name.starts_with("file ")) continue;
    EXPECT_EQ(content(e.path()), prose(name, 20000));
    ++there;
  }
  EXPECT_LT(there, static_cast<std::size_t>(kFiles));
  EXPECT_EQ(lacuna(pull).status, 0);
  EXPECT_EQ(lacuna({"verify", (scratch / "out").string()}).status, 0);
  EXPECT_EQ(files_below(scratch / "out"), std::size_t{kFiles} + 2);  // The manifest and SHA256SUMS.
}

}  // namespace
}  // namespace lacuna::test

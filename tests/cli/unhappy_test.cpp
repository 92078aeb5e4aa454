// SPDX-License-Identifier: GPL-3.0-or-later
// Wrong requests, inputs that are no image, and output that nobody takes.
#include "cli/command.h"

namespace lacuna::test {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;
using ::testing::StartsWith;

constexpr const char* kSubcommands[] = {"survey", "files", "hits", "pull", "map", "verify"};

TEST(Help, OfTheCommandAndOfEachSubcommand) {
  const ProcessResult all = lacuna({"--help"});
  EXPECT_EQ(all.status, 0);
  EXPECT_THAT(all.out, AllOf(HasSubstr("Usage: lacuna [OPTIONS] SUBCOMMAND"), HasSubstr("Exit status: 0 all")));
  for (const char* sub : kSubcommands) {
    EXPECT_THAT(all.out, HasSubstr(std::string("\n  ") + sub));
    const ProcessResult r = lacuna({sub, "--help"});
    EXPECT_EQ(r.status, 0) << sub;
    EXPECT_THAT(r.err, IsEmpty()) << sub;
    EXPECT_THAT(r.out, AllOf(HasSubstr(std::string("Usage: lacuna ") + sub), HasSubstr("Examples:\n  lacuna "),
                             HasSubstr("Exit status: 0 ")))
        << sub;
  }
}

TEST(Help, NoLineIsWiderThanATerminalOfAHundredAndTwenty) {
  for (const char* sub : kSubcommands) {
    const std::string text = lacuna({sub, "--help"}).out;
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t end = text.find('\n', at);
      EXPECT_LE(end - at, 120u) << text.substr(at, end - at);
      at = end + 1;
    }
  }
}

TEST(Help, VersionIsOneLine) {
  const ProcessResult r = lacuna({"--version"});
  EXPECT_EQ(r.status, 0);
  EXPECT_THAT(r.out, ::testing::MatchesRegex("lacuna [0-9]+\\.[0-9]+\\.[0-9]+\n"));
}

TEST(Usage, WrongRequestsEndWithTwoAndSayWhere) {
  const std::vector<std::vector<std::string>> requests = {
      {},
      {"nonsense"},
      {"files"},
      {"files", "x.iso", "--no-such-option"},
      {"files", "x.iso", "--state", "broken"},
      {"files", "x.iso", "--format", "xml"},
      {"files", "x.iso", "--view", "fat"},
      {"files", "x.iso", "--session", "last"},
      {"files", "x.iso", "--session", "0"},
      {"files", "x.iso", "--starts-at", "12k"},
      {"files", "x.iso", "--starts-at", "-1"},
      {"files", "x.iso", "--starts-at", "0x"},
      {"files", "x.iso", "--starts-at", "99999999999999999999"},
      {"files", "x.iso", "--session-starts", "0,ten"},
      {"files", "x.iso", "--map-good", "ok"},  // Says nothing without --map-columns.
      {"files", "x.iso", "--threads", "many"},
      {"pull", "x.iso"},  // Where to?
      {"verify"},
      {"survey", "x.iso", "--format", "csv"},
  };
  for (const auto& request : requests) {
    const ProcessResult r = lacuna(request);
    EXPECT_EQ(r.status, 2) << ::testing::PrintToString(request) << r.err;
    EXPECT_THAT(r.out, IsEmpty());
    EXPECT_THAT(r.err, AllOf(StartsWith("lacuna: "), HasSubstr("--help"))) << ::testing::PrintToString(request);
  }
}

TEST(Unreadable, InputsThatAreNoImageEndWithThree) {
  const ScratchFolder scratch;
  write_file(scratch / "empty.iso", "");
  write_file(scratch / "letter.txt", prose("A letter", 5000));
  write_file(scratch / "long.txt", prose("A long text", 200000));
  std::filesystem::create_directory(scratch / "folder");
  for (const char* name : {"no such file.iso", "empty.iso", "letter.txt", "long.txt", "folder"}) {
    for (const char* sub : {"survey", "files", "hits"}) {
      const ProcessResult r = lacuna({sub, (scratch / name).string()});
      EXPECT_EQ(r.status, 3) << sub << " " << name;
      EXPECT_THAT(r.out, IsEmpty()) << sub << " " << name;
      EXPECT_THAT(r.err, AllOf(StartsWith("lacuna: "), HasSubstr(name))) << sub;
    }
  }
  EXPECT_EQ(lacuna({"pull", (scratch / "long.txt").string(), "--to", (scratch / "out").string()}).status, 3);
  EXPECT_FALSE(std::filesystem::exists(scratch / "out"));
}

TEST_F(MuseumDisc, BadMapsAreNamedWithTheirLine) {
  ProcessResult r = lacuna({"files", image(), "--map", map("broken.map", "# fine\n10 2 bad\n20 2 dusty\n")});
  EXPECT_EQ(r.status, 2);
  EXPECT_THAT(r.err, HasSubstr("broken.map:3"));
  EXPECT_THAT(r.out, IsEmpty());
  r = lacuna({"files", image(), "--map", (folder() / "no.map").string()});
  EXPECT_EQ(r.status, 3);
  EXPECT_THAT(r.err, HasSubstr("no.map"));
  r = lacuna({"files", image(), "--map", folder().path().string()});
  EXPECT_EQ(r.status, 3);
}

TEST_F(MuseumDisc, AMapOfAnotherUnitIsNoticedOrDescribed) {
  // 512-byte units taken for sectors: the bad run lies far behind the image's end, which is said.
  const std::uint64_t pilot = lba_of("Pilot boat, line 1\n");
  const std::string log = map("units.map", std::to_string(pilot * 4 + 4000) + " 4 bad\n");
  EXPECT_THAT(lacuna({"files", image(), "--map", log}).err, HasSubstr("units.map"));
  const std::string described = map("units.log", std::to_string(pilot * 4) + ";4;bad\n");
  const ProcessResult r = lacuna({"files", image(), "--map", described, "--map-columns", "first,count,state",
                                  "--map-unit", "512", "--map-bad", "bad", "--state", "damaged", "--format", "csv"});
  EXPECT_THAT(r.out, HasSubstr("Pictures/Pilot boat.jpg,file,30000,damaged,2048,0+2048,")) << r.err;
}

TEST_F(MuseumDisc, ASessionOrCharsetThatIsNotThere) {
  EXPECT_EQ(lacuna({"files", image(), "--session", "7"}).status, 2);
  EXPECT_EQ(lacuna({"files", image(), "--names-charset", "no-such-charset"}).status, 2);
}

TEST_F(MuseumDisc, StandardOutputThatTakesNothing) {
  const ProcessResult full = lacuna({"files", image()}, {.stdout_to = "/dev/full"});
  EXPECT_EQ(full.status, 4);
  EXPECT_THAT(full.err, HasSubstr("standard output: No space left on device"));
  const ProcessResult closed = lacuna({"files", image()}, {.stdout_closed = true});
  EXPECT_EQ(closed.status, 4);
  EXPECT_THAT(closed.err, HasSubstr("standard output"));
}

TEST_F(MuseumDisc, ClosedStandardOutputNeverHitsAFileOfOurs) {
  // With standard output closed the first file opened would get its number, and the report be written into it.
  const ScratchFolder scratch;
  lacuna({"pull", image(), "--to", (scratch / "out").string()}, {.stdout_closed = true});
  EXPECT_EQ(lacuna({"verify", (scratch / "out").string()}).status, 0);
}

TEST(ClosedPipe, TheCommandEndsQuietly) {
  const ScratchFolder scratch;
  for (int i = 0; i < 4000; ++i) write_file(scratch / ("tree/a name that fills the pipe " + std::to_string(i)), "");
  const std::vector<std::uint8_t> bytes = genisoimage(scratch / "tree", "-R");
  write_file(scratch / "image.iso", std::string(bytes.begin(), bytes.end()));
  for (const char* format : {"text", "json", "ndjson", "csv"}) {
    const ProcessResult r =
        lacuna({"files", (scratch / "image.iso").string(), "--format", format, "--quiet"}, {.stdout_reads = 100});
    EXPECT_EQ(r.status, 141) << format;  // 128 + SIGPIPE
    EXPECT_THAT(r.err, IsEmpty()) << format;
    EXPECT_EQ(r.out.size(), 100u);
  }
}

TEST(HostileNames, NothingReachesATerminalAsItStands) {
  const ScratchFolder scratch;
  write_file(scratch / "tree/red\x1b[31m.txt", "x");
  const std::vector<std::uint8_t> bytes = genisoimage(scratch / "tree", "-R");
  write_file(scratch / "image.iso", std::string(bytes.begin(), bytes.end()));
  const ProcessResult r = lacuna({"files", (scratch / "image.iso").string()});
  EXPECT_THAT(r.out, Not(HasSubstr("\x1b")));
  EXPECT_THAT(r.out, HasSubstr("red%1B[31m.txt"));
  // The user's own words neither.
  EXPECT_THAT(lacuna({"files", "\x1b[31m.iso"}).err, Not(HasSubstr("\x1b")));
}

}  // namespace
}  // namespace lacuna::test

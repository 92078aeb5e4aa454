// SPDX-License-Identifier: GPL-3.0-or-later
// The command from end to end on a small disc: what it prints and how it ends.
#include <rapidjson/document.h>

#include "cli/command.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;
using ::testing::StartsWith;

std::string good_map() { return "#! default good\n"; }

TEST_F(MuseumDisc, AWholeDiscEndsWithZero) {
  const std::string all_good = map("good.map", good_map());
  for (const char* sub : {"survey", "files", "hits", "map"}) {
    const ProcessResult r = lacuna({sub, image(), "--map", all_good});
    EXPECT_EQ(r.status, 0) << sub << "\n" << r.out << r.err;
    EXPECT_THAT(r.err, IsEmpty()) << sub;
  }
}

TEST_F(MuseumDisc, FilesOfADamagedDiscAsPrinted) {
  const std::uint64_t pilot = lba_of("Pilot boat, line 1\n"), roof = lba_of("Roof repair, line 1\n");
  const std::string damage =
      map("damage.map", std::to_string(pilot + 2) + " 3 bad\n" + std::to_string(roof) + " 1 unread\n");
  const ProcessResult r = lacuna({"files", image(), "--map", damage});
  EXPECT_EQ(r.status, 1);
  EXPECT_THAT(r.err, IsEmpty());
  EXPECT_EQ(r.out,
            "state          size   missing  date              path\n"
            "lost         1.5 kB    1.5 kB  2004-03-09 16:20  Letters/1974 roof.txt\n"
            "whole          7 kB            2004-03-09 16:20  Letters/1981 anchor.txt\n"
            "whole          9 kB            2004-03-09 16:20  Pictures/Ice in the basin.jpg\n"
            "damaged       30 kB   6.14 kB  2004-03-09 16:20  Pictures/Pilot boat.jpg\n"
            "whole          3 kB            2004-03-09 16:20  Programs/slides.exe\n"
            "whole         600 B            2004-03-09 16:20  Read me.txt\n"
            "\n"
            "whole       19.6 kB            4 files\n"
            "damaged       30 kB   6.14 kB  1 file\n"
            "lost         1.5 kB    1.5 kB  1 file\n");
}

TEST_F(MuseumDisc, HitsOfADamagedDiscAsPrinted) {
  const std::uint64_t pilot = lba_of("Pilot boat, line 1\n");
  const std::string damage = map("hits.map", std::to_string(pilot + 2) + " 3 bad\n");
  const ProcessResult r = lacuna({"hits", image(), "--map", damage});
  EXPECT_EQ(r.status, 1);
  EXPECT_EQ(r.out, "1 range, 3 sectors: 1 file and 0 structures of the file system hit.\n\nLBA " +
                       std::to_string(pilot + 2) + " to " + std::to_string(pilot + 4) +
                       "  bad  3 sectors\n   6.14 kB  Pictures/Pilot boat.jpg, from byte 4096\n");
}

TEST_F(MuseumDisc, SurveySuggestsCommandsThatRun) {
  const std::string damage = map("a map.map", std::to_string(lba_of("Pilot boat, line 1\n")) + " 1 bad\n");
  const ProcessResult r = lacuna({"survey", image(), "--map", damage, "--format", "json"});
  EXPECT_EQ(r.status, 1);
  rapidjson::Document d;
  ASSERT_FALSE(d.Parse(r.out.c_str()).HasParseError());
  EXPECT_STREQ(d["schema"].GetString(), "lacuna/survey/1");
  EXPECT_STREQ(d["summary"]["volume"].GetString(), "HARBOUR_MUSEUM");
  const ScratchFolder scratch;
  int commands = 0;
  for (const auto& step : d["next"].GetArray()) {
    if (!step.HasMember("command")) continue;
    const std::string command = step["command"].GetString();
    ASSERT_THAT(command, StartsWith("lacuna "));
    const ProcessResult run = run_process(
        {"/bin/sh", "-c", std::string(LACUNA_COMMAND) + command.substr(command.find(' '))}, {.in = scratch.path()});
    EXPECT_LE(run.status, 1) << command << "\n" << run.err;
    ++commands;
  }
  EXPECT_GE(commands, 3);
}

TEST_F(MuseumDisc, OptionsOfUdfAreTakenByEveryCommandAndRepeatedInSuggestions) {
  const ProcessResult survey = lacuna({"survey", image(), "--deleted", "--streams"});
  EXPECT_EQ(survey.status, 0);
  EXPECT_THAT(survey.out, HasSubstr("museum.iso --deleted --streams --to museum-files\n"));
  const ScratchFolder scratch;
  const std::string to = (scratch / "out").string();
  for (std::vector<std::string> request : {std::vector<std::string>{"files", image()},
                                           {"hits", image()},
                                           {"map", image()},
                                           {"pull", image(), "--to", to}}) {
    const ProcessResult plain = lacuna(request);
    request.insert(request.end(), {"--deleted", "--streams"});
    const ProcessResult r = lacuna(request);
    EXPECT_EQ(r.status, plain.status) << request[0] << r.err;
    if (request[0] == "files") {
      EXPECT_EQ(r.out, plain.out) << "this disc has neither";
    }
    const std::string help = lacuna({request[0], "--help"}).out;
    EXPECT_THAT(help, HasSubstr("--deleted")) << request[0];
    EXPECT_THAT(help, HasSubstr("--streams")) << request[0];
  }
}

TEST_F(MuseumDisc, AViewThatTheDiscDoesNotHave) {
  const ProcessResult r = lacuna({"files", image(), "--view", "udf"});
  EXPECT_GE(r.status, 2);
  EXPECT_THAT(r.err, HasSubstr("udf"));
  EXPECT_EQ(r.out, "");
}

TEST(BridgeDisc, IsOneTreeAndEachOfItsViewsOnRequest) {
  const ScratchFolder scratch;
  write_file(scratch / "tree/Long name of a letter.txt", prose("Letter", 5000));
  const std::vector<std::uint8_t> bytes = genisoimage(scratch / "tree", "-udf");
  write_file(scratch / "bridge.iso", std::string(bytes.begin(), bytes.end()));
  const std::string image = (scratch / "bridge.iso").string();
  for (const char* view : {"udf", "all"}) {
    std::vector<std::string> request{"files", image, "--format", "csv"};
    if (std::string(view) != "all") request.insert(request.end(), {"--view", view});
    const ProcessResult r = lacuna(request);
    EXPECT_EQ(r.status, 0) << view << r.err;
    EXPECT_THAT(r.out, HasSubstr("\r\nLong name of a letter.txt,file,5000,whole,")) << view;
    EXPECT_EQ(std::count(r.out.begin(), r.out.end(), '\n'), 2) << view << r.out;
  }
  EXPECT_THAT(lacuna({"survey", image}).out, HasSubstr("\n  UDF         revision 1.02"));
}

TEST_F(MuseumDisc, SuggestionsForAnImageNamedLikeAnOption) {
  std::filesystem::copy_file(image(), folder() / "-q.iso", std::filesystem::copy_options::overwrite_existing);
  const ProcessResult r = lacuna({"survey", "--", "-q.iso"}, {.in = folder().path()});
  EXPECT_THAT(r.out, HasSubstr("lacuna pull ./-q.iso --to disc-files\n"));
}

TEST_F(MuseumDisc, WithoutAMapTheBasisIsSaidFirst) {
  const ProcessResult r = lacuna({"survey", image()});
  EXPECT_EQ(r.status, 0) << r.out;
  EXPECT_THAT(r.out, StartsWith("Basis: assumed."));
  EXPECT_THAT(lacuna({"survey", image(), "--no-look-inside"}).out, HasSubstr("Contents were not looked at"));
}

TEST_F(MuseumDisc, AFilledHoleIsDoubtfulWithoutAMap) {
  std::vector<std::uint8_t> bytes = read_file(image());
  const std::uint64_t hole = lba_of("Pilot boat, line 1\n") + 3;
  std::fill_n(bytes.begin() + static_cast<std::ptrdiff_t>(hole * 2048), 2048, std::uint8_t{0});
  write_file(folder() / "filled.iso", std::string(bytes.begin(), bytes.end()));
  const std::string filled = (folder() / "filled.iso").string();

  const ProcessResult looked = lacuna({"files", filled, "--state", "doubtful", "--format", "csv"});
  EXPECT_EQ(looked.status, 1);
  EXPECT_THAT(looked.out, HasSubstr("Pictures/Pilot boat.jpg,file,30000,doubtful,0,,6144+2048,"));
  EXPECT_EQ(lacuna({"files", filled, "--no-look-inside"}).status, 0);

  // What was inferred, written as a map and given back, says the same.
  const ProcessResult inferred = lacuna({"map", filled});
  EXPECT_EQ(inferred.status, 1);
  const ProcessResult again = lacuna({"files", filled, "--map", map("inferred.map", inferred.out), "--format", "csv"});
  EXPECT_THAT(again.out, HasSubstr("Pictures/Pilot boat.jpg,file,30000,doubtful,0,,6144+2048,"));
}

TEST_F(MuseumDisc, ATruncatedImageSaysWhatItLost) {
  std::vector<std::uint8_t> bytes = read_file(image());
  bytes.resize((lba_of("Pilot boat, line 1\n") + 4) * 2048);
  write_file(folder() / "cut.iso", std::string(bytes.begin(), bytes.end()));
  const ProcessResult r = lacuna({"survey", (folder() / "cut.iso").string()});
  EXPECT_EQ(r.status, 1);
  EXPECT_THAT(r.out, HasSubstr("Image the rest: the volume says that it goes on to LBA "));
  EXPECT_THAT(r.out, HasSubstr("absent"));
}

TEST_F(MuseumDisc, NumberedPartsAreFoundFromTheFirst) {
  const std::vector<std::uint8_t> bytes = read_file(image());
  const std::string all(bytes.begin(), bytes.end());
  // The last of a set is the smaller one; parts given one by one may have any size.
  const std::size_t cut = (all.size() / 2048 / 2 + 1) * 2048;
  write_file(folder() / "parts/museum.001", all.substr(0, cut));
  write_file(folder() / "parts/museum.002", all.substr(cut));
  write_file(folder() / "parts/other-name", all.substr(cut));
  const std::string expected = lacuna({"files", image(), "--format", "csv"}).out;
  const std::string first = (folder() / "parts/museum.001").string();
  EXPECT_EQ(lacuna({"files", first, "--format", "csv"}).out, expected);
  std::filesystem::rename(first, folder() / "parts/a");
  EXPECT_EQ(lacuna({"files", (folder() / "parts/a").string(), "--part", (folder() / "parts/other-name").string(),
                    "--format", "csv"})
                .out,
            expected);
}

TEST_F(MuseumDisc, GlobsAndStatesSelect) {
  const std::string damage = map("select.map", std::to_string(lba_of("Pilot boat, line 1\n")) + " 1 bad\n");
  ProcessResult r = lacuna({"files", image(), "Letters/*", "--map", damage});
  EXPECT_EQ(r.status, 0) << r.out;  // What was asked for is whole.
  EXPECT_THAT(r.out, HasSubstr("1974 roof.txt"));
  EXPECT_THAT(r.out, Not(HasSubstr("Pilot boat")));
  r = lacuna({"files", image(), "--map", damage, "*.jpg", "--state", "damaged,lost"});
  EXPECT_EQ(r.status, 1);
  EXPECT_THAT(r.out, HasSubstr("Pilot boat"));
  EXPECT_THAT(r.out, Not(HasSubstr("Ice in the basin")));
}

TEST_F(MuseumDisc, AGlobThatMatchesNothingIsSaid) {
  const ProcessResult r = lacuna({"files", image(), "*.txt", "*.tiff", "--map", map("good.map", good_map())});
  EXPECT_EQ(r.status, 1);
  EXPECT_THAT(r.err, HasSubstr("'*.tiff' matches nothing"));
  EXPECT_THAT(r.err, Not(HasSubstr("*.txt")));
}

TEST_F(MuseumDisc, JolietAloneOnRequest) {
  const ProcessResult r = lacuna({"files", image(), "--view", "joliet", "--format", "ndjson"});
  EXPECT_THAT(r.out, HasSubstr("\"view\":\"joliet\""));
  EXPECT_THAT(r.out, Not(HasSubstr("\"view\":\"rockridge\"")));
}

TEST_F(MuseumDisc, MapsConvertBetweenTheirForms) {
  const std::string log = map("reader.log", "40,2,failed\n# note\n0x50,1,failed\n60,1,read\n");
  const std::vector<std::string> described = {"--map",      log,    "--map-columns", "first,count,state",
                                              "--map-good", "read", "--map-bad",     "failed"};
  std::vector<std::string> arguments{"map", image(), "--format", "json"};
  arguments.insert(arguments.end(), described.begin(), described.end());
  const ProcessResult json = lacuna(arguments);
  EXPECT_EQ(json.status, 1) << json.err;
  const ProcessResult text = lacuna({"map", image(), "--map", map("again.json", json.out)});
  EXPECT_THAT(text.out, HasSubstr("\n40 2 bad\n"));
  EXPECT_THAT(text.out, HasSubstr("\n80 1 bad\n"));
  EXPECT_EQ(lacuna({"map", image(), "--map", map("again.map", text.out), "--format", "json"}).out, json.out);
}

TEST_F(MuseumDisc, QuietAndProgressOffLeaveStandardErrorEmpty) {
  const std::uint64_t directory = lba_of("1974_ROO.TXT");
  const std::string damage = map("directory.map", std::to_string(directory) + " 1 bad\n");
  EXPECT_THAT(lacuna({"files", image(), "--map", damage, "--view", "rockridge"}).err, HasSubstr("directory"));
  EXPECT_THAT(lacuna({"files", image(), "--map", damage, "--view", "rockridge", "--quiet"}).err, IsEmpty());
}

TEST_F(MuseumDisc, ATerminalSeesProgressAndThenNothingOfIt) {
  // script(1) runs a command on a terminal of its own; results go elsewhere, so that only standard error is seen.
  if (!std::filesystem::exists("/usr/bin/script")) GTEST_SKIP() << "no script(1) here to make a terminal";
  const auto on_terminal = [](const std::string& options) {
    const std::string command = std::string(LACUNA_COMMAND) + " files '" + image() + "' " + options + " >/dev/null";
    return run_process({"/usr/bin/script", "-qec", command, "/dev/null"}).out;
  };
  const std::string seen = on_terminal("");
  EXPECT_THAT(seen, HasSubstr(" %"));
  EXPECT_TRUE(seen.ends_with(" \r")) << "the line is overwritten with blanks at the end: " << seen;
  EXPECT_THAT(on_terminal("--progress off"), IsEmpty());
  EXPECT_THAT(on_terminal("--quiet"), IsEmpty());
  EXPECT_THAT(lacuna({"files", image()}).err, IsEmpty()) << "no terminal, no progress";
}

TEST_F(MuseumDisc, AnUnreadableDirectoryMakesEveryOpenQuestionALoss) {
  // The Rock Ridge tree's directory of letters can't be read, and no other view is asked.
  const std::string damage = map("directory.map", std::to_string(lba_of("1974_ROO.TXT")) + " 1 bad\n");
  const std::vector<std::string> base{"files", image(), "--map", damage, "--view", "rockridge"};
  const auto with = [&base](const std::string& glob) {
    std::vector<std::string> arguments = base;
    arguments.push_back(glob);
    return lacuna(arguments);
  };
  EXPECT_EQ(lacuna(base).status, 1);
  EXPECT_EQ(with("*.jpg").status, 1);                          // There may have been one in it.
  EXPECT_EQ(with("Pictures/Ice in the basin.jpg").status, 0);  // One named file, and it is whole.
}

}  // namespace
}  // namespace lacuna::test

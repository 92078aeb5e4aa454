// SPDX-License-Identifier: GPL-3.0-or-later
#include <gmock/gmock.h>

#include "report/museum.h"

namespace lacuna::test {
namespace {

using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::StartsWith;

std::string survey(const Museum& m, Format format, const ReportContext& context = {}) {
  return text_of([&](const Sink& sink) { write_survey(m.disc(), m.verdicts(), m.hits(), context, format, sink); });
}

TEST(SurveyText, SaysWhatIsHurtAndWhatCanBeHad) {
  const Museum m;
  const std::vector<std::string> lines = lines_of(survey(m, Format::kText));
  EXPECT_THAT(lines, Contains("THE DISC   HARBOUR_1998"));
  EXPECT_THAT(lines, Contains("  good                 94    94.0 %"));
  EXPECT_THAT(lines, Contains("  bad                   4     4.0 %"));
  EXPECT_THAT(lines, Contains("1 STRUCTURE of the file system hurt"));
  EXPECT_THAT(lines, Contains("  LBA 45        bad      path table L (iso9660)"));
  EXPECT_THAT(lines, Contains("1 DIRECTORY could not be read in full"));
  EXPECT_THAT(lines, Contains("  LBA 80        Sommer %E5r/ (iso9660): 1 of 1 sector missing"));
  EXPECT_THAT(lines, Contains("                another view names 2 entries in it"));
  EXPECT_THAT(lines, Contains("  damaged               1     10 kB   4.1 kB missing"));
}

TEST(SurveyText, LinesFitATerminal) {
  const Museum m;
  for (const std::string& line : lines_of(survey(m, Format::kText))) {
    // The finding's sentence is the disc's own business; everything of ours is short.
    if (line.find("volume space size") != std::string::npos) continue;
    EXPECT_LE(line.size(), 100u) << line;
  }
}

TEST(SurveyText, SuggestedCommandsRepeatTheUsersArguments) {
  const Museum m("my museum.iso");
  EXPECT_THAT(survey(m, Format::kText), HasSubstr("lacuna pull 'my museum.iso' --to 'my museum-files'"));
  const ReportContext context{"'my museum.iso' --map m.map", true};
  const std::string text = survey(m, Format::kText, context);
  EXPECT_THAT(text, HasSubstr("lacuna pull 'my museum.iso' --map m.map --to 'my museum-files'\n"));
  EXPECT_THAT(text, HasSubstr("lacuna pull 'my museum.iso' --map m.map --to 'my museum-files' --damaged\n"));
  EXPECT_THAT(text, HasSubstr("lacuna files 'my museum.iso' --map m.map --session all\n"));
  EXPECT_THAT(text, HasSubstr("lacuna files 'my museum.iso' --map m.map --state doubtful\n"));
}

TEST(SurveyText, AnAssumedBasisStandsAtTheTop) {
  const Museum m("museum.iso", false);
  EXPECT_THAT(survey(m, Format::kText), StartsWith("Basis: assumed."));
  EXPECT_THAT(survey(m, Format::kText), Not(HasSubstr("--no-look-inside")));
  EXPECT_THAT(survey(m, Format::kText, {"museum.iso", false}), HasSubstr("--no-look-inside"));
  EXPECT_THAT(survey(Museum(), Format::kText), StartsWith("THE DISC"));
}

TEST(SurveyText, TheVolumesOwnEndBehindTheImageIsSaid) {
  const Museum m;
  EXPECT_THAT(survey(m, Format::kText), HasSubstr("it goes on to LBA 119, the image ends at LBA 99"));
}

TEST(SurveyJson, TheSameFactsWithEveryFinding) {
  const Museum m;
  const rapidjson::Document d = json_of(survey(m, Format::kJson));
  EXPECT_STREQ(d["schema"].GetString(), "lacuna/survey/1");
  const auto& sectors = d["summary"]["sectors"];
  EXPECT_EQ(keys_of(sectors), "good,repaired,suspect,bad,unread,absent");
  EXPECT_EQ(sectors["good"].GetUint64(), 94u);
  EXPECT_EQ(sectors["bad"].GetUint64(), 4u);
  EXPECT_EQ(sectors["unread"].GetUint64(), 1u);
  EXPECT_EQ(sectors["suspect"].GetUint64(), 1u);
  EXPECT_EQ(d["summary"]["idle_sectors"].GetUint64(), 1u);
  EXPECT_EQ(d["summary"]["volume_end_lba"].GetUint64(), 120u);
  ASSERT_EQ(d["sessions"].Size(), 2u);
  EXPECT_STREQ(d["sessions"][1]["volumes"][0]["application"].GetString(), "BURNING, \"ALL OF IT\"");
  EXPECT_STREQ(d["also_present"][0].GetString(), "UDF");
  ASSERT_EQ(d["hurt_structures"].Size(), 1u);
  EXPECT_EQ(d["hurt_structures"][0]["lba"].GetUint64(), 45u);
  EXPECT_EQ(d["hurt_structures"][0]["hurt_bytes"].GetUint64(), 40u);
  ASSERT_EQ(d["lost_directories"].Size(), 1u);
  EXPECT_STREQ(d["lost_directories"][0]["path"].GetString(), "Sommer %E5r");
  EXPECT_EQ(d["lost_directories"][0]["missing"][0]["lba"].GetUint64(), 80u);
  EXPECT_EQ(d["lost_directories"][0]["entries_elsewhere"].GetUint64(), 2u);
  EXPECT_TRUE(d["lost_directories"][0]["subdirectories"].IsNull());
  ASSERT_EQ(d["findings"].Size(), 1u);
  EXPECT_STREQ(d["findings"][0]["severity"].GetString(), "doubt");
  EXPECT_STREQ(d["findings"][0]["clause"].GetString(), "ECMA-119 8.4.8");
  EXPECT_EQ(d["finding_counts"]["both-endian"].GetUint64(), 1u);
  EXPECT_GT(d["next"].Size(), 3u);
}

TEST(HitsText, RangeByRange) {
  const Museum m;
  const std::vector<std::string> lines =
      lines_of(text_of([&](const Sink& s) { write_hits(m.disc(), m.verdicts(), m.hits(), {}, Format::kText, s); }));
  EXPECT_EQ(lines[0], "5 ranges, 6 sectors: 3 files and 1 structure of the file system hit.");
  const auto at = std::ranges::find(lines, "LBA 30 to 31  bad  2 sectors");
  ASSERT_NE(at, lines.end());
  EXPECT_EQ(*std::next(at), "    4.1 kB  photos/mast, \"fore\".jpg, from byte 4096");
  const auto table = std::ranges::find(lines, "LBA 45  bad  1 sector");
  ASSERT_NE(table, lines.end());
  EXPECT_EQ(*std::next(table), "      40 B  path table L (iso9660)");
  const auto idle = std::ranges::find(lines, "LBA 99  bad  1 sector");
  ASSERT_NE(idle, lines.end());
  EXPECT_EQ(*std::next(idle), "            1 sector used by nothing that is known");
}

TEST(HitsText, ManyNamesAreCutShortAndJsonHasThemAll) {
  const std::unique_ptr<Image> image = MemoryImage(numbered_sectors(30)).mark(20, 10, SectorState::kBad).open();
  HandDisc hand(*image);
  for (std::uint64_t i = 0; i < 9; ++i) hand.file("f" + std::to_string(i), 20 + i, 2048);
  const Disc& disc = hand.finish();
  const Verdicts verdicts = judge(disc).value();
  const Hits hits = find_hits(disc, verdicts);
  const std::string text = text_of([&](const Sink& s) { write_hits(disc, verdicts, hits, {}, Format::kText, s); });
  EXPECT_THAT(text, HasSubstr("f4, from byte 0\n            and 4 more\n"));
  EXPECT_THAT(text, Not(HasSubstr("f5,")));
  const rapidjson::Document d =
      json_of(text_of([&](const Sink& s) { write_hits(disc, verdicts, hits, {}, Format::kJson, s); }));
  EXPECT_STREQ(d["schema"].GetString(), "lacuna/hits/1");
  ASSERT_EQ(d["hits"].Size(), 1u);
  EXPECT_EQ(d["hits"][0]["files"].Size(), 9u);
  EXPECT_EQ(d["hits"][0]["idle_sectors"].GetUint64(), 1u);
  EXPECT_EQ(d["summary"]["files_hit"].GetUint64(), 9u);
}

TEST(HitsCsv, OneRecordATarget) {
  const Museum m;
  const std::string text =
      text_of([&](const Sink& s) { write_hits(m.disc(), m.verdicts(), m.hits(), {}, Format::kCsv, s); });
  EXPECT_THAT(text, HasSubstr("45,1,bad,0,path table L,iso9660,,0,40\r\n"));
  EXPECT_THAT(text, HasSubstr("30,2,bad,0,file,iso9660,\"photos/mast, \"\"fore\"\".jpg\",4096,4096\r\n"));
  EXPECT_THAT(text, HasSubstr("99,1,bad,1,,,,,\r\n"));
}

TEST(HitsNdjson, AHeaderLineThenARangeALine) {
  const Museum m;
  const std::vector<std::string> lines =
      lines_of(text_of([&](const Sink& s) { write_hits(m.disc(), m.verdicts(), m.hits(), {}, Format::kNdjson, s); }));
  ASSERT_EQ(lines.size(), 6u);
  EXPECT_EQ(keys_of(json_of(lines[0])), "schema,image,summary");
  EXPECT_EQ(keys_of(json_of(lines[1])), "lba,sectors,state,idle_sectors,structures,files");
}

class PullText : public ::testing::Test {
 protected:
  void add(const char* path, PullOutcome outcome, const char* why = "") {
    report_.files.push_back({m_.id(path), outcome, outcome == PullOutcome::kPulled ? path : "", why});
    ++report_.counts[static_cast<std::size_t>(outcome)];
  }
  std::string write(Format format) {
    return text_of([&](const Sink& s) { write_pull(m_.disc(), m_.verdicts(), report_, options_, {}, format, s); });
  }
  Museum m_;
  PullReport report_;
  PullOptions options_{.to = "out folder", .only = {}, .bag_info = {}, .progress = {}};
};

TEST_F(PullText, SaysWhatCameAndWhatDidNot) {
  add("photos/pier.jpg", PullOutcome::kPulled);
  add("photos/doubt.jpg", PullOutcome::kPulled);
  add("photos/lost.jpg", PullOutcome::kLeftDamaged, "2,000 bytes missing");
  add("Long name.txt", PullOutcome::kBlocked, "a folder of that name is there");
  report_.bytes_written = 8048;
  const std::string text = write(Format::kText);
  EXPECT_THAT(text, StartsWith("8.05 kB written to 'out folder': 2 files\n"));
  EXPECT_THAT(text, HasSubstr("  whole                 1      6 kB\n"));
  EXPECT_THAT(text, HasSubstr("  doubtful              1   2.05 kB\n"));
  EXPECT_THAT(text, HasSubstr("Not whole, left in the image: 1 file\n  photos/lost.jpg: 2,000 bytes missing\n"));
  EXPECT_THAT(text,
              HasSubstr("Something else is in the way: 1 file\n  Long name.txt: a folder of that name is there\n"));
  EXPECT_THAT(text, HasSubstr("lacuna pull museum.iso --to 'out folder' --damaged\n"));
  EXPECT_THAT(text, HasSubstr("lacuna verify 'out folder'\n"));
}

TEST_F(PullText, JsonHasEveryFile) {
  add("photos/pier.jpg", PullOutcome::kPulled);
  add("photos/lost.jpg", PullOutcome::kLeftDamaged, "missing");
  const rapidjson::Document d = json_of(write(Format::kJson));
  EXPECT_STREQ(d["schema"].GetString(), "lacuna/pull/1");
  EXPECT_STREQ(d["to"].GetString(), "out folder");
  ASSERT_EQ(d["files"].Size(), 2u);
  EXPECT_EQ(keys_of(d["files"][0]), "path,size,state,missing_bytes,basis,outcome,target");
  EXPECT_STREQ(d["files"][1]["state"].GetString(), "lost");
  EXPECT_STREQ(d["files"][1]["why"].GetString(), "missing");
}

TEST(VerifyText, ProblemsByPath) {
  VerifyReport report;
  report.files_right = 3;
  report.bytes_right = 1500;
  report.not_whole = 1;
  const auto write = [&report](Format f) { return text_of([&](const Sink& s) { write_verify(report, "out", f, s); }); };
  EXPECT_THAT(write(Format::kText), StartsWith("out: all as the manifest says, 3 files, 1.5 kB.\n"));
  EXPECT_THAT(write(Format::kText), HasSubstr("1 file of this disc was not whole in the image"));
  report.problems.push_back({VerifyProblem::Kind::kChanged, "a\nb", "another checksum"});
  EXPECT_THAT(write(Format::kText), StartsWith("out: 1 problem; 3 files as the manifest says, 1.5 kB.\n"));
  EXPECT_THAT(write(Format::kText), HasSubstr("a%0Ab: another checksum\n"));
  const rapidjson::Document d = json_of(write(Format::kJson));
  EXPECT_STREQ(d["problems"][0]["path"].GetString(), "a\nb");
  EXPECT_EQ(d["summary"]["problems"].GetUint64(), 1u);
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
#include <gmock/gmock.h>

#include "report/museum.h"

namespace lacuna::test {
namespace {

using ::testing::Contains;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::StartsWith;

std::string files(const Museum& m, Format format, const FileFilter& filter = {}, ListingTotals* totals = nullptr) {
  return text_of([&](const Sink& sink) {
    const ListingTotals t = write_files(m.disc(), m.verdicts(), filter, {}, format, sink);
    if (totals != nullptr) *totals = t;
  });
}

TEST(FilesJson, HeaderHasSchemaImageAndSummary) {
  const Museum m;
  const rapidjson::Document d = json_of(files(m, Format::kJson));
  EXPECT_EQ(keys_of(d), "schema,image,summary,files");
  EXPECT_STREQ(d["schema"].GetString(), "lacuna/files/1");
  EXPECT_STREQ(d["image"]["name"].GetString(), "museum.iso");
  EXPECT_EQ(d["image"]["end_lba"].GetUint64(), 100u);
  EXPECT_EQ(d["image"]["bytes"].GetUint64(), 204800u);
  EXPECT_STREQ(d["image"]["basis"].GetString(), "map");
  EXPECT_TRUE(d["image"]["has_map"].GetBool());
  const auto& states = d["summary"]["states"];
  EXPECT_EQ(keys_of(states), "whole,doubtful,damaged,lost,unlocated");
  EXPECT_EQ(states["damaged"]["files"].GetUint64(), 1u);
  EXPECT_EQ(states["damaged"]["bytes"].GetUint64(), 10000u);
  EXPECT_EQ(states["damaged"]["missing_bytes"].GetUint64(), 4096u);
  EXPECT_EQ(states["lost"]["files"].GetUint64(), 1u);
  EXPECT_EQ(states["unlocated"]["files"].GetUint64(), 1u);
  EXPECT_EQ(d["summary"]["files"].GetUint64(), 9u);
  EXPECT_EQ(d["summary"]["hurt_directories"].GetUint64(), 1u);
}

TEST(FilesJson, EveryFieldOfTheContractIsInEveryFile) {
  const Museum m;
  const rapidjson::Document d = json_of(files(m, Format::kJson));
  ASSERT_GT(d["files"].Size(), 8u);
  for (const auto& f : d["files"].GetArray()) {
    for (const char* key : {"path", "size", "state", "missing_bytes", "gaps", "extents", "view", "session", "evidence",
                            "basis", "modified", "doubts"}) {
      EXPECT_TRUE(f.HasMember(key)) << key << " of " << f["path"].GetString();
    }
  }
}

TEST(FilesJson, ADamagedFileFieldByField) {
  const Museum m;
  const rapidjson::Document d = json_of(files(m, Format::kJson));
  const auto& f = file_named(d, "photos/mast, \"fore\".jpg");
  EXPECT_STREQ(f["state"].GetString(), "damaged");
  EXPECT_EQ(f["size"].GetUint64(), 10000u);
  EXPECT_EQ(f["missing_bytes"].GetUint64(), 4096u);
  ASSERT_EQ(f["gaps"].Size(), 1u);
  EXPECT_EQ(f["gaps"][0]["offset"].GetUint64(), 4096u);
  EXPECT_EQ(f["gaps"][0]["length"].GetUint64(), 4096u);
  EXPECT_STREQ(f["gaps"][0]["state"].GetString(), "bad");
  ASSERT_EQ(f["extents"].Size(), 2u);
  EXPECT_EQ(keys_of(f["extents"][1]), "offset,lba,bytes");
  EXPECT_EQ(f["extents"][1]["offset"].GetUint64(), 4096u);
  EXPECT_EQ(f["extents"][1]["lba"].GetUint64(), 30u);
  EXPECT_EQ(f["extents"][1]["bytes"].GetUint64(), 5904u);
  EXPECT_STREQ(f["view"].GetString(), "iso9660");
  EXPECT_EQ(f["session"].GetUint64(), 2u);
  EXPECT_STREQ(f["evidence"].GetString(), "tree");
  EXPECT_STREQ(f["basis"].GetString(), "map");
  EXPECT_STREQ(f["modified"].GetString(), "1998-07-05T00:01:00+00:00");
}

TEST(FilesJson, InterleavedExtentIsOneElementWithItsUnits) {
  const Museum m;
  const rapidjson::Document d = json_of(files(m, Format::kJson));
  const auto& f = file_named(d, "Sommer %E5r/sea.dat");
  ASSERT_EQ(f["extents"].Size(), 1u);
  EXPECT_EQ(keys_of(f["extents"][0]), "offset,lba,skip,bytes,unit,gap");
  EXPECT_EQ(f["extents"][0]["lba"].GetUint64(), 60u);
  EXPECT_EQ(f["extents"][0]["skip"].GetUint64(), 512u);
  EXPECT_EQ(f["extents"][0]["unit"].GetUint64(), 1024u);
  EXPECT_EQ(f["extents"][0]["gap"].GetUint64(), 512u);
  EXPECT_TRUE(f["modified"].IsNull());
}

TEST(FilesJson, SuspectStretchesAreNoGaps) {
  const Museum m;
  const rapidjson::Document d = json_of(files(m, Format::kJson));
  const auto& f = file_named(d, "photos/doubt.jpg");
  EXPECT_STREQ(f["state"].GetString(), "doubtful");
  EXPECT_EQ(f["gaps"].Size(), 0u);
  EXPECT_EQ(f["missing_bytes"].GetUint64(), 0u);
  ASSERT_EQ(f["suspect"].Size(), 1u);
  EXPECT_EQ(f["suspect"][0]["length"].GetUint64(), 2048u);
  ASSERT_EQ(f["doubts"].Size(), 1u);
  EXPECT_THAT(f["doubts"][0].GetString(), HasSubstr("LBA 50"));
}

TEST(FilesJson, OtherNamesLinksAndFlags) {
  const Museum m;
  const rapidjson::Document d = json_of(files(m, Format::kJson));
  const auto& named = file_named(d, "Long name.txt");
  EXPECT_STREQ(named["view"].GetString(), "joliet");
  EXPECT_EQ(keys_of(named["names"]), "iso9660");
  EXPECT_STREQ(named["names"]["iso9660"].GetString(), "LONGNA~1.TXT");
  EXPECT_TRUE(named["hidden"].GetBool());
  EXPECT_EQ(named["version"].GetUint(), 2u);
  const auto& link = file_named(d, "link");
  EXPECT_STREQ(link["kind"].GetString(), "symlink");
  EXPECT_STREQ(link["target"].GetString(), "photos/pier.jpg");
  EXPECT_EQ(link["mode"].GetUint(), 0120777u);
  EXPECT_FALSE(file_named(d, "photos/pier.jpg").HasMember("names"));
  EXPECT_FALSE(file_named(d, "photos/pier.jpg").HasMember("hidden"));
  // Exact in JSON, whatever a terminal would make of it.
  file_named(d, "Sommer %E5r/exe.\xe2\x80\xaegpj\xc2\x9b");
}

TEST(FilesJson, OnlyDirectoriesThatAreNotWholeAreListed) {
  const Museum m;
  const rapidjson::Document d = json_of(files(m, Format::kJson));
  EXPECT_STREQ(file_named(d, "Sommer %E5r")["kind"].GetString(), "directory");
  for (const auto& f : d["files"].GetArray()) EXPECT_STRNE(f["path"].GetString(), "photos");
}

TEST(FilesJson, AnImageNameThatIsNoUtf8IsStillJson) {
  const Museum m(
      "mus\xe9"
      "e.iso");
  EXPECT_STREQ(json_of(files(m, Format::kJson))["image"]["name"].GetString(), "mus%E9e.iso");
}

TEST(FilesJson, NothingListedIsAnEmptyArray) {
  const Museum m;
  FileFilter filter;
  filter.only = GlobSet({"no such file"}, false);
  ListingTotals totals;
  EXPECT_EQ(json_of(files(m, Format::kJson, filter, &totals))["files"].Size(), 0u);
  EXPECT_EQ(totals.listed, 0u);
}

TEST(FilesJson, AllSessionsAreToldByTheirFolders) {
  const std::unique_ptr<Image> image = MemoryImage(numbered_sectors(50)).with_map().open();
  HandDisc hand(*image);
  for (const std::uint32_t number : {1u, 2u, 3u}) {
    Session s;
    s.number = number;
    s.in_tree = number != 3;
    hand.builder().sessions().push_back(s);
  }
  Node n;
  n.size = 10;
  hand.node("a", n, {at_lba(20, 10)}, hand.directory("session-1", 0));
  hand.node("a", n, {at_lba(30, 10)}, hand.directory("session-2", 0));
  hand.node("a", n, {at_lba(40, 10)}, hand.directory("session-3", 0));  // A folder of that name that is no session.
  const Disc& disc = hand.finish();
  const Verdicts verdicts = judge(disc).value();
  const std::string text = text_of([&](const Sink& s) { write_files(disc, verdicts, {}, {}, Format::kJson, s); });
  const rapidjson::Document d = json_of(text);
  EXPECT_EQ(file_named(d, "session-1/a")["session"].GetUint(), 1u);
  EXPECT_EQ(file_named(d, "session-2/a")["session"].GetUint(), 2u);
  EXPECT_TRUE(file_named(d, "session-3/a")["session"].IsNull());
}

TEST(FilesNdjson, AHeaderLineThenOneFileALine) {
  const Museum m;
  ListingTotals totals;
  const std::vector<std::string> lines = lines_of(files(m, Format::kNdjson, {}, &totals));
  ASSERT_EQ(lines.size(), totals.listed + 1);
  EXPECT_EQ(keys_of(json_of(lines[0])), "schema,image,summary");
  const rapidjson::Document all = json_of(files(m, Format::kJson));
  for (std::size_t i = 1; i < lines.size(); ++i) {
    EXPECT_EQ(json_of(lines[i]), all["files"][static_cast<rapidjson::SizeType>(i - 1)]) << lines[i];
  }
}

TEST(FilesFilter, StatesAndGlobsTogether) {
  const Museum m;
  FileFilter filter;
  filter.states = {FileState::kDamaged, FileState::kLost};
  filter.only = GlobSet({"photos/*"}, false);
  ListingTotals totals;
  const rapidjson::Document d = json_of(files(m, Format::kJson, filter, &totals));
  ASSERT_EQ(d["files"].Size(), 2u);
  EXPECT_STREQ(d["files"][0]["path"].GetString(), "photos/lost.jpg");
  EXPECT_EQ(totals.listed, 2u);
  EXPECT_EQ(totals.not_whole, 2u);
  filter.states = {FileState::kWhole};
  files(m, Format::kJson, filter, &totals);
  EXPECT_EQ(totals.listed, 1u);
  EXPECT_EQ(totals.not_whole, 0u);
}

/// Reads RFC 4180 back; the checks rest on the grammar alone.
std::vector<std::vector<std::string>> parse_csv(const std::string& text) {
  std::vector<std::vector<std::string>> records(1, std::vector<std::string>(1));
  bool quoted = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (quoted && c == '"' && i + 1 < text.size() && text[i + 1] == '"') {
      records.back().back() += '"';
      ++i;
    } else if (c == '"') {
      quoted = !quoted;
    } else if (!quoted && c == ',') {
      records.back().emplace_back();
    } else if (!quoted && c == '\r') {
      EXPECT_EQ(text.at(i + 1), '\n');
      ++i;
      if (i + 1 < text.size()) records.emplace_back(1);
    } else {
      records.back().back() += c;
    }
  }
  EXPECT_FALSE(quoted);
  return records;
}

TEST(FilesCsv, RecordsOfEqualWidthWithQuotedNames) {
  const Museum m;
  ListingTotals totals;
  const std::string text = files(m, Format::kCsv, {}, &totals);
  const auto records = parse_csv(text);
  ASSERT_EQ(records.size(), totals.listed + 1);
  EXPECT_THAT(records[0], ElementsAre("path", "kind", "size", "state", "missing_bytes", "gaps", "suspect", "extents",
                                      "view", "session", "evidence", "basis", "modified", "doubts"));
  for (const auto& r : records) EXPECT_EQ(r.size(), records[0].size());
  EXPECT_THAT(records, Contains(ElementsAre("photos/mast, \"fore\".jpg", "file", "10000", "damaged", "4096",
                                            "4096+4096", "", "0@25+4096 4096@30+5904", "iso9660", "2", "tree", "map",
                                            "1998-07-05T00:01:00+00:00", "")));
  EXPECT_THAT(text, HasSubstr("\r\n\"photos/mast, \"\"fore\"\".jpg\",file,"));
}

TEST(FilesText, AlignedColumnsInTheOrderOfTheTree) {
  const Museum m;
  const std::vector<std::string> lines = lines_of(files(m, Format::kText));
  EXPECT_EQ(lines[0], "state          size   missing  date              path");
  EXPECT_THAT(lines, Contains("whole          6 kB            1998-07-04 23:59  photos/pier.jpg"));
  EXPECT_THAT(lines, Contains("damaged       10 kB    4.1 kB  1998-07-05 00:01  photos/mast, \"fore\".jpg"));
  EXPECT_THAT(lines, Contains("lost           2 kB      2 kB                    photos/lost.jpg"));
  EXPECT_THAT(lines, Contains("whole           0 B                              link -> photos/pier.jpg"));
  EXPECT_THAT(lines, Contains("whole           0 B                              Sommer %E5r/exe.%E2%80%AEgpj%C2%9B"));
  EXPECT_THAT(lines, Contains("1 directory could not be read in full: files may be missing here."));
  EXPECT_THAT(lines, Contains("damaged       10 kB    4.1 kB  1 file"));
}

TEST(FilesText, ADoubtIsSaidUnderItsFile) {
  const Museum m;
  const std::vector<std::string> lines = lines_of(files(m, Format::kText));
  const auto at = std::ranges::find_if(lines, [](const std::string& l) { return l.ends_with("photos/doubt.jpg"); });
  ASSERT_NE(at, lines.end());
  EXPECT_THAT(*at, StartsWith("doubtful "));
  EXPECT_THAT(*std::next(at), HasSubstr("LBA 50"));
}

TEST(FilesText, AssumedBasisIsSaid) {
  const Museum with_map, without("museum.iso", false);
  EXPECT_THAT(files(with_map, Format::kText), Not(HasSubstr("assumed")));
  EXPECT_THAT(files(without, Format::kText), HasSubstr("Basis: assumed."));
}

TEST(FilesText, OutputComesInPiecesAndTheSinkMayThrow) {
  const std::unique_ptr<Image> image = MemoryImage(numbered_sectors(30)).with_map().open();
  HandDisc hand(*image);
  for (int i = 0; i < 5000; ++i) hand.file("a file with a rather long name " + std::to_string(i), 20, 10);
  const Disc& disc = hand.finish();
  const Verdicts verdicts = judge(disc).value();
  std::size_t largest = 0, pieces = 0;
  const Sink measuring = [&](std::string_view piece) {
    ++pieces;
    largest = std::max(largest, piece.size());
  };
  write_files(disc, verdicts, {}, {}, Format::kJson, measuring);
  EXPECT_GT(pieces, 5u);
  EXPECT_LT(largest, 70000u);
  struct Stop {};
  const Sink throwing = [](std::string_view) { throw Stop{}; };
  for (const Format f : {Format::kText, Format::kJson, Format::kNdjson, Format::kCsv}) {
    EXPECT_THROW(write_files(disc, verdicts, {}, {}, f, throwing), Stop);
  }
}

}  // namespace
}  // namespace lacuna::test

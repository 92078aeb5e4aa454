// SPDX-License-Identifier: GPL-3.0-or-later
// What reports show of UDF discs: zeros and lost places, streams and deleted names, the facts of the volume, earlier
// states.
#include <gmock/gmock.h>

#include "report/museum.h"
#include "report/words.h"

namespace lacuna::test {
namespace {

using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::Not;

UdfFacts facts_of_a_packet_disc() {
  UdfFacts u;
  u.revision = 0x0150;
  u.medium = "write-once, in packets";
  u.medium_why = "a virtual allocation table, sectors of 2048 bytes";
  u.maps = {{"physical", 0, 257, 600'000'000, ""}, {"virtual", 0, 257, 600'000'000, "table at LBA 4711"}};
  u.table_generation = 3;
  u.closed = false;
  u.integrity_recorded = date(2003, 9, 14, 20, 15, 60);
  u.free_bytes = 12'000'000;
  u.files = 7;
  u.directories = 2;
  u.named_streams = 1;
  u.deleted_names = 4;
  u.writer = "*Invented Packet Writer";
  return u;
}

/// A packet-written disc of an invented harbour office: two earlier states, the last one shown.
class PacketDisc {
 public:
  explicit PacketDisc(bool listed = true, const UdfFacts& udf = facts_of_a_packet_disc()) {
    for (const SessionSource source : {SessionSource::kTable, SessionSource::kTable, SessionSource::kFirst}) {
      Session s;
      s.number = static_cast<std::uint32_t>(hand_.builder().sessions().size() + 1);
      s.source = source;
      s.start_lba = 10 * s.number;
      s.in_tree = source == SessionSource::kFirst;
      if (s.in_tree) {
        Volume v;
        v.view = View::kUdf;
        v.volume_id = "HARBOUR OFFICE";
        v.udf = udf;
        s.volumes.push_back(v);
      }
      hand_.builder().sessions().push_back(s);
    }
    const NodeId logs = directory("logs");
    file("tide.dat", {at_lba(20, 2048), {kZeros, 4096, 0, 0}, {kNowhere, 1024, 0, 0}}, 0, logs);
    file("settings", {{kZeros, 100, 0, 0}}, node_flag::kSystem, kRoot);
    if (!listed) {
      finish();
      return;
    }
    file("tide.dat:comment", {at_lba(25, 30)}, node_flag::kStream, logs);
    file("draft.txt", {at_lba(26, 300)}, node_flag::kDeleted, kRoot);
    finish();
  }

  std::string files(Format format) const {
    return text_of([&](const Sink& s) { write_files(hand_.disc(), verdicts_, {}, {}, format, s); });
  }
  std::string survey(Format format) const {
    const Hits hits = find_hits(hand_.disc(), verdicts_);
    return text_of([&](const Sink& s) { write_survey(hand_.disc(), verdicts_, hits, {}, format, s); });
  }

 private:
  NodeId directory(const std::string& name) {
    Node n;
    n.kind = NodeKind::kDirectory;
    n.view = View::kUdf;
    return hand_.node(name, n);
  }
  void file(const std::string& name, const std::vector<Extent>& extents, std::uint16_t flags, NodeId parent) {
    Node n;
    n.view = View::kUdf;
    n.flags = flags;
    for (const Extent& e : extents) n.size += e.bytes;
    hand_.node(name, n, extents, parent);
  }
  void finish() { verdicts_ = judge(hand_.finish()).value(); }

  std::unique_ptr<Image> image_ = MemoryImage(numbered_sectors(100)).with_map().open("packets.iso");
  HandDisc hand_{*image_};
  Verdicts verdicts_;
};

TEST(UdfFiles, JsonTellsZerosFromLostPlacesAndMarksWhatIsNoOrdinaryFile) {
  const rapidjson::Document d = json_of(PacketDisc().files(Format::kJson));
  const auto& extents = file_named(d, "logs/tide.dat")["extents"];
  ASSERT_EQ(extents.Size(), 3u);
  EXPECT_EQ(keys_of(extents[0]), "offset,lba,bytes");
  EXPECT_EQ(keys_of(extents[1]), "offset,zeros,bytes");
  EXPECT_TRUE(extents[1]["zeros"].GetBool());
  EXPECT_EQ(extents[1]["offset"].GetUint64(), 2048u);
  EXPECT_EQ(keys_of(extents[2]), "offset,lba,bytes");
  EXPECT_TRUE(extents[2]["lba"].IsNull());
  EXPECT_EQ(extents[2]["offset"].GetUint64(), 6144u);
  EXPECT_STREQ(file_named(d, "logs/tide.dat")["state"].GetString(), "damaged");
  EXPECT_EQ(file_named(d, "logs/tide.dat")["missing_bytes"].GetUint64(), 1024u);
  EXPECT_STREQ(file_named(d, "settings")["state"].GetString(), "whole");

  EXPECT_TRUE(file_named(d, "logs/tide.dat:comment")["stream"].GetBool());
  EXPECT_TRUE(file_named(d, "draft.txt")["deleted"].GetBool());
  EXPECT_TRUE(file_named(d, "settings")["system"].GetBool());
  for (const char* key : {"stream", "deleted", "system"}) {
    EXPECT_FALSE(file_named(d, "logs/tide.dat").HasMember(key)) << key;
  }
}

TEST(UdfFiles, CsvAndText) {
  const PacketDisc disc;
  EXPECT_THAT(
      disc.files(Format::kCsv),
      HasSubstr("logs/tide.dat,file,7168,damaged,1024,6144+1024,,0@20+2048 2048@zeros+4096 6144@?+1024,udf,3,"));
  const std::vector<std::string> lines = lines_of(disc.files(Format::kText));
  EXPECT_THAT(lines, Contains("whole         300 B                              draft.txt  (deleted)"));
  EXPECT_THAT(lines, Contains("whole          30 B                              logs/tide.dat:comment  (stream)"));
  EXPECT_THAT(lines, Contains("whole         100 B                              settings  (system)"));
}

TEST(UdfSurvey, TextShowsTheFactsOfTheVolume) {
  const std::vector<std::string> lines = lines_of(PacketDisc(false).survey(Format::kText));
  EXPECT_THAT(lines, Contains("  UDF         revision 1.50, left open 2003-09-14 20:15"));
  EXPECT_THAT(lines, Contains("  made for    write-once, in packets"));
  EXPECT_THAT(lines, Contains("              (a guess: a virtual allocation table, sectors of 2048 bytes)"));
  EXPECT_THAT(lines, Contains("  partitions  0: physical, number 0 from LBA 257, 600 MB"));
  EXPECT_THAT(lines, Contains("              1: virtual, number 0 from LBA 257, 600 MB; table at LBA 4711"));
  EXPECT_THAT(lines, Contains("  tables      3 virtual allocation tables lead to this state"));
  EXPECT_THAT(lines, Contains("  free        12 MB"));
  EXPECT_THAT(lines, Contains("  recorded    7 files, 2 directories; found 2 and 2"));
  EXPECT_THAT(lines, Contains("  streams     1 named stream, --streams lists them"));
  EXPECT_THAT(lines, Contains("  deleted     4 names marked as deleted, --deleted lists them"));
  EXPECT_THAT(lines, Contains("  writer      *Invented Packet Writer"));
  EXPECT_THAT(lines, Contains("  sessions    1 from LBA 10, an earlier state of the volume"));
  EXPECT_THAT(lines, Contains("              3 from LBA 30, shown"));
  EXPECT_THAT(lines, Contains(HasSubstr("See what earlier states of the volume hold")));
}

TEST(UdfSurvey, WhatIsListedIsSaidToBeAndNotCountedAsFound) {
  const std::string text = PacketDisc(true).survey(Format::kText);
  EXPECT_THAT(text, HasSubstr("1 named stream, listed\n"));
  EXPECT_THAT(text, HasSubstr("4 names marked as deleted, listed\n"));
  EXPECT_THAT(text, HasSubstr("7 files, 2 directories; found 2 and 2\n"));
}

TEST(UdfSurvey, WhatTheDiscDoesNotTellIsNotShown) {
  const std::string text = PacketDisc(false, UdfFacts{}).survey(Format::kText);
  EXPECT_THAT(text, HasSubstr("  UDF         revision not recorded\n"));
  for (const char* label :
       {"made for", "partitions", "tables ", "free ", "recorded ", "streams", "deleted", "writer"}) {
    EXPECT_THAT(text, Not(HasSubstr(std::string("\n  ") + label))) << label;
  }
}

TEST(UdfSurvey, JsonHasThemAll) {
  const rapidjson::Document d = json_of(PacketDisc(false).survey(Format::kJson));
  ASSERT_EQ(d["sessions"].Size(), 3u);
  EXPECT_STREQ(d["sessions"][0]["source"].GetString(), "table");
  const auto& u = d["sessions"][2]["volumes"][0]["udf"];
  EXPECT_EQ(keys_of(u),
            "revision,medium,medium_why,maps,table_generation,closed,integrity_recorded,free_bytes,files,directories,"
            "files_found,directories_found,named_streams,deleted_names,writer");
  EXPECT_STREQ(u["revision"].GetString(), "1.50");
  ASSERT_EQ(u["maps"].Size(), 2u);
  EXPECT_EQ(keys_of(u["maps"][1]), "kind,partition,start_lba,bytes,state");
  EXPECT_STREQ(u["maps"][1]["kind"].GetString(), "virtual");
  EXPECT_EQ(u["table_generation"].GetUint(), 3u);
  EXPECT_FALSE(u["closed"].GetBool());
  EXPECT_STREQ(u["integrity_recorded"].GetString(), "2003-09-14T20:15:00+01:00");
  EXPECT_EQ(u["free_bytes"].GetUint64(), 12'000'000u);
  EXPECT_EQ(u["files"].GetUint(), 7u);
  EXPECT_EQ(u["files_found"].GetUint(), 2u);
  EXPECT_EQ(u["directories_found"].GetUint(), 2u);
  EXPECT_EQ(u["deleted_names"].GetUint(), 4u);

  const rapidjson::Document bare = json_of(PacketDisc(false, UdfFacts{}).survey(Format::kJson));
  const auto& none = bare["sessions"][2]["volumes"][0]["udf"];
  for (const char* key : {"revision", "closed", "integrity_recorded", "free_bytes", "files", "directories"}) {
    EXPECT_TRUE(none[key].IsNull()) << key;
  }
}

TEST(UdfRevision, IsBinaryCodedDecimal) {
  EXPECT_EQ(report::udf_revision(0x0102), "1.02");
  EXPECT_EQ(report::udf_revision(0x0250), "2.50");
  EXPECT_EQ(report::udf_revision(0x0201), "2.01");
}

TEST(UdfStructures, HaveTheirWordsInHits) {
  const std::unique_ptr<Image> image = MemoryImage(numbered_sectors(50)).mark(20, 9, SectorState::kBad).open();
  HandDisc hand(*image);
  hand.structure(StructureKind::kAnchor, 20, 2048);
  hand.structure(StructureKind::kFileEntry, 21, 2048);
  hand.structure(StructureKind::kSpaceMap, 22, 2048);
  const Disc& disc = hand.finish();
  const Verdicts verdicts = judge(disc).value();
  const Hits hits = find_hits(disc, verdicts);
  const std::string text = text_of([&](const Sink& s) { write_hits(disc, verdicts, hits, {}, Format::kText, s); });
  for (const char* word : {"anchor", "file entry", "space map"}) EXPECT_THAT(text, HasSubstr(word));
  const std::string survey = text_of([&](const Sink& s) { write_survey(disc, verdicts, hits, {}, Format::kText, s); });
  EXPECT_THAT(survey, HasSubstr("3 STRUCTURES of the file system hurt"));
  EXPECT_THAT(survey, HasSubstr("  LBA 20        bad      anchor (iso9660)"));
}

}  // namespace
}  // namespace lacuna::test

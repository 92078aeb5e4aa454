// SPDX-License-Identifier: GPL-3.0-or-later
// Every input form of a sector map, and every way in which one can be wrong.
#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "lacuna/sector_map.h"
#include "media/runs_of.h"

namespace lacuna {
namespace {

using enum SectorState;
using test::Runs;
using test::runs_of;

SectorMap parsed(std::string_view text, const MapColumns& columns = {}) {
  Result<SectorMap> map = parse_sector_map(text, "m", columns);
  if (!map) {
    ADD_FAILURE() << map.error().message;
    return SectorMap();
  }
  return std::move(map).value();
}

Runs runs(std::string_view text, const MapColumns& columns = {}) { return runs_of(parsed(text, columns)); }

std::string refusal(std::string_view text, const MapColumns& columns = {}, ErrorCode code = ErrorCode::kBadInput) {
  const Result<SectorMap> map = parse_sector_map(text, "m", columns);
  if (map.ok()) return "accepted";
  EXPECT_EQ(map.error().code, code);
  return map.error().message;
}

// --- text -----------------------------------------------------------------------------------------------------------

TEST(MapText, DecimalAndHexLinesWithCommentsAreRuns) {
  EXPECT_EQ(runs("# made by hand\n\n16 2 bad\n  0x20\t0X10   unread # scratch\n#end"),
            (Runs{{16, 2, kBad}, {32, 16, kUnread}}));
}

TEST(MapText, AllSixStateWordsAreTaken) {
  EXPECT_EQ(runs("0 1 good\n1 1 repaired\n2 1 suspect\n3 1 bad\n4 1 unread\n5 1 absent\n"),
            (Runs{{0, 1, kGood}, {1, 1, kRepaired}, {2, 1, kSuspect}, {3, 1, kBad}, {4, 1, kUnread}, {5, 1, kAbsent}}));
}

TEST(MapText, DefaultIsGoodUnlessSaid) {
  EXPECT_EQ(parsed("1 1 bad\n").default_state(), kGood);
  EXPECT_EQ(parsed("1 1 good\n#! default unread # rest was never tried\n").default_state(), kUnread);
  EXPECT_TRUE(runs("#! default good\n").empty());
}

TEST(MapText, LaterLinesWin) {
  EXPECT_EQ(runs("0 10 bad\n3 2 good\n"), (Runs{{0, 3, kBad}, {3, 2, kGood}, {5, 5, kBad}}));
}

TEST(MapText, ByteOrderMarkAndCrLfAreAccepted) {
  EXPECT_EQ(runs("\xEF\xBB\xBF#! default good\r\n7 1 bad\r\n"), (Runs{{7, 1, kBad}}));
}

TEST(MapText, LastSectorOfAllMayBeListed) { EXPECT_EQ(runs("0xFFFFFFFF 1 bad"), (Runs{{kMaxSectors - 1, 1, kBad}})); }

TEST(MapText, BytesThatTouchASectorMakeItBad) { EXPECT_EQ(runs("#! unit bytes\n4095 2 bad\n"), (Runs{{1, 2, kBad}})); }

TEST(MapText, PartlyBadSectorStaysBadWhateverLineComesLater) {
  // Good bytes before, behind and after it in the file: sector 1 has one bad byte left.
  EXPECT_EQ(runs("#! unit bytes\n0 8192 good\n2100 1 bad\n2101 6000 good\n0 2100 good\n"),
            (Runs{{0, 1, kGood}, {1, 1, kBad}, {2, 2, kGood}}));
}

TEST(MapText, LaterGoodBytesThatCoverTheBadOnesMakeTheSectorGood) {
  EXPECT_EQ(runs("#! unit bytes\n2100 1 bad\n2048 2048 good\n"), (Runs{{1, 1, kGood}}));
}

TEST(MapText, AdjacentGoodByteRangesTogetherCoverASector) {
  const SectorMap map = parsed("#! default unread\n#! unit bytes\n0 1000 good\n1000 1048 good\n");
  EXPECT_EQ(map.at(0), kGood);
  EXPECT_EQ(map.at(1), kUnread);
}

TEST(MapText, SectorListedGoodInPartOnlyTakesTheWorseDefault) {
  const SectorMap map = parsed("#! default unread\n#! unit bytes\n0 2047 good\n2049 4095 good\n");
  EXPECT_EQ(map.at(0), kUnread);
  EXPECT_EQ(map.at(1), kUnread);
  EXPECT_EQ(map.at(2), kGood);
}

TEST(MapText, SectorListedGoodInPartOnlyIsNotListed) {
  const SectorMap map = parsed("#! unit bytes\n0 3000 good\n");
  EXPECT_TRUE(map.lists(0));
  EXPECT_FALSE(map.lists(1));
}

TEST(MapText, Unit512CountsQuartersOfSectors) { EXPECT_EQ(runs("#! unit 512\n7 2 bad\n"), (Runs{{1, 2, kBad}})); }

TEST(MapText, ErrorsNameFileLineAndReason) {
  EXPECT_EQ(refusal("1 1 bad\n-2 1 bad\n"), "m:2: FIRST '-2' is negative");
  EXPECT_EQ(refusal("1 -1 bad\n"), "m:1: COUNT '-1' is negative");
  EXPECT_EQ(refusal("\n\n1 0 bad\n"), "m:3: the count is 0, so that the line says nothing");
  EXPECT_EQ(refusal("1 2\n"), "m:1: a line has FIRST COUNT STATE; the third is missing");
  EXPECT_EQ(refusal("1 2 bad bad\n"), "m:1: a line has FIRST COUNT STATE, and no more");
  EXPECT_EQ(refusal("1 2 BAD\n"),
            "m:1: unknown state 'BAD'; it is one of good, repaired, suspect, bad, unread, absent");
  EXPECT_EQ(refusal("1x 2 bad\n"), "m:1: FIRST '1x' is not a number");
  EXPECT_EQ(refusal("0x 2 bad\n"), "m:1: FIRST '0x' is not a number");
  EXPECT_EQ(refusal("+1 2 bad\n"), "m:1: FIRST '+1' is not a number");
  EXPECT_EQ(refusal("1.5 2 bad\n"), "m:1: FIRST '1.5' is not a number");
  EXPECT_EQ(refusal("99999999999999999999 2 bad\n"), "m:1: FIRST '99999999999999999999' is larger than any disc");
  EXPECT_EQ(refusal("4294967295 2 bad\n"),
            "m:1: 2 from 4294967295 on goes beyond the 4294967296 sectors of 2048 bytes that a disc can have");
  EXPECT_EQ(refusal("18446744073709551615 18446744073709551615 bad\n"),
            "m:1: 18446744073709551615 from 18446744073709551615 on goes beyond the 4294967296 sectors of 2048 bytes "
            "that a disc can have");
  EXPECT_EQ(refusal("#! default fine\n"),
            "m:1: unknown state 'fine'; it is one of good, repaired, suspect, bad, unread, absent");
  EXPECT_EQ(refusal("#! default good\n#! default bad\n"), "m:2: '#! default' stands here for the second time");
  EXPECT_EQ(refusal("#! unit blocks\n"), "m:1: unknown unit 'blocks'; it is one of sectors, bytes, 512");
  EXPECT_EQ(refusal("1 1 bad\n#! unit bytes\n"), "m:2: '#! unit' must stand before the first line with numbers");
  EXPECT_EQ(
      refusal("#! colour red\n"),
      "m:1: unknown directive 'colour red'; there are '#! default STATE', '#! unit bytes' and '#! basis assumed'");
}

TEST(MapText, TextThatSaysNothingIsRefused) {
  const std::string why = ": says nothing of any sector; if nothing is bad, say so with a line '#! default good'";
  EXPECT_EQ(refusal(""), "m:1" + why);
  EXPECT_EQ(refusal("# nothing\n\n"), "m:2" + why);
}

TEST(MapText, BinaryFileIsNoMap) {
  EXPECT_EQ(refusal(std::string_view("1 1 bad\n\0\0\0", 11)),
            "m:2: is not a sector map: it holds NUL bytes, as no text does");
}

TEST(MapText, InputInMessagesIsClippedAndClean) {
  EXPECT_EQ(refusal("\x1b[31m" + std::string(100, 'x')),
            "m:1: FIRST '?[31m" + std::string(35, 'x') + "…' is not a number");
}

TEST(MapText, UnitGivenFromOutsideHoldsUntilTheMapNamesOne) {
  MapColumns bytes;
  bytes.unit = MapColumns::Unit::kBytes;
  EXPECT_EQ(runs("4096 1 bad\n", bytes), (Runs{{2, 1, kBad}}));
  EXPECT_EQ(runs("#! unit sectors\n4096 1 bad\n", bytes), (Runs{{4096, 1, kBad}}));
}

// --- bare list ------------------------------------------------------------------------------------------------------

TEST(BareList, NumbersAreBadSectors) {
  EXPECT_EQ(runs("# bad ones\n7\n0x8 # hex\n3\n7\n"), (Runs{{3, 1, kBad}, {7, 2, kBad}}));
}

TEST(BareList, Errors) {
  EXPECT_EQ(refusal("7\n8 1 bad\n"),
            "m:2: a bare list of sector numbers and lines of FIRST COUNT STATE can't be mixed");
  EXPECT_EQ(refusal("8 1 bad\n7\n"),
            "m:2: a bare list of sector numbers and lines of FIRST COUNT STATE can't be mixed");
  EXPECT_EQ(refusal("#! unit bytes\n7\n"), "m:2: a bare list counts sectors; in bytes, a line needs FIRST COUNT STATE");
  EXPECT_EQ(refusal("seven\n"), "m:1: FIRST 'seven' is not a number");
  EXPECT_EQ(refusal("4294967296\n"),
            "m:1: 1 from 4294967296 on goes beyond the 4294967296 sectors of 2048 bytes that a disc can have");
}

// --- JSON -----------------------------------------------------------------------------------------------------------

TEST(MapJson, RunsDefaultAndUnitInAnyOrder) {
  const SectorMap map = parsed(R"({"runs":[[4096,1,"bad"],[0,2048,"good"]],
    "default":"unread","unit":"bytes","schema":"lacuna/map/1"})");
  EXPECT_EQ(map.default_state(), kUnread);
  EXPECT_EQ(map.at(0), kGood);
  EXPECT_EQ(map.at(1), kUnread);
  // The other bytes of sector 2 are unread, which is worse than bad.
  EXPECT_EQ(map.at(2), kUnread);
}

TEST(MapJson, KeysOfLaterVersionsArePassedOver) {
  EXPECT_EQ(runs(R"( {"schema":"lacuna/map/1","by":{"runs":[[1,2]],"x":[[],{}]},"n":-1.5,"z":null,
    "runs":[[5,1,"bad"],[5,1,"suspect"]],"more":[]})"),
            (Runs{{5, 1, kSuspect}}));
}

TEST(MapJson, KeysGivenTwiceAddRunsAndReplaceTheRest) {
  const SectorMap map = parsed(
      R"({"schema":"lacuna/map/1","schema":"lacuna/map/1","default":"bad","runs":[[1,1,"bad"]],"runs":[[2,1,"bad"]],"default":"good"})");
  EXPECT_EQ(map.default_state(), kGood);
  EXPECT_EQ(map.at(1), kBad);
  EXPECT_EQ(map.at(2), kBad);
}

TEST(MapJson, ErrorsNameFileLineAndReason) {
  const auto with = [](const std::string& rest) { return "{\"schema\":\"lacuna/map/1\",\n" + rest + "}"; };
  EXPECT_EQ(refusal("{\"runs\":[]}"), "m:1: needs \"schema\":\"lacuna/map/1\"");
  EXPECT_EQ(refusal("{\n\"schema\":\"lacuna/map/2\"}"),
            "m:2: schema 'lacuna/map/2' is not known; it must be 'lacuna/map/1'");
  EXPECT_EQ(refusal("{\"schema\":1}"), "m:1: \"schema\" is a number, where a word is needed");
  EXPECT_EQ(refusal("[]"), "m:1: is an array, where a map is an object");
  EXPECT_EQ(refusal(with("")), "m:2: is not valid JSON: Missing a name for object member");
  EXPECT_EQ(refusal(with("\"runs\":[]")), "m:1: says nothing of any sector");
  EXPECT_EQ(refusal(with("\"runs\":5")), "m:2: \"runs\" is a number, where an array is needed");
  EXPECT_EQ(refusal(with("\"runs\":{}")), "m:2: \"runs\" is an object, where an array is needed");
  EXPECT_EQ(refusal(with("\"default\":null")), "m:2: \"default\" is null, where a word is needed");
  EXPECT_EQ(refusal(with("\"default\":\"dead\"")),
            "m:2: unknown state 'dead'; it is one of good, repaired, suspect, bad, unread, absent");
  EXPECT_EQ(refusal(with("\"unit\":\"miles\"")), "m:2: unknown unit 'miles'; it is one of sectors, bytes, 512");
  const auto runs_with = [&](const std::string& run) { return with("\"runs\":[[0,1,\"good\"],\n" + run + "\n]"); };
  EXPECT_EQ(refusal(runs_with("[1,2]")), "m:3: a run is [first, count, \"state\"]; here is less");
  EXPECT_EQ(refusal(runs_with("[1,2,\"bad\",4]")), "m:3: a run is [first, count, \"state\"]; here is a number");
  EXPECT_EQ(refusal(runs_with("[1,\"bad\",2]")), "m:3: a run is [first, count, \"state\"]; here is a text");
  EXPECT_EQ(refusal(runs_with("[-1,2,\"bad\"]")), "m:3: a run is [first, count, \"state\"]; here is a negative number");
  EXPECT_EQ(refusal(runs_with("[1.5,2,\"bad\"]")),
            "m:3: a run is [first, count, \"state\"]; here is not a whole number");
  EXPECT_EQ(refusal(runs_with("[1,2,true]")), "m:3: a run is [first, count, \"state\"]; here is true or false");
  EXPECT_EQ(refusal(runs_with("7")), "m:3: a run is [first, count, \"state\"]; here is a number");
  EXPECT_EQ(refusal(runs_with("{\"first\":1}")), "m:3: a run is [first, count, \"state\"]; here is an object");
  EXPECT_EQ(refusal(runs_with("[1,2,\"worse\"]")),
            "m:3: unknown state 'worse'; it is one of good, repaired, suspect, bad, unread, absent");
  EXPECT_EQ(refusal(runs_with("[1,0,\"bad\"]")), "m:3: the count is 0, so that the line says nothing");
  EXPECT_EQ(refusal(runs_with("[4294967296,1,\"bad\"]")),
            "m:3: 1 from 4294967296 on goes beyond the 4294967296 sectors of 2048 bytes that a disc can have");
  EXPECT_EQ(refusal("{\"schema\":\"lacuna/map/1\",\"default\":\"good\"}\n x"),
            "m:2: is not valid JSON: The document root must not be followed by other values");
}

TEST(MapJson, AMillionOpenBracketsAreAnErrorNotACrash) {
  EXPECT_TRUE(refusal("{\"x\":" + std::string(1'000'000, '[')).starts_with("m:1: is not valid JSON: "));
}

// --- logs -----------------------------------------------------------------------------------------------------------

MapColumns log_of(std::vector<std::string> columns) {
  MapColumns out;
  out.columns = std::move(columns);
  out.good_words = {"ok"};
  out.bad_words = {"err", "slow"};
  return out;
}

TEST(MapLog, ColumnsAreReadAsDescribedAndTheRestIsUnread) {
  const SectorMap map =
      parsed("# log\n10:20 0 10 ok\n\n10:21 10 0x2 err\n10:22 12 5 slow\n", log_of({"-", "first", "count", "state"}));
  EXPECT_EQ(map.default_state(), kUnread);
  EXPECT_EQ(runs_of(map), (Runs{{0, 10, kGood}, {10, 7, kBad}}));
}

TEST(MapLog, CommasSemicolonsTabsAndBlanksSeparate) {
  const MapColumns columns = log_of({"state", "-", "first", "end"});
  EXPECT_EQ(runs("err,x,5,7\nerr ; x ;\t15 ; 17\nerr\t\tx  25 27\nerr,,35,37\n", columns),
            (Runs{{5, 2, kBad}, {15, 2, kBad}, {25, 2, kBad}, {35, 2, kBad}}));
}

TEST(MapLog, EndIsOnePastAndLastIsTheLast) {
  EXPECT_EQ(runs("5 7 err\n", log_of({"first", "end", "state"})), (Runs{{5, 2, kBad}}));
  EXPECT_EQ(runs("5 7 err\n", log_of({"first", "last", "state"})), (Runs{{5, 3, kBad}}));
}

TEST(MapLog, DashInLastPlacePassesOverTheRest) {
  EXPECT_EQ(runs("5 1 err\n6 1 err no seek, retried\n", log_of({"first", "count", "state", "-"})),
            (Runs{{5, 2, kBad}}));
}

TEST(MapLog, WithoutStateColumnEveryRowIsBadAndTheRestGood) {
  MapColumns columns;
  columns.columns = {"first", "count"};
  const SectorMap map = parsed("5 2\n", columns);
  EXPECT_EQ(map.default_state(), kGood);
  EXPECT_EQ(map.at(6), kBad);
}

TEST(MapLog, WithoutLengthARowIsOneUnit) {
  MapColumns columns;
  columns.columns = {"first"};
  columns.unit = MapColumns::Unit::k512;
  EXPECT_EQ(runs("4\n11\n", columns), (Runs{{1, 2, kBad}}));
}

TEST(MapLog, UnitsOfBytesAnd512TouchWholeSectors) {
  MapColumns columns = log_of({"first", "count", "state"});
  columns.unit = MapColumns::Unit::kBytes;
  EXPECT_EQ(parsed("0 5000 ok\n5000 1 err\n5001 1143 ok\n", columns).slice(0, 4),
            (Runs{{0, 2, kGood}, {2, 1, kBad}, {3, 1, kUnread}}));
}

TEST(MapLog, OwnWordsAreTakenOnlyWhenNoneAreGiven) {
  MapColumns columns;
  columns.columns = {"first", "count", "state"};
  EXPECT_EQ(runs("1 1 suspect\n", columns), (Runs{{1, 1, kSuspect}}));
  EXPECT_EQ(refusal("1 1 ok\n", columns), "m:1: unknown state 'ok'; say which words mean good and bad");
  EXPECT_EQ(refusal("1 1 bad\n", log_of({"first", "count", "state"})),
            "m:1: the word 'bad' is neither among those for good nor among those for bad");
  EXPECT_EQ(refusal("1 1 OK\n", log_of({"first", "count", "state"})),
            "m:1: the word 'OK' is neither among those for good nor among those for bad");
}

TEST(MapLog, ErrorsNameFileLineAndReason) {
  const MapColumns columns = log_of({"first", "count", "state"});
  EXPECT_EQ(refusal("1 1 ok\n2 1\n", columns), "m:2: has 2 fields, where 3 columns are described");
  EXPECT_EQ(refusal("1 1 ok 9\n", columns), "m:1: has 4 fields, where 3 columns are described");
  EXPECT_EQ(refusal("first,count,state\n", columns), "m:1: first 'first' is not a number");
  EXPECT_EQ(refusal("1,,ok\n", columns), "m:1: count '' is not a number");
  EXPECT_EQ(refusal("1 0 ok\n", columns), "m:1: the count is 0, so that the line says nothing");
  EXPECT_EQ(refusal("-1 1 ok\n", columns), "m:1: first '-1' is negative");
  EXPECT_EQ(refusal("# only this\n", columns), "m:1: says nothing of any sector");
  EXPECT_EQ(refusal("{\"schema\":\"lacuna/map/1\"}", columns), "m:1: has 1 fields, where 3 columns are described");
  EXPECT_EQ(refusal("9 5 ok\n", log_of({"first", "end", "state"})), "m:1: end 5 does not fit first 9");
  EXPECT_EQ(refusal("5 5 ok\n", log_of({"first", "end", "state"})),
            "m:1: the count is 0, so that the line says nothing");
  EXPECT_EQ(refusal("0 18446744073709551615 ok\n", log_of({"first", "last", "state"})),
            "m:1: last 18446744073709551615 does not fit first 0");
}

TEST(MapLog, DescriptionsThatMakeNoSenseAreUsageErrors) {
  const auto usage = [](const MapColumns& columns) { return refusal("1 1 ok\n", columns, ErrorCode::kUsage); };
  EXPECT_EQ(usage(log_of({"count", "state"})), "the columns of the map need 'first'");
  EXPECT_EQ(usage(log_of({"first", "first", "state"})), "column 'first' is given twice");
  EXPECT_EQ(usage(log_of({"first", "lenght", "state"})),
            "unknown column 'lenght'; there are first, count, end, last, state and -");
  EXPECT_EQ(usage(log_of({"first", "count", "end", "state"})),
            "the columns of the map may have one of 'count', 'end' and 'last'");
  EXPECT_EQ(usage(log_of({"first", "count"})), "words for good and bad need a column 'state'");
  MapColumns both = log_of({"first", "count", "state"});
  both.bad_words.push_back("ok");
  EXPECT_EQ(usage(both), "'ok' can't be a word for both good and bad");
  MapColumns bytes = log_of({"first", "state"});
  bytes.unit = MapColumns::Unit::kBytes;
  EXPECT_EQ(usage(bytes), "a map in bytes needs a column 'count', 'end' or 'last'");
  EXPECT_EQ(usage(log_of({})), "words for good and bad (--map-good, --map-bad) need the columns (--map-columns)");
}

TEST(LoadSectorMap, MissingFileAndDirectoryAreNotReadable) {
  const Result<SectorMap> missing = load_sector_map("no-such-map");
  ASSERT_FALSE(missing.ok());
  EXPECT_EQ(missing.error().code, ErrorCode::kNotReadable);
  EXPECT_EQ(missing.error().message, "cannot open 'no-such-map': No such file or directory; check the path");
  const Result<SectorMap> folder = load_sector_map("/");
  ASSERT_FALSE(folder.ok());
  EXPECT_EQ(folder.error().message, "'/' is a directory, where a file is needed");
}

}  // namespace
}  // namespace lacuna

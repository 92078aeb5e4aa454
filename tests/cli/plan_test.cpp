// SPDX-License-Identifier: GPL-3.0-or-later
// lacuna plan, end to end.
#include <rapidjson/document.h>

#include "cli/command.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;

class PlanCommand : public MuseumDisc {
 protected:
  /// Three sectors of the photo, one of the letter, one of the program.
  static std::string damage() {
    const std::uint64_t pilot = lba_of("Pilot boat, line 1\n"), roof = lba_of("Roof repair, line 1\n");
    return map("plan.map", std::to_string(pilot + 2) + " 3 bad\n" + std::to_string(roof) + " 1 unread\n" +
                               std::to_string(lba_of("MZno real program")) + " 1 bad\n");
  }
  static std::string line(std::uint64_t first, std::uint64_t count) {
    return std::to_string(first) + " " + std::to_string(count) + "\n";
  }
};

TEST_F(PlanCommand, AWholeDiscNeedsNoneAndEndsWithZero) {
  const std::string good = map("plan-good.map", "#! default good\n");
  const ProcessResult r = lacuna({"plan", image(), "--map", good});
  EXPECT_EQ(r.status, 0) << r.err;
  EXPECT_THAT(r.out, HasSubstr("worth a try nothing"));
  EXPECT_THAT(lacuna({"plan", image(), "--map", good, "--format", "list"}).out, IsEmpty());
}

TEST_F(PlanCommand, AsAListInTheOrderOfWhatItCosts) {
  const std::uint64_t pilot = lba_of("Pilot boat, line 1\n"), roof = lba_of("Roof repair, line 1\n");
  const std::uint64_t program = lba_of("MZno real program");
  const ProcessResult r = lacuna({"plan", image(), "--map", damage(), "--format", "list"});
  EXPECT_EQ(r.status, 1);
  EXPECT_THAT(r.err, IsEmpty());
  EXPECT_EQ(r.out, line(roof, 1) + line(program, 1) + line(pilot + 2, 3)) << "what was never tried comes first";
}

TEST_F(PlanCommand, WantedFirstSkippedNeverAndABudget) {
  const std::uint64_t pilot = lba_of("Pilot boat, line 1\n"), roof = lba_of("Roof repair, line 1\n");
  const std::vector<std::string> base{"plan", image(), "--map", damage(), "--format", "list"};
  const auto with = [&base](std::vector<std::string> more) {
    more.insert(more.begin(), base.begin(), base.end());
    return lacuna(more);
  };
  EXPECT_EQ(with({"--want-kind", "photos", "--skip", "*.exe"}).out, line(pilot + 2, 3) + line(roof, 1));
  EXPECT_EQ(with({"--want", "Pictures", "--budget", "3"}).out, line(pilot + 2, 3));
  EXPECT_EQ(with({"--skip", "*.exe", "--budget", "3"}).out, line(roof, 1));
  EXPECT_EQ(with({"--medium", "dvd", "--want", "*.txt", "--budget", "16"}).out, line(roof / 16 * 16, 16));
}

TEST_F(PlanCommand, TextAndJsonSayTheSame) {
  const ProcessResult text = lacuna({"plan", image(), "--map", damage()});
  EXPECT_EQ(text.status, 1);
  EXPECT_THAT(text.out, HasSubstr("READ AGAIN   HARBOUR_MUSEUM\n"));
  EXPECT_THAT(text.out, HasSubstr("  worth a try 5 sectors\n"));
  EXPECT_THAT(text.out, HasSubstr("3 more files whole, 34.5 kB"));
  EXPECT_THAT(text.out, HasSubstr("plan.map /dev/sr0\n"));
  const ProcessResult json = lacuna({"plan", image(), "--map", damage(), "--format", "json"});
  rapidjson::Document d;
  ASSERT_FALSE(d.Parse(json.out.c_str()).HasParseError()) << json.out;
  EXPECT_STREQ(d["schema"].GetString(), "lacuna/plan/1");
  EXPECT_EQ(d["totals"]["files_whole"].GetUint64(), 3U);
  EXPECT_EQ(d["totals"]["sectors"].GetUint64(), 5U);
  EXPECT_EQ(d["steps"].Size(), 3U);
  EXPECT_STREQ(d["steps"][0]["files"][0].GetString(), "Letters/1974 roof.txt");
}

TEST_F(PlanCommand, AllAddsWhatNothingNeeds) {
  const std::string unused = map("unused.map", "2 3 bad\n");
  const ProcessResult none = lacuna({"plan", image(), "--map", unused, "--format", "list"});
  EXPECT_EQ(none.status, 0);
  EXPECT_THAT(none.out, IsEmpty());
  const ProcessResult all = lacuna({"plan", image(), "--map", unused, "--format", "list", "--all"});
  EXPECT_EQ(all.status, 1);
  EXPECT_EQ(all.out, "2 3\n");
}

TEST_F(PlanCommand, ALostDirectoryComesFirst) {
  // Both trees of the disc lose their root: what it names is known from nowhere but path tables.
  const std::uint64_t pilot = lba_of("Pilot boat, line 1\n");
  const ProcessResult files = lacuna({"files", image(), "--format", "json"});
  rapidjson::Document d;
  ASSERT_FALSE(d.Parse(files.out.c_str()).HasParseError());
  std::uint64_t first_file = ~std::uint64_t{0};
  for (const auto& f : d["files"].GetArray()) {
    first_file = std::min(first_file, f["extents"][0]["lba"].GetUint64());
  }
  // Directories lie between the path tables and the first file (genisoimage).
  const std::string lost =
      map("lost.map", std::to_string(pilot) + " 1 bad\n23 " + std::to_string(first_file - 23) + " bad\n");
  const ProcessResult r = lacuna({"plan", image(), "--map", lost, "--format", "json", "--quiet"});
  EXPECT_EQ(r.status, 1) << r.err;
  rapidjson::Document p;
  ASSERT_FALSE(p.Parse(r.out.c_str()).HasParseError()) << r.out;
  ASSERT_GE(p["steps"].Size(), 1U);
  EXPECT_STREQ(p["steps"][0]["reason"].GetString(), "structure");
  EXPECT_GT(p["totals"]["names"].GetUint64(), 0U);
}

TEST_F(PlanCommand, BadUsage) {
  for (const std::vector<std::string>& wrong : {std::vector<std::string>{"--budget", "0"},
                                                {"--budget", "many"},
                                                {"--medium", "floppy"},
                                                {"--want-kind", "programs"},
                                                {"--format", "csv"},
                                                {"--rows", "-1"}}) {
    std::vector<std::string> request{"plan", image(), "--map", damage()};
    request.insert(request.end(), wrong.begin(), wrong.end());
    const ProcessResult r = lacuna(request);
    EXPECT_EQ(r.status, 2) << wrong[0] << " " << wrong[1] << r.out;
    EXPECT_THAT(r.err, Not(IsEmpty()));
    EXPECT_THAT(r.out, IsEmpty());
  }
  EXPECT_EQ(lacuna({"plan"}).status, 2);
}

TEST_F(PlanCommand, AWantedGlobThatMatchesNothingIsSaid) {
  const std::string good = map("plan-good.map", "#! default good\n");
  const ProcessResult r = lacuna({"plan", image(), "--map", good, "--want", "*.jpq"});
  EXPECT_EQ(r.status, 1);
  EXPECT_THAT(r.err, HasSubstr("'*.jpq' matches nothing"));
}

}  // namespace
}  // namespace lacuna::test

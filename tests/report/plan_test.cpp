// SPDX-License-Identifier: GPL-3.0-or-later
#include <gmock/gmock.h>

#include "report/museum.h"

namespace lacuna::test {
namespace {

using ::testing::AllOf;
using ::testing::Contains;
using ::testing::EndsWith;
using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::SizeIs;

PlanOptions on_cd() {
  PlanOptions options;
  options.medium = Medium::kCd;
  return options;
}

Plan plan_of(const Museum& m, const PlanOptions& options = on_cd()) {
  Result<Plan> plan = make_plan(m.disc(), m.verdicts(), options);
  EXPECT_TRUE(plan.ok());
  return std::move(plan).value();
}

std::string report(const Museum& m, const Plan& plan, Format format, const PlanReport& how = {},
                   const ReportContext& context = {}) {
  return text_of([&](const Sink& sink) { write_plan(m.disc(), m.verdicts(), plan, how, context, format, sink); });
}

TEST(PlanText, SaysWhatEachStepBringsAndWhatIsNotInIt) {
  const Museum m;
  const std::string text = report(m, plan_of(m), Format::kText);
  const std::vector<std::string> lines = lines_of(text);
  EXPECT_THAT(lines, Contains("READ AGAIN   HARBOUR_1998"));
  EXPECT_THAT(lines, Contains("  medium      CD: each sector can be read by itself"));
  EXPECT_THAT(lines, Contains("  not good    6 sectors"));
  EXPECT_THAT(lines, Contains(AllOf(HasSubstr(" 1 more file whole, 2 kB "), EndsWith("  photos/lost.jpg"))));
  EXPECT_THAT(lines, Contains("  1 file: no sector that is known would complete them"));
  EXPECT_THAT(lines, Contains(HasSubstr("sector that is not good: nothing of the above needs them (--all")));
  EXPECT_THAT(text, HasSubstr("Never spin a cracked"));
  EXPECT_THAT(text, HasSubstr("lacuna plan museum.iso --format list\n"));
  EXPECT_THAT(text, Not(HasSubstr("lacuna combine")));
}

TEST(PlanText, LinesFitATerminal) {
  const Museum m;
  const std::string text = report(m, plan_of(m, {}), Format::kText);
  for (const std::string& line : lines_of(text)) EXPECT_LE(line.size(), 100u) << line;
}

TEST(PlanText, CommandsRepeatTheUsersArguments) {
  const Museum m;
  PlanReport how;
  how.combine_image = "museum.iso,map=m.map";
  const std::string text = report(m, plan_of(m), Format::kText, how, {"museum.iso --map m.map", true});
  EXPECT_THAT(text, HasSubstr("lacuna plan museum.iso --map m.map --format list\n"));
  EXPECT_THAT(text, HasSubstr("lacuna combine --to BETTER.iso museum.iso,map=m.map /dev/sr0\n"));
}

TEST(PlanText, AGuessedMediumIsCalledAGuess) {
  const Museum m;
  EXPECT_THAT(report(m, plan_of(m, {}), Format::kText), HasSubstr("(a guess: its 120 sectors fit on a CD; --medium"));
  EXPECT_THAT(report(m, plan_of(m), Format::kText), Not(HasSubstr("a guess")));
}

/// A thousand hurt files of one sector each.
TEST(PlanText, ManyStepsAreAFewRowsOfGrowingLength) {
  MemoryImage memory(numbered_sectors(2100));
  for (std::uint64_t i = 0; i < 1000; ++i) memory.mark(50 + 2 * i, 1, SectorState::kBad);
  const auto image = memory.open();
  HandDisc hand(*image);
  for (std::uint64_t i = 0; i < 1000; ++i) hand.file(numbered("f", 1000 + i), 50 + 2 * i, 2048);
  const Disc& disc = hand.finish();
  const Result<Verdicts> verdicts = judge(disc, {false, 1, {}});
  const Result<Plan> plan = make_plan(disc, *verdicts, on_cd());
  ASSERT_EQ(plan->steps.size(), 1000U);
  PlanReport how;
  how.rows = 10;
  const auto write = [&](std::size_t rows) {
    how.rows = rows;
    std::vector<std::string> lines =
        lines_of(text_of([&](const Sink& sink) { write_plan(disc, *verdicts, *plan, how, {}, Format::kText, sink); }));
    std::erase_if(lines, [](const std::string& l) { return l.find("  f1") == std::string::npos; });
    return lines;
  };
  const std::vector<std::string> lines = write(10);
  ASSERT_THAT(lines, SizeIs(10));
  EXPECT_THAT(lines.front(), EndsWith("  f1000"));
  EXPECT_THAT(lines.back(), AllOf(HasSubstr("    1,000  1,000 more files whole, 2.05 MB"), HasSubstr(" more")));
  EXPECT_THAT(write(0), SizeIs(1000));
}

TEST(PlanText, NothingToDoIsSaid) {
  MemoryImage memory(numbered_sectors(40));
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("a", 20, 2048);
  const Disc& disc = hand.finish();
  const Result<Verdicts> verdicts = judge(disc);
  const Result<Plan> plan = make_plan(disc, *verdicts);
  const std::string text =
      text_of([&](const Sink& sink) { write_plan(disc, *verdicts, *plan, {}, {}, Format::kText, sink); });
  EXPECT_THAT(text, HasSubstr("worth a try nothing: no sector is known to be hurt\n"));
  EXPECT_THAT(text, Not(HasSubstr("lacuna")));
}

TEST(PlanJson, HasEveryStepWithRangesAndTotals) {
  const Museum m;
  const Plan plan = plan_of(m);
  const rapidjson::Document d = json_of(report(m, plan, Format::kJson));
  EXPECT_EQ(keys_of(d), "schema,image,summary,medium,block_sectors,sectors_not_good,totals,left,steps");
  EXPECT_STREQ(d["schema"].GetString(), "lacuna/plan/1");
  EXPECT_STREQ(d["medium"].GetString(), "cd");
  ASSERT_EQ(d["steps"].Size(), plan.steps.size());
  const auto& first = d["steps"][0];
  EXPECT_EQ(keys_of(first), "reason,sectors,ranges,structures,files,so_far");
  std::uint64_t sectors = 0;
  for (const auto& step : d["steps"].GetArray()) {
    for (const auto& r : step["ranges"].GetArray()) sectors += r[1].GetUint64();
    EXPECT_EQ(step["so_far"]["sectors"].GetUint64(), sectors);
  }
  EXPECT_EQ(d["totals"]["sectors"].GetUint64(), sectors);
  EXPECT_EQ(d["left"]["files_unplaced"].GetUint64(), 1U);
}

TEST(PlanList, IsRangesInTheOrderOfThePlanAndNothingElse) {
  const Museum m;
  const Plan plan = plan_of(m);
  const std::string text = text_of([&](const Sink& sink) { write_plan_list(plan, sink); });
  EXPECT_THAT(lines_of(text), Contains("30 2"));
  EXPECT_THAT(lines_of(text), Contains("40 1"));
  EXPECT_THAT(lines_of(text), SizeIs(plan.ranges.size()));
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
// lacuna combine, end to end.
#include <fmt/format.h>
#include <rapidjson/document.h>

#include "cli/command.h"
#include "lacuna/sector_map.h"

namespace lacuna::test {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;

class CombineCommand : public MuseumDisc {
 protected:
  static std::string path(const std::string& name) { return (scratch_ / name).string(); }
  static std::string text_of(const std::string& name) {
    const auto bytes = read_file(scratch_ / name);
    return {bytes.begin(), bytes.end()};
  }
  /// A copy of the disc in which these sectors are zeros, and its map; gives the argument that names both.
  static std::string read_with_holes(const std::string& name, const std::vector<SectorRun>& bad) {
    auto bytes = read_file(folder() / "museum.iso");
    std::string map;
    for (const SectorRun& r : bad) {
      std::fill_n(bytes.begin() + static_cast<std::ptrdiff_t>(r.first * kSectorBytes), r.count * kSectorBytes,
                  std::uint8_t{0});
      map += fmt::format("{} {} bad\n", r.first, r.count);
    }
    write_file(scratch_ / (name + ".iso"), {std::string(bytes.begin(), bytes.end())});
    write_file(scratch_ / (name + ".map"), map.empty() ? "#! default good\n" : map);
    return path(name + ".iso") + ",map=" + path(name + ".map");
  }
  static std::vector<std::uint8_t> disc() { return read_file(folder() / "museum.iso"); }

  static inline ScratchFolder scratch_;
  void SetUp() override {
    for (const auto& entry : std::filesystem::directory_iterator(scratch_.path())) std::filesystem::remove_all(entry);
  }
};

TEST_F(CombineCommand, TwoReadsWithOtherHolesMakeTheWholeDisc) {
  const std::string a = read_with_holes("a", {{30, 20}, {100, 5}}), b = read_with_holes("b", {{60, 20}});
  const ProcessResult done = lacuna({"combine", "--to", path("out.iso"), a, b});
  EXPECT_EQ(done.status, 0) << done.err;
  EXPECT_THAT(done.out, AllOf(HasSubstr("good: two or more reads agree"), HasSubstr("good: one read has them")));
  EXPECT_EQ(read_file(path("out.iso")), disc());
  const ProcessResult survey = lacuna({"survey", path("out.iso"), "--map", path("out.iso.map")});
  EXPECT_EQ(survey.status, 0) << survey.out;
}

TEST_F(CombineCommand, WhatNoReadHasIsALossAndTheMapSaysSo) {
  const std::string a = read_with_holes("a", {{30, 20}}), b = read_with_holes("b", {{40, 20}});
  const ProcessResult done = lacuna({"combine", "--to", path("out.iso"), a, b, "--format", "json"});
  EXPECT_EQ(done.status, 1) << done.err;
  rapidjson::Document json;
  json.Parse(done.out.c_str());
  ASSERT_FALSE(json.HasParseError());
  EXPECT_STREQ(json["schema"].GetString(), "lacuna/combine/1");
  EXPECT_EQ(json["states"]["bad"].GetUint64(), 10U);
  EXPECT_EQ(json["reads"][1]["gave"].GetUint64(), 10U);
  EXPECT_THAT(text_of("out.iso.map"), HasSubstr("40 10 bad\n"));
  EXPECT_THAT(text_of("out.iso.reads.jsonl"),
              HasSubstr(R"({"lba":30,"sectors":10,"state":"good","how":"alone","reads":[1]})"));
}

TEST_F(CombineCommand, AStrangerIsRefused) {
  const std::string a = read_with_holes("a", {});
  write_file(scratch_ / "noise.iso", prose("noise", 400'000));
  const ProcessResult done = lacuna({"combine", "--to", path("out.iso"), a, path("noise.iso")});
  EXPECT_EQ(done.status, 2);
  EXPECT_THAT(done.err, AllOf(HasSubstr("noise.iso does not look like a read of the same disc"), HasSubstr("--force")));
  EXPECT_FALSE(std::filesystem::exists(path("out.iso")));
}

TEST_F(CombineCommand, NothingIsOverwrittenAndNoReadIsChanged) {
  const std::string a = read_with_holes("a", {{30, 20}}), b = read_with_holes("b", {{60, 20}});
  const std::string before = text_of("a.iso") + text_of("b.iso") + text_of("a.map");
  ASSERT_EQ(lacuna({"combine", "--to", path("out.iso"), a, b}).status, 0);
  EXPECT_EQ(text_of("a.iso") + text_of("b.iso") + text_of("a.map"), before);
  const ProcessResult again = lacuna({"combine", "--to", path("out.iso"), a, b});
  EXPECT_EQ(again.status, 4);
  EXPECT_THAT(again.err, HasSubstr("already there"));
  EXPECT_EQ(lacuna({"combine", "--to", path("a.iso"), a, b}).status, 4);
}

TEST_F(CombineCommand, AReadDoesNotCountTwiceUnderAnotherName) {
  const std::string a = read_with_holes("a", {{30, 20}}), b = read_with_holes("b", {{60, 20}}),
                    c = read_with_holes("c", {});
  EXPECT_EQ(lacuna({"combine", "--to", path("twice.iso"), a, path("a.iso")}).status, 2);
  std::filesystem::create_symlink(path("a.iso"), path("link.iso"));
  EXPECT_EQ(lacuna({"combine", "--to", path("twice.iso"), a, path("link.iso")}).status, 2);
  ASSERT_EQ(lacuna({"combine", "--to", path("ab.iso"), a, b}).status, 0);
  ASSERT_EQ(lacuna({"combine", "--to", path("abc.iso"), path("ab.iso"), c}).status, 0);
  const ProcessResult kin = lacuna({"combine", "--to", path("more.iso"), path("abc.iso"), a});
  EXPECT_EQ(kin.status, 2);
  EXPECT_THAT(kin.err, AllOf(HasSubstr("both go back to"), HasSubstr("a.iso")));
  EXPECT_EQ(lacuna({"combine", "--to", path("more.iso"), "--force", path("abc.iso"), a}).status, 0);
}

TEST_F(CombineCommand, WrongRequestsAreUsage) {
  const std::string a = read_with_holes("a", {});
  EXPECT_EQ(lacuna({"combine", a}).status, 2);
  EXPECT_EQ(lacuna({"combine", "--to", path("out.iso")}).status, 2);
  EXPECT_EQ(lacuna({"combine", "--to", path("out.iso"), a + ",drive=perhaps"}).status, 2);
  EXPECT_EQ(lacuna({"combine", "--to", path("out.iso"), path("a.iso") + ",starts-at=x"}).status, 2);
  EXPECT_EQ(lacuna({"combine", "--to", path("out.iso"), a, "--form", "raw"}).status, 2);
  EXPECT_THAT(lacuna({"combine", "--to", path("out.iso"), path("a.iso") + ",drive=yes", a}).err,
              HasSubstr("must be the last"));
  EXPECT_EQ(lacuna({"combine", "--to", path("out.iso"), path("missing.iso")}).status, 3);
  EXPECT_EQ(lacuna({"combine", "--to", path("no-such-folder/out.iso"), a}).status, 4);
}

TEST_F(CombineCommand, AFullTargetIsSaidAndLeavesNothing) {
  const std::string a = read_with_holes("a", {});
  ProcessOptions options;
  options.largest_file = 100'000;
  const ProcessResult done = lacuna({"combine", "--to", path("out.iso"), a}, options);
  EXPECT_EQ(done.status, 4) << done.err;
  EXPECT_FALSE(std::filesystem::exists(path("out.iso")));
  EXPECT_FALSE(std::filesystem::exists(path("out.iso.map")));
}

TEST_F(CombineCommand, ADriveIsAskedForWhatTheImageLacks) {
  const std::string a = read_with_holes("a", {{30, 20}, {100, 5}});
  const ProcessResult done = lacuna({"combine", "--to", path("out.iso"), a, image() + ",drive=yes"});
  EXPECT_EQ(done.status, 0) << done.err;
  EXPECT_THAT(done.out, HasSubstr("for 25 sectors"));
  EXPECT_EQ(read_file(path("out.iso")), disc());
  EXPECT_FALSE(std::filesystem::exists(path("out.iso.drive-read")));
  EXPECT_FALSE(std::filesystem::exists(path("out.iso.drive-read.map")));
}

TEST_F(CombineCommand, ADriveAloneIsReadWhole) {
  const ProcessResult done = lacuna({"combine", "--to", path("out.iso"), image() + ",drive=yes"});
  EXPECT_EQ(done.status, 0) << done.err;
  EXPECT_EQ(read_file(path("out.iso")), disc());
}

TEST_F(CombineCommand, ManyImagesAreSurveyedInOneCallAndOneThatIsNoneIsPassedOver) {
  const std::string a = read_with_holes("a", {}), b = read_with_holes("b", {{60, 20}});
  const ProcessResult done = lacuna({"survey", "--format", "json", a, path("missing.iso"), b});
  EXPECT_EQ(done.status, 3);
  EXPECT_THAT(done.err, HasSubstr("missing.iso"));
  EXPECT_EQ(std::ranges::count(done.out, '\n'), 2) << done.out;
  EXPECT_EQ(lacuna({"survey", a, b, "--map", path("a.map")}).status, 2);
}

}  // namespace
}  // namespace lacuna::test

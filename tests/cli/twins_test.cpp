// SPDX-License-Identifier: GPL-3.0-or-later
// twins and pull --twins from end to end.
#include <rapidjson/document.h>

#include "cli/command.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

std::string text_of(const std::filesystem::path& file) {
  const std::vector<std::uint8_t> bytes = read_file(file);
  return {bytes.begin(), bytes.end()};
}

/// The museum's disc, of which a picture is damaged, and a backup of its pictures.
struct TwinCommand : MuseumDisc {
  const ScratchFolder scratch;
  std::string damage, backup, good;

  void SetUp() override {
    damage = map("twins.map", std::to_string(lba_of("Pilot boat, line 1\n") + 2) + " 3 bad\n");
    good = map("good.map", "#! default good\n");
    const std::filesystem::path tree = scratch / "backup";
    write_file(tree / "2004/PILOT BOAT.JPG", prose("Pilot boat", 30000));
    write_file(tree / "2004/other.jpg", prose("Another", 30000));
    run_command(scratch.path(), "find backup -exec touch -d '2004-03-09 16:20:00 UTC' {} +");
    author("backup");
  }
  void author(const std::string& name) {
    const std::vector<std::uint8_t> bytes = genisoimage(scratch / name, "-R -J -V BACKUP");
    write_file(scratch / (name + ".iso"), std::string(bytes.begin(), bytes.end()));
    backup = (scratch / (name + ".iso")).string();
  }
};

TEST_F(TwinCommand, NamesTheDonorAndEndsWithZeroWhenAllIsWholeThen) {
  const ProcessResult r = lacuna({"twins", image(), "--map", damage, backup + ",map=" + good});
  EXPECT_EQ(r.status, 0) << r.out << r.err;
  EXPECT_THAT(r.out, HasSubstr("Pictures/Pilot boat.jpg"));
  EXPECT_THAT(r.out, HasSubstr("whole with what others hold"));
  EXPECT_THAT(r.out, HasSubstr("2004/PILOT BOAT.JPG on "));
  EXPECT_THAT(r.out, HasSubstr("lacuna pull "));
}

TEST_F(TwinCommand, Json) {
  const ProcessResult r = lacuna({"twins", image(), "--map", damage, backup, "--format", "json"});
  EXPECT_EQ(r.status, 0) << r.err;
  rapidjson::Document d;
  ASSERT_FALSE(d.Parse(r.out.c_str()).HasParseError()) << r.out;
  EXPECT_STREQ(d["schema"].GetString(), "lacuna/twins/1");
  EXPECT_EQ(d["summary"]["outcomes"]["whole"]["files"].GetUint(), 1u);
  EXPECT_STREQ(d["donors"][1]["volume"].GetString(), "BACKUP");
  EXPECT_EQ(d["donors"][1]["files"].GetUint(), 2u);
  ASSERT_EQ(d["files"].Size(), 1u);
  const auto& f = d["files"][0];
  EXPECT_STREQ(f["outcome"].GetString(), "whole");
  EXPECT_STREQ(f["state"].GetString(), "damaged");
  EXPECT_STREQ(f["evidence"].GetString(), "twin");
  EXPECT_STREQ(f["basis"].GetString(), "assumed");
  EXPECT_STREQ(f["donors"][0]["path"].GetString(), "2004/PILOT BOAT.JPG");
  EXPECT_EQ(f["donors"][0]["ranges"][0]["offset"].GetUint(), 4096u);
  EXPECT_EQ(f["donors"][0]["ranges"][0]["length"].GetUint(), 3 * 2048u);
  EXPECT_EQ(f["matches"][0]["gives_bytes"].GetUint(), 3 * 2048u);
}

TEST_F(TwinCommand, Ndjson) {
  const ProcessResult r = lacuna({"twins", image(), "--map", damage, backup, "--format", "ndjson"});
  EXPECT_EQ(r.status, 0) << r.err;
  EXPECT_EQ(std::count(r.out.begin(), r.out.end(), '\n'), 2);
}

TEST_F(TwinCommand, PullTakesItWholeAndVerifies) {
  const std::string to = (scratch / "out").string();
  EXPECT_EQ(lacuna({"pull", image(), "--map", damage, "--to", to, "--damaged"}).status, 1);
  const ProcessResult r = lacuna({"pull", image(), "--map", damage, "--to", to, "--twins", backup});
  EXPECT_EQ(r.status, 0) << r.out << r.err;
  EXPECT_THAT(r.out, HasSubstr("1 file with what other images hold, 1 of them whole"));
  EXPECT_EQ(text_of(scratch / "out/Pictures/Pilot boat.jpg"), prose("Pilot boat", 30000));
  EXPECT_TRUE(run_command(scratch / "out", "cmp 'Pictures/Pilot boat.jpg' '../backup/2004/PILOT BOAT.JPG'"));
  EXPECT_TRUE(run_command(scratch / "out", "sha256sum -c SHA256SUMS"));
  EXPECT_THAT(text_of(scratch / "out/lacuna-manifest.jsonl"),
              HasSubstr(R"("evidence":"twin","outcome":"pulled","missing_bytes":0)"));
  EXPECT_THAT(text_of(scratch / "out/lacuna-manifest.jsonl"), HasSubstr(R"("donors":[{"image":)"));
  EXPECT_EQ(lacuna({"verify", to}).status, 0);
}

TEST_F(TwinCommand, AVersionOfAnotherDateIsDoubtful) {
  const std::filesystem::path tree = scratch / "later";
  std::string version = prose("Pilot boat", 30000);
  version[5000] = '#';
  write_file(tree / "Pilot boat.jpg", version);
  run_command(scratch.path(), "find later -exec touch -d '2004-03-09 16:20:01 UTC' {} +");
  author("later");
  ProcessResult r = lacuna({"twins", image(), "--map", damage, backup});
  EXPECT_EQ(r.status, 1);
  EXPECT_THAT(r.out, HasSubstr("complete with what others hold, but doubtful"));
  EXPECT_THAT(r.out, HasSubstr("doubt: the dates differ"));
  r = lacuna({"pull", image(), "--map", damage, "--to", (scratch / "out").string(), "--twins", backup});
  EXPECT_EQ(r.status, 1);
  EXPECT_THAT(text_of(scratch / "out/lacuna-manifest.jsonl"), HasSubstr("the dates differ"));
}

TEST_F(TwinCommand, DonorsThatCannotBeLookedAtAreNamedAndPassedOver) {
  write_file(scratch / "noise.img", prose("no file system", 100'000));
  const ProcessResult r = lacuna({"twins", image(), "--map", damage, (scratch / "noise.img").string(),
                                  (scratch / "not there.iso").string(), backup});
  EXPECT_EQ(r.status, 1);
  EXPECT_THAT(r.err, HasSubstr("noise.img"));
  EXPECT_THAT(r.err, HasSubstr("not there.iso"));
  EXPECT_THAT(r.out, HasSubstr("whole with what others hold"));
}

TEST_F(TwinCommand, TheImageItselfIsHarmless) {
  const ProcessResult r = lacuna({"twins", image(), "--map", damage, image(), image(), backup, backup});
  EXPECT_EQ(r.status, 0) << r.out << r.err;
  EXPECT_EQ(lacuna({"twins", image(), "--map", damage, image()}).status, 1);
}

TEST_F(TwinCommand, NothingToDo) {
  const ProcessResult r = lacuna({"twins", image(), "--map", good, backup});
  EXPECT_EQ(r.status, 0) << r.out << r.err;
  EXPECT_THAT(r.out, HasSubstr("0 files lack bytes"));
}

TEST_F(TwinCommand, Usage) {
  EXPECT_EQ(lacuna({"twins", image()}).status, 2);
  EXPECT_EQ(lacuna({"twins", image(), backup + ",map="}).status, 2);
  EXPECT_EQ(lacuna({"twins", (scratch / "not there.iso").string(), backup}).status, 3);
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
// The command on images of raw sectors: no map is needed, the sectors tell.
#include <fmt/format.h>

#include "cli/command.h"
#include "support/raw_disc.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

class RawMuseum : public MuseumDisc {
 protected:
  static std::string path(const std::string& name) { return (folder() / name).string(); }
  static RawDisc raw() {
    const auto plain = read_file(folder() / "museum.iso");
    RawDisc disc;
    disc.add(SectorForm::kMode1, plain);
    return disc;
  }
};

TEST_F(RawMuseum, IntactSectorsProveEveryFileWhole) {
  raw().write(folder(), "intact.bin");
  const ProcessResult survey = lacuna({"survey", path("intact.bin")});
  EXPECT_EQ(survey.status, 0) << survey.err;
  EXPECT_THAT(survey.out, HasSubstr("1 TRACK"));
  EXPECT_THAT(survey.out, HasSubstr("proven"));
  EXPECT_THAT(survey.out, Not(HasSubstr("Basis: assumed")));
  const ProcessResult files = lacuna({"files", path("intact.bin"), "--format", "ndjson"});
  EXPECT_THAT(files.out, HasSubstr(R"("basis":"edc")"));
  EXPECT_THAT(files.out, Not(HasSubstr(R"("basis":"assumed")")));
}

TEST_F(RawMuseum, ADamagedOneIsMadePlainWithItsMap) {
  RawDisc disc = raw();
  for (std::size_t i = 16; i < 2064; ++i) disc.unit(disc.units() - 160)[i] ^= static_cast<std::uint8_t>(i * 7 + 1);
  for (std::size_t i = 0; i < 10; ++i) disc.unit(20)[100 + i] ^= 0x5a;
  disc.write(folder(), "hurt.bin");
  const ProcessResult map = lacuna({"map", path("hurt.bin")});
  EXPECT_EQ(map.status, 1);
  EXPECT_THAT(map.out, HasSubstr("#! basis edc"));
  EXPECT_THAT(map.out, HasSubstr("20 1 repaired"));
  EXPECT_THAT(map.out, HasSubstr(fmt::format("{} 1 bad", disc.units() - 160)));
  const ProcessResult plain = lacuna({"pull", path("hurt.bin"), "--to-plain", path("hurt.iso")});
  EXPECT_EQ(plain.status, 1) << plain.err;
  EXPECT_THAT(plain.out, HasSubstr("1 of them missing"));
  const ProcessResult again = lacuna({"pull", path("hurt.bin"), "--to-plain", path("hurt.iso")});
  EXPECT_EQ(again.status, 4);
  EXPECT_THAT(again.err, HasSubstr("is already there"));
  const ProcessResult nowhere = lacuna({"pull", path("hurt.bin"), "--to-plain", path("none/hurt.iso")});
  EXPECT_EQ(nowhere.status, 4) << "it is the place to write to that is not there";
  EXPECT_THAT(nowhere.err, HasSubstr("make it first"));
  const ProcessResult one = lacuna({"files", path("hurt.bin"), "--format", "csv"});
  const ProcessResult other = lacuna({"files", path("hurt.iso"), "--map", path("hurt.iso.map"), "--format", "csv"});
  EXPECT_EQ(one.status, other.status);
  EXPECT_EQ(one.out, other.out);
}

TEST_F(RawMuseum, TracksOfACueSheetComeOutWithTheFiles) {
  RawDisc disc = raw();
  const std::uint64_t audio_lba = disc.units();
  disc.add_audio(100, 3);
  disc.write(folder(), "Disc.BIN");
  write_file(folder() / "disc.cue", fmt::format("FILE \"disc.bin\" BINARY\n TRACK 01 MODE1/2352\n  INDEX 01 00:00:00\n"
                                                " TRACK 02 AUDIO\n  TITLE \"Foghorn\"\n  INDEX 01 {:02}:{:02}:{:02}\n",
                                                audio_lba / 4500, audio_lba / 75 % 60, audio_lba % 75));
  const ProcessResult survey = lacuna({"survey", path("disc.cue")});
  EXPECT_THAT(survey.out, HasSubstr("2 TRACKS"));
  EXPECT_THAT(survey.out, HasSubstr("Foghorn"));
  const ProcessResult pulled = lacuna({"pull", path("disc.cue"), "_audio/**", "--to", path("sound")});
  EXPECT_EQ(pulled.status, 0) << pulled.err;
  const auto wave = read_file(folder() / "sound/_audio/track-02.wav");
  ASSERT_EQ(wave.size(), 44 + 100 * std::size_t{kRawSectorBytes});
  EXPECT_TRUE(std::equal(wave.begin() + 44, wave.end(), disc.unit(audio_lba).begin()));
  EXPECT_EQ(lacuna({"verify", path("sound")}).status, 0);
}

TEST_F(RawMuseum, PlainImagesAndMissingTracksAreUsageErrors) {
  EXPECT_EQ(lacuna({"pull", image(), "--to-plain", path("x.iso")}).status, 2);
  raw().write(folder(), "one.bin");
  const ProcessResult none = lacuna({"pull", path("one.bin"), "--to-plain", path("x.iso"), "--track", "7"});
  EXPECT_EQ(none.status, 2);
  EXPECT_THAT(none.err, HasSubstr("has no track 7"));
  EXPECT_EQ(lacuna({"pull", path("one.bin")}).status, 2);
}

}  // namespace
}  // namespace lacuna::test

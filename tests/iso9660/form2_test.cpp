// SPDX-License-Identifier: GPL-3.0-or-later
// Files on XA form 2 and on audio sectors, from an image that has its sectors whole.
#include <gmock/gmock.h>

#include "support/iso_builder.h"
#include "support/opened_raw.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

constexpr std::uint64_t kHead = 44;
constexpr std::uint64_t kWhole = 2352;

// CD-ROM XA attribute words as authoring tools write them (from memory).
constexpr std::uint16_t kSaysForm1 = 0x0d55;
constexpr std::uint16_t kSaysForm2 = 0x1555;
constexpr std::uint16_t kSaysMixed = 0x2555;
constexpr std::uint16_t kSaysAudio = 0x4555;

/// A disc with README.TXT and MOVIE.DAT, the latter of `sectors` sectors of which `forms` says the form ('1', '2', 'a'
/// for audio, '?' for lost ones).
struct VideoDisc {
  RawImage raw;
  std::uint64_t lba = 0;

  explicit VideoDisc(const std::string& forms, std::uint16_t attributes = kSaysForm2, std::size_t short_by = 0) {
    IsoNode movie = iso_file("MOVIE.DAT;1", text_content(forms.size() * 2048 - short_by));
    if (attributes != 0) movie.system_use = xa_record(attributes, 3);
    IsoOptions options;
    options.xa = true;
    const IsoImage iso =
        build_iso(iso_directory("", {std::move(movie), iso_file("README.TXT;1", text_content(3000))}), options);
    lba = iso.primary.at("MOVIE.DAT;1").extent / 2048;
    raw.add_plain(iso.bytes);
    for (std::size_t i = 0; i < forms.size(); ++i) {
      FakeSector& s = raw.sector(lba + i);
      if (forms[i] == '2') s = form2_sector(i);
      if (forms[i] == 'a') s = audio_sector(i);
      if (forms[i] == '?') {
        s.form = SectorForm::kUnknown;
        s.code = SectorState::kBad;
      }
    }
  }
};

std::vector<std::uint8_t> sectors_of(VideoDisc& d, std::size_t count) {
  std::vector<std::uint8_t> all;
  for (std::size_t i = 0; i < count; ++i) {
    const auto& bytes = d.raw.sector(d.lba + i).bytes;
    all.insert(all.end(), bytes.begin(), bytes.end());
  }
  return all;
}

TEST(Form2, FileIsItsWholeSectorsBehindARiffHeader) {
  VideoDisc d("2222");
  const OpenedRaw disc(d.raw);
  ASSERT_TRUE(disc.ok());
  const Node& n = disc.node("MOVIE.DAT");
  EXPECT_EQ(n.size, kHead + 4 * kWhole);
  EXPECT_TRUE(n.has(node_flag::kRawSectors));
  EXPECT_EQ(disc.state("MOVIE.DAT"), FileState::kWhole);
  EXPECT_THAT(disc.doubts("MOVIE.DAT"), IsEmpty());
  ASSERT_EQ(disc.tree().extents(n).size(), 1u);
  EXPECT_EQ(disc.tree().extents(n)[0], (Extent{d.lba * 2048, 4 * 2048, 0, 0}));

  const std::vector<std::uint8_t> content = disc.content("MOVIE.DAT", nullptr, 1000);
  // RIFF, size - 8, CDXA, fmt, 16: group 0, user 0, attributes 1555h, "XA", file number 3; data, length.
  const std::vector<std::uint8_t> head{'R', 'I', 'F', 'F', 0xE4, 0x24, 0,   0,   'C', 'D',  'X',  'A',  'f', 'm', 't',
                                       ' ', 16,  0,   0,   0,    0,    0,   0,   0,   0x55, 0x15, 'X',  'A', 3,   0,
                                       0,   0,   0,   0,   0,    0,    'd', 'a', 't', 'a',  0xC0, 0x24, 0,   0};
  ASSERT_EQ(head.size(), kHead);
  EXPECT_EQ(std::vector<std::uint8_t>(content.begin(), content.begin() + kHead), head);
  EXPECT_EQ(std::vector<std::uint8_t>(content.begin() + kHead, content.end()), sectors_of(d, 4));
  EXPECT_EQ(disc.state("README.TXT"), FileState::kWhole);
}

TEST(Form2, LengthIsRoundedUpToSectors) {
  VideoDisc d("2222", kSaysForm2, 700);
  const OpenedRaw disc(d.raw);
  EXPECT_EQ(disc.node("MOVIE.DAT").size, kHead + 4 * kWhole);
  EXPECT_EQ(disc.state("MOVIE.DAT"), FileState::kWhole);
}

TEST(Form2, MixedFormsKeepTheirSectors) {
  VideoDisc d("1212", kSaysMixed);
  const OpenedRaw disc(d.raw);
  EXPECT_EQ(disc.node("MOVIE.DAT").size, kHead + 4 * kWhole);
  EXPECT_EQ(disc.state("MOVIE.DAT"), FileState::kWhole);
  const std::vector<std::uint8_t> content = disc.content("MOVIE.DAT");
  EXPECT_EQ(std::vector<std::uint8_t>(content.begin() + kHead, content.end()), sectors_of(d, 4));
}

TEST(Form2, FileThatOnlySaysSoStaysPlain) {
  for (const std::uint16_t attributes : {kSaysForm2, kSaysMixed, kSaysForm1}) {
    VideoDisc d("1111", attributes);
    const OpenedRaw disc(d.raw);
    EXPECT_EQ(disc.node("MOVIE.DAT").size, 4u * 2048);
    EXPECT_FALSE(disc.node("MOVIE.DAT").has(node_flag::kRawSectors));
    EXPECT_EQ(disc.state("MOVIE.DAT"), FileState::kWhole);
    EXPECT_THAT(disc.doubts("MOVIE.DAT"), IsEmpty());
  }
}

TEST(Form2, FileThatDoesNotSaySoIsNeverCutTo2048) {
  for (const std::uint16_t attributes : {std::uint16_t{0}, kSaysForm1}) {
    VideoDisc d("1121", attributes);
    const OpenedRaw disc(d.raw);
    EXPECT_EQ(disc.node("MOVIE.DAT").size, kHead + 4 * kWhole);
    EXPECT_EQ(disc.state("MOVIE.DAT"), FileState::kWhole);
  }
}

TEST(Form2, SectorsWithWrongCodesAreGapsOfWholeSectors) {
  VideoDisc d("22222");
  d.raw.sector(d.lba + 2).code = SectorState::kBad;
  const OpenedRaw disc(d.raw);
  EXPECT_EQ(disc.state("MOVIE.DAT"), FileState::kDamaged);
  EXPECT_THAT(disc.gaps("MOVIE.DAT"), ElementsAre(Gap{kHead + 2 * kWhole, kWhole, SectorState::kBad}));
  std::vector<Gap> met;
  const auto content = disc.content("MOVIE.DAT", &met);
  EXPECT_THAT(met, ElementsAre(Gap{kHead + 2 * kWhole, kWhole, SectorState::kBad}));
  EXPECT_TRUE(std::all_of(content.begin() + kHead + 2 * kWhole, content.begin() + kHead + 3 * kWhole,
                          [](std::uint8_t c) { return c == 0; }));
}

TEST(Form2, SectorsWithoutCodesRestOnTheMap) {
  VideoDisc d("222");
  for (std::uint64_t i = 0; i < 3; ++i) d.raw.sector(d.lba + i).code.reset();
  EXPECT_EQ(OpenedRaw(d.raw).state("MOVIE.DAT"), FileState::kWhole);
  d.raw.mark(d.lba + 1, 1, SectorState::kUnread);
  const OpenedRaw disc(d.raw);
  EXPECT_EQ(disc.state("MOVIE.DAT"), FileState::kDamaged);
  EXPECT_THAT(disc.gaps("MOVIE.DAT"), ElementsAre(Gap{kHead + kWhole, kWhole, SectorState::kUnread}));
}

TEST(Form2, LostSectorsDoNotHideWhatTheOthersAre) {
  VideoDisc form2("2?2");
  const OpenedRaw a(form2.raw);
  EXPECT_EQ(a.node("MOVIE.DAT").size, kHead + 3 * kWhole);
  EXPECT_EQ(a.state("MOVIE.DAT"), FileState::kDamaged);
  VideoDisc form1("1?1");
  const OpenedRaw b(form1.raw);
  EXPECT_EQ(b.node("MOVIE.DAT").size, 3u * 2048);
  EXPECT_EQ(b.state("MOVIE.DAT"), FileState::kDamaged);
  VideoDisc none("???");
  const OpenedRaw c(none.raw);
  EXPECT_EQ(c.node("MOVIE.DAT").size, kHead + 3 * kWhole);
  EXPECT_EQ(c.state("MOVIE.DAT"), FileState::kLost);
}

TEST(Form2, BytesOfItInAPlainFileAreMissing) {
  // The image has some of the sectors' user data only.
  VideoDisc d("2222");
  d.raw.sector(d.lba + 3) = data_sector(std::vector<std::uint8_t>(2048, 9));
  d.raw.sector(d.lba + 3).form = SectorForm::kUnknown;
  d.raw.sector(d.lba + 3).bytes.clear();
  const OpenedRaw disc(d.raw);
  EXPECT_EQ(disc.state("MOVIE.DAT"), FileState::kDamaged);
  EXPECT_THAT(disc.gaps("MOVIE.DAT"), ElementsAre(Gap{kHead + 3 * kWhole, kWhole, SectorState::kAbsent}));
}

TEST(Form2, AudioFileIsAWavOfItsSectors) {
  VideoDisc d("aaa", kSaysAudio);
  Track track;
  track.number = 2;
  track.audio = true;
  track.first_lba = d.lba;
  track.sectors = 3;
  d.raw.add_track(track);
  const OpenedRaw disc(d.raw);
  const std::vector<std::uint8_t> content = disc.content("MOVIE.DAT");
  EXPECT_EQ(content, disc.content("_audio/track-02.wav"));
  EXPECT_EQ(std::string(content.begin() + 8, content.begin() + 12), "WAVE");
  EXPECT_EQ(disc.state("MOVIE.DAT"), FileState::kWhole);
  EXPECT_EQ(disc.state("_audio/track-02.wav"), FileState::kWhole) << "the file stands for the track";
}

TEST(Form2, OrdinaryFileOnAudioSectorsIsNotWhole) {
  VideoDisc d("1aa1", kSaysForm1);
  const OpenedRaw disc(d.raw);
  EXPECT_EQ(disc.state("MOVIE.DAT"), FileState::kDamaged);
  EXPECT_THAT(disc.gaps("MOVIE.DAT"), ElementsAre(Gap{2048, 2 * 2048, SectorState::kAbsent}));
  EXPECT_THAT(disc.doubts("MOVIE.DAT"), ElementsAre(HasSubstr("audio sectors")));
}

TEST(Form2, SmallLogicalBlocksThatDoNotFitAreADoubt) {
  IsoNode movie = iso_file("MOVIE.DAT;1", text_content(5000));
  movie.system_use = xa_record(kSaysForm2);
  IsoOptions options;
  options.block_bytes = 512;
  const IsoImage iso = build_iso(iso_directory("", {iso_file("A.TXT;1", "first"), std::move(movie)}), options);
  const std::uint64_t at = iso.primary.at("MOVIE.DAT;1").extent;
  ASSERT_NE(at % 2048, 0u) << "the test wants it in the midst of a sector";
  RawImage raw;
  raw.add_plain(iso.bytes);
  for (std::uint64_t lba = at / 2048 + 1; lba < raw.end_lba(); ++lba) raw.sector(lba) = form2_sector(lba);
  const OpenedRaw disc(raw);
  EXPECT_FALSE(disc.node("MOVIE.DAT").has(node_flag::kRawSectors));
  EXPECT_NE(disc.state("MOVIE.DAT"), FileState::kWhole);
  EXPECT_THAT(disc.doubts("MOVIE.DAT"), ::testing::Contains(HasSubstr("not on whole ones")));
}

}  // namespace
}  // namespace lacuna::test

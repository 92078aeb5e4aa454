// SPDX-License-Identifier: GPL-3.0-or-later
// Audio tracks in the tree: beside a file system, alone, and with layouts that lie.
#include "disc/audio_tracks.h"

#include <gmock/gmock.h>

#include "support/iso_builder.h"
#include "support/opened_raw.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

constexpr std::uint64_t kWavSector = 2352;
constexpr std::uint64_t kWavHeader = 44;

/// A data track with a file system on it, a pregap of two sectors, and two audio tracks.
RawImage mixed_disc() {
  RawImage raw;
  raw.add_plain(build_iso(iso_directory("", {iso_file("README.TXT;1", text_content(3000))})).bytes, SectorForm::kMode1);
  Track data;
  data.sectors = raw.end_lba();
  raw.add_track(data);
  raw.add(audio_sector(900));
  raw.add(audio_sector(901));
  raw.add_audio_track(2, 5, 100);
  raw.tracks().back().pregap_sectors = 2;
  raw.add_audio_track(3, 4, 200);
  raw.tracks().back().title = "Low Tide";
  raw.tracks().back().performer = "The Harbour Band";
  return raw;
}

TEST(AudioTracks, AreFilesBesideThoseOfTheFileSystem) {
  const RawImage raw = mixed_disc();
  const OpenedRaw disc(raw.open());
  ASSERT_TRUE(disc.ok());
  EXPECT_THAT(disc.paths(), ElementsAre("README.TXT", "_audio", "_audio/track-02.wav", "_audio/track-03.wav"));
  const Node& n = disc.node("_audio/track-03.wav");
  EXPECT_EQ(n.size, kWavHeader + 4 * kWavSector);
  EXPECT_TRUE(n.has(node_flag::kRawSectors));
  EXPECT_EQ(n.evidence, Evidence::kTree);
  EXPECT_EQ(n.view, disc.tree().node(kRoot).view);
  const auto extents = disc.tree().extents(n);
  ASSERT_EQ(extents.size(), 1u);
  EXPECT_EQ(extents[0], (Extent{(raw.end_lba() - 4) * 2048, 4 * 2048, 0, 0}));
  const RawContent* content = disc.tree().raw_content(disc.id("_audio/track-03.wav"));
  ASSERT_NE(content, nullptr);
  EXPECT_EQ(content->track, 3u);
  EXPECT_EQ(content->title, "Low Tide");
  EXPECT_EQ(content->performer, "The Harbour Band");
  EXPECT_EQ(disc.state("README.TXT"), FileState::kWhole);
  EXPECT_EQ(disc.state("_audio/track-02.wav"), FileState::kWhole);
  EXPECT_THAT(disc.doubts("_audio/track-02.wav"), IsEmpty());
  EXPECT_FALSE(disc.disc().scan());
}

TEST(AudioTracks, PregapIsNoPartOfTheFile) {
  RawImage raw = mixed_disc();
  const std::uint64_t first = raw.tracks()[1].first_lba;
  const OpenedRaw disc(raw);
  const std::vector<std::uint8_t> content = disc.content("_audio/track-02.wav");
  ASSERT_EQ(content.size(), kWavHeader + 5 * kWavSector);
  EXPECT_TRUE(std::equal(content.begin() + kWavHeader, content.begin() + kWavHeader + kWavSector,
                         raw.sector(first).bytes.begin()));
}

TEST(AudioTracks, AloneMakeADiscWithANote) {
  RawImage raw;
  raw.add_audio_track(1, 30);
  raw.add_audio_track(2, 40);
  const OpenedRaw disc(raw);
  ASSERT_TRUE(disc.ok());
  EXPECT_THAT(disc.paths(), ElementsAre("_audio", "_audio/track-01.wav", "_audio/track-02.wav"));
  EXPECT_THAT(disc.disc().sessions(), IsEmpty());
  EXPECT_EQ(disc.disc().main_volume(), nullptr);
  EXPECT_EQ(disc.findings("audio-only"), 1u);
  EXPECT_FALSE(disc.disc().scan()) << "samples are no place to look for directories";
}

TEST(AudioTracks, AreNoAnswerToAViewOrSessionThatIsNotThere) {
  RawImage raw;
  raw.add_audio_track(1, 30);
  DiscOptions options;
  options.view = View::kUdf;
  const OpenedRaw by_view(raw, options);
  ASSERT_FALSE(by_view.ok());
  EXPECT_EQ(by_view.error().code, ErrorCode::kNoFileSystem);
  options.view.reset();
  options.session = 2;
  EXPECT_FALSE(OpenedRaw(raw, options).ok());
}

TEST(AudioTracks, DataTrackWithoutFileSystemIsStillScanned) {
  RawImage raw;
  for (unsigned i = 0; i < 40; ++i) raw.add(data_sector(std::vector<std::uint8_t>(2048, static_cast<std::uint8_t>(i))));
  raw.add_audio_track(2, 30);
  const OpenedRaw disc(raw);
  ASSERT_TRUE(disc.ok());
  ASSERT_TRUE(disc.disc().scan());
  EXPECT_EQ(disc.disc().scan()->reason, "no file system was found");
  EXPECT_EQ(disc.disc().scan()->looked_at_bytes, 40u * 2048);
}

TEST(AudioTracks, WithoutAnyAndWithoutFileSystemNothingOpens) {
  RawImage raw;
  for (unsigned i = 0; i < 40; ++i) raw.add(data_sector(std::vector<std::uint8_t>(2048, 7)));
  const OpenedRaw disc(raw);
  ASSERT_FALSE(disc.ok());
  EXPECT_EQ(disc.error().code, ErrorCode::kNoFileSystem);
}

TEST(AudioTracks, GuessedTrackIsDoubtful) {
  RawImage raw = mixed_disc();
  raw.tracks()[1].guessed = true;
  const OpenedRaw disc(raw);
  EXPECT_EQ(disc.state("_audio/track-02.wav"), FileState::kDoubtful);
  EXPECT_THAT(disc.doubts("_audio/track-02.wav"), ElementsAre(HasSubstr("no layout names this track")));
}

TEST(AudioTracks, SectorsThatLookLikeDataAreADoubt) {
  RawImage raw = mixed_disc();
  raw.sector(raw.tracks()[1].first_lba + 1).form = SectorForm::kMode1;
  const OpenedRaw disc(raw);
  EXPECT_EQ(disc.state("_audio/track-02.wav"), FileState::kDoubtful);
  EXPECT_THAT(disc.doubts("_audio/track-02.wav"), ElementsAre(HasSubstr("1 of its sectors look like data")));
}

TEST(AudioTracks, LayoutBeyondTheImageIsMissing) {
  RawImage raw = mixed_disc();
  raw.tracks()[2].sectors = 10;  // of which 4 are there
  const OpenedRaw disc(raw);
  EXPECT_EQ(disc.state("_audio/track-03.wav"), FileState::kDamaged);
  EXPECT_THAT(disc.gaps("_audio/track-03.wav"),
              ElementsAre(Gap{kWavHeader + 4 * kWavSector, 6 * kWavSector, SectorState::kAbsent}));
}

TEST(AudioTracks, NumbersOfALyingLayoutAreHarmless) {
  RawImage raw = mixed_disc();
  Track t;
  t.audio = true;
  for (const std::uint64_t n : {std::uint64_t{0}, kMaxSectors - 1, kMaxSectors, ~std::uint64_t{0}}) {
    for (const std::uint64_t count : {std::uint64_t{0}, std::uint64_t{1}, kMaxSectors, ~std::uint64_t{0}}) {
      t.first_lba = n;
      t.sectors = t.pregap_sectors = count;
      t.number = static_cast<std::uint32_t>(n);
      raw.add_track(t);
    }
  }
  const OpenedRaw disc(raw);
  ASSERT_TRUE(disc.ok());
  EXPECT_NE(disc.findings("track-empty"), 0u);
  for (const std::string& path : disc.paths()) {
    if (path.find("/track-4294967295") == std::string::npos) continue;
    EXPECT_EQ(disc.state(path), FileState::kLost) << path;
  }
  EXPECT_EQ(disc.state("_audio/track-02.wav"), FileState::kDoubtful) << "another track claims its sectors";
}

TEST(AudioTracks, NamesThatTheDiscHasItselfAreKeptApart) {
  RawImage raw;
  raw.add_plain(build_iso(iso_directory("", {iso_directory("_audio", {iso_file("TRACK-01.WAV;1", "a file")})})).bytes);
  raw.add_audio_track(1, 3);
  raw.add_audio_track(1, 3);  // a number twice
  const OpenedRaw disc(raw);
  EXPECT_THAT(disc.paths(), ElementsAre("_audio", "_audio/TRACK-01.WAV", "_audio~2", "_audio~2/track-01.wav",
                                        "_audio~2/track-01.wav~2"));
}

TEST(AudioTracks, UnclaimedSectorsLeaveThemOut) {
  RawImage raw = mixed_disc();
  DiscOptions options;
  options.unclaimed = true;
  const OpenedRaw disc(raw, options);
  for (const std::string& path : disc.paths()) {
    if (path.find("_unclaimed/") == std::string::npos) continue;
    // The pregap, which nothing claims.
    EXPECT_EQ(disc.tree().extents(disc.node(path))[0].position / 2048, raw.tracks()[1].first_lba - 2);
    EXPECT_NE(disc.state(path), FileState::kWhole);
  }
}

TEST(AudioTracks, EarlierSessionsLeaveThemInTheirPlace) {
  DiscOptions options;
  options.all_sessions = true;
  const OpenedRaw disc(mixed_disc(), options);
  EXPECT_THAT(disc.paths(),
              ElementsAre("_audio", "_audio/track-02.wav", "_audio/track-03.wav", "session-1", "session-1/README.TXT"));
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
// Content that is whole sectors: its states and gaps under every kind of damage, reading it, and what hits it.
#include <gmock/gmock.h>

#include "disc/raw_content.h"
#include "lacuna/hits.h"
#include "salvage/hand_disc.h"
#include "support/memory_image.h"
#include "support/opened_raw.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

constexpr std::uint64_t kHead = 44;
constexpr std::uint64_t kWhole = 2352;
const char* const kTrack = "_audio/track-01.wav";

/// A disc of one audio track of 20 sectors, from LBA 0.
RawImage one_track() {
  RawImage raw;
  raw.add_audio_track(1, 20);
  return raw;
}

TEST(WholeSectors, OffsetsOfContentAndOfExtents) {
  EXPECT_EQ(raw_begin(0), 44u);
  EXPECT_EQ(raw_begin(2047), 44u);
  EXPECT_EQ(raw_begin(2048), 44u + 2352);
  EXPECT_EQ(raw_end(0), 44u);
  EXPECT_EQ(raw_end(1), 44u + 2352);
  EXPECT_EQ(raw_end(2048), 44u + 2352);
  EXPECT_EQ(stored_begin(43), 0u);
  EXPECT_EQ(stored_begin(44 + 2351), 0u);
  EXPECT_EQ(stored_begin(44 + 2352), 2048u);
}

TEST(WholeSectors, UndamagedTrackIsWholeAndItsHeaderIsThatOfAWav) {
  const OpenedRaw disc(one_track());
  EXPECT_EQ(disc.state(kTrack), FileState::kWhole);
  EXPECT_EQ(disc.verdict(kTrack).basis, Basis::kAssumed);
  const std::vector<std::uint8_t> content = disc.content(kTrack);
  // RIFF, WAVE, PCM, 2 channels, 44,100 Hz, 176,400 bytes a second, frames of 4 bytes, 16 bits (from memory).
  const std::vector<std::uint8_t> head{'R', 'I', 'F', 'F', 0xE4, 0xB7, 0,   0,   'W', 'A',  'V',  'E',  'f', 'm',  't',
                                       ' ', 16,  0,   0,   0,    1,    0,   2,   0,   0x44, 0xAC, 0,    0,   0x10, 0xB1,
                                       2,   0,   4,   0,   16,   0,    'd', 'a', 't', 'a',  0xC0, 0xB7, 0,   0};
  ASSERT_EQ(head.size(), kHead);
  EXPECT_EQ(std::vector<std::uint8_t>(content.begin(), content.begin() + kHead), head);
  EXPECT_EQ(content.size(), kHead + 20 * kWhole);
}

TEST(WholeSectors, BasisIsTheMapsWhenThereIsOne) {
  RawImage raw = one_track();
  raw.with_map();
  EXPECT_EQ(OpenedRaw(raw).verdict(kTrack).basis, Basis::kMap);
}

TEST(WholeSectors, SilenceIsNoDamage) {
  RawImage raw;
  for (int i = 0; i < 5; ++i) raw.add(silent_sector());
  Track t;
  t.audio = true;
  t.sectors = 5;
  raw.add_track(t);
  const OpenedRaw disc(raw);
  EXPECT_EQ(disc.state(kTrack), FileState::kWhole);
  EXPECT_THAT(disc.doubts(kTrack), IsEmpty());
}

/// Damage of sectors 5 and 6, told or found in one way, and what it makes of the track.
struct Damage {
  const char* name;
  SectorState state;
  void (*inflict)(RawImage&, std::uint64_t lba);
};

class WholeSectorsDamage : public ::testing::TestWithParam<Damage> {};

TEST_P(WholeSectorsDamage, IsAGapOfWholeSectorsInTheFile) {
  RawImage raw = one_track();
  GetParam().inflict(raw, 5);
  GetParam().inflict(raw, 6);
  const OpenedRaw disc(raw);
  const Gap gap{kHead + 5 * kWhole, 2 * kWhole, GetParam().state};
  EXPECT_EQ(disc.state(kTrack), has_bytes(gap.state) ? FileState::kDoubtful : FileState::kDamaged);
  EXPECT_THAT(disc.gaps(kTrack), ElementsAre(gap));
  EXPECT_EQ(disc.verdict(kTrack).missing_bytes, has_bytes(gap.state) ? 0 : 2 * kWhole);
  // Reading in any steps shows the same, and the rest is where it belongs.
  for (const std::size_t step : {std::size_t{1}, std::size_t{1000}, std::size_t{2352}, std::size_t{1} << 20}) {
    std::vector<Gap> met;
    const std::vector<std::uint8_t> content = disc.content(kTrack, &met, step);
    EXPECT_THAT(met, ElementsAre(gap)) << step;
    for (std::uint64_t i = 0; i < 20; ++i) {
      const bool there = has_bytes(gap.state) || (i != 5 && i != 6);
      const std::vector<std::uint8_t> expected = there ? audio_sector(i).bytes : std::vector<std::uint8_t>(kWhole);
      EXPECT_TRUE(std::equal(expected.begin(), expected.end(), content.begin() + static_cast<long>(kHead + i * kWhole)))
          << "sector " << i << ", step " << step;
    }
  }
}

INSTANTIATE_TEST_SUITE_P(
    Kinds, WholeSectorsDamage,
    ::testing::Values(Damage{"MapBad", SectorState::kBad,
                             [](RawImage& r, std::uint64_t lba) { r.mark(lba, 1, SectorState::kBad); }},
                      Damage{"MapUnread", SectorState::kUnread,
                             [](RawImage& r, std::uint64_t lba) { r.mark(lba, 1, SectorState::kUnread); }},
                      Damage{"MapSuspect", SectorState::kSuspect,
                             [](RawImage& r, std::uint64_t lba) { r.mark(lba, 1, SectorState::kSuspect); }},
                      Damage{"Hole", SectorState::kUnread,
                             [](RawImage& r, std::uint64_t lba) { r.sector(lba).reading = SectorState::kUnread; }},
                      Damage{"PartMissing", SectorState::kAbsent,
                             [](RawImage& r, std::uint64_t lba) { r.sector(lba).reading = SectorState::kAbsent; }},
                      Damage{"OnlyUserData", SectorState::kAbsent,
                             [](RawImage& r, std::uint64_t lba) {
                               r.sector(lba) = data_sector(std::vector<std::uint8_t>(2048, 3));
                               r.sector(lba).form = SectorForm::kUnknown;
                               r.sector(lba).code.reset();
                               r.sector(lba).bytes.clear();
                             }},
                      Damage{"OnlyUserDataOfAKnownForm", SectorState::kAbsent,
                             [](RawImage& r, std::uint64_t lba) {
                               r.sector(lba).user.resize(2048);
                               r.sector(lba).bytes.clear();
                             }},
                      Damage{"ReadingFails", SectorState::kBad,
                             [](RawImage& r, std::uint64_t lba) { r.sector(lba).reading = SectorState::kBad; }},
                      Damage{"UnknownFormAndUnreadable", SectorState::kBad,
                             [](RawImage& r, std::uint64_t lba) {
                               r.sector(lba).form = SectorForm::kUnknown;
                               r.sector(lba).reading = SectorState::kBad;
                             }}),
    [](const auto& test) { return test.param.name; });

TEST(WholeSectors, RepairedSectorsAreSound) {
  RawImage raw = one_track();
  raw.mark(5, 2, SectorState::kRepaired);
  EXPECT_EQ(OpenedRaw(raw).state(kTrack), FileState::kWhole);
}

TEST(WholeSectors, ReadErrorsThatNobodyKnewAreRemembered) {
  RawImage raw = one_track();
  raw.fail_later(5, 1);
  const OpenedRaw disc(raw);
  EXPECT_EQ(disc.state(kTrack), FileState::kWhole);
  raw.fail_now();
  std::vector<Gap> met;
  disc.content(kTrack, &met);
  EXPECT_THAT(met, ElementsAre(Gap{kHead + 5 * kWhole, kWhole, SectorState::kBad}));
  EXPECT_EQ(disc.image().states().at(5), SectorState::kBad);
  auto again = judge(disc.disc());
  ASSERT_TRUE(again.ok());
  EXPECT_EQ(again->of(disc.id(kTrack)).state, FileState::kDamaged);
}

TEST(WholeSectors, TrackOfWhichNoSectorIsThereIsLostInSpiteOfItsHeader) {
  RawImage raw = one_track();
  raw.mark(0, 20, SectorState::kBad);
  const OpenedRaw disc(raw);
  EXPECT_EQ(disc.state(kTrack), FileState::kLost);
  EXPECT_EQ(disc.verdict(kTrack).missing_bytes, 20 * kWhole);
  raw.mark(19, 1, SectorState::kGood);
  EXPECT_EQ(OpenedRaw(raw).state(kTrack), FileState::kDamaged);
}

TEST(WholeSectors, ImageThatStartsLateOrEndsEarlyLacksSectors) {
  RawImage raw(7);
  raw.add_audio_track(1, 10);
  raw.tracks()[0].first_lba = 0;
  raw.tracks()[0].sectors = 20;
  const OpenedRaw disc(raw);
  EXPECT_THAT(disc.gaps(kTrack), ElementsAre(Gap{kHead, 7 * kWhole, SectorState::kAbsent},
                                             Gap{kHead + 17 * kWhole, 3 * kWhole, SectorState::kAbsent}));
  std::vector<Gap> met;
  const std::vector<std::uint8_t> content = disc.content(kTrack, &met);
  EXPECT_EQ(met, disc.gaps(kTrack));
  EXPECT_TRUE(std::equal(content.begin() + static_cast<long>(kHead + 7 * kWhole),
                         content.begin() + static_cast<long>(kHead + 8 * kWhole), audio_sector(0).bytes.begin()));
}

TEST(WholeSectors, HitsNameBytesOfTheFile) {
  RawImage raw = one_track();
  raw.mark(5, 2, SectorState::kBad);
  raw.tracks()[0].sectors = 22;
  const OpenedRaw disc(raw);
  const Hits hits = find_hits(disc.disc(), disc.verdicts());
  ASSERT_EQ(hits.hits.size(), 2u);
  EXPECT_EQ(hits.hits[0].run, (SectorRun{5, 2, SectorState::kBad}));
  EXPECT_EQ(hits.hits[1].run, (SectorRun{20, 2, SectorState::kAbsent}));
  ASSERT_EQ(hits.targets.size(), 2u);
  EXPECT_EQ(hits.targets[0].node, disc.id(kTrack));
  EXPECT_EQ(hits.targets[0].offset, kHead + 5 * kWhole);
  EXPECT_EQ(hits.targets[0].bytes, 2 * kWhole);
  EXPECT_EQ(hits.targets[1].offset, kHead + 20 * kWhole);
  EXPECT_EQ(hits.targets[1].bytes, 2 * kWhole);
}

TEST(WholeSectors, SuspectStretchesAreNamedByTheirSectors) {
  RawImage raw = one_track();
  raw.mark(5, 2, SectorState::kSuspect);
  EXPECT_THAT(OpenedRaw(raw).doubts(kTrack), ElementsAre(HasSubstr("2 sectors suspect, LBA 5-6")));
}

TEST(WholeSectors, AnotherFileOnTheSameSectorsIsADoubtOfBoth) {
  RawImage raw = one_track();
  raw.add_track({.number = 2,
                 .audio = true,
                 .first_lba = 18,
                 .sectors = 2,
                 .title = {},
                 .performer = {},
                 .isrc = {},
                 .file = {}});
  const OpenedRaw disc(raw);
  EXPECT_EQ(disc.state(kTrack), FileState::kDoubtful);
  EXPECT_EQ(disc.state("_audio/track-02.wav"), FileState::kDoubtful);
}

TEST(WholeSectors, SeveralAndInterleavedExtentsAreJoined) {
  RawImage raw = one_track();
  raw.mark(9, 1, SectorState::kBad);
  const auto image = raw.open();
  HandDisc hand(*image);
  // Two sectors, then four in units of one with gaps of two: LBA 2, 3, 6, 9, 12, 15.
  const NodeId made = hand.file("f", 0, {at_lba(2, 2 * 2048), Extent{6 * 2048, 4 * 2048, 2048, 2 * 2048}});
  hand.tree().set_raw_content(made, {RawContent::Header::kCdxa, {}, {}, {}});
  const Disc& disc = hand.finish();
  const auto verdicts = judge(disc);
  ASSERT_TRUE(verdicts.ok());
  const NodeId id = hand.id("f");
  EXPECT_EQ(disc.tree().node(id).size, kHead + 6 * kWhole);
  const auto gaps = verdicts->gaps(verdicts->of(id));
  ASSERT_EQ(gaps.size(), 1u);
  EXPECT_EQ(gaps[0], (Gap{kHead + 3 * kWhole, kWhole, SectorState::kBad}));
  FileReader reader(disc, id);
  std::vector<std::uint8_t> content(static_cast<std::size_t>(reader.size()));
  std::vector<Gap> met;
  reader.read(0, content, met);
  EXPECT_THAT(met, ElementsAre(gaps[0]));
  const std::vector<std::uint64_t> lbas{2, 3, 6, 9, 12, 15};
  for (std::size_t i = 0; i < lbas.size(); ++i) {
    if (i == 3) continue;
    const auto expected = audio_sector(lbas[i]).bytes;
    EXPECT_TRUE(std::equal(expected.begin(), expected.end(), content.begin() + static_cast<long>(kHead + i * kWhole)));
  }
}

TEST(WholeSectors, OfAnImageThatHasNoneAreLost) {
  MemoryImage memory(numbered_sectors(20));
  const auto image = memory.open();
  HandDisc hand(*image);
  const NodeId made = hand.file("f", 0, {at_lba(2, 3 * 2048)});
  hand.tree().set_raw_content(made, {});
  const Disc& disc = hand.finish();
  const auto verdicts = judge(disc);
  ASSERT_TRUE(verdicts.ok());
  EXPECT_EQ(verdicts->of(hand.id("f")).state, FileState::kLost);
}

}  // namespace
}  // namespace lacuna::test

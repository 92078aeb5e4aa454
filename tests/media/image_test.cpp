// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/image.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <thread>
#include <utility>
#include <vector>

#include "media/runs_of.h"
#include "media/temp_folder.h"
#include "support/memory_image.h"

namespace lacuna {
namespace {

using enum SectorState;
using test::MemoryImage;
using test::numbered_sector;
using test::numbered_sectors;
using test::Runs;
using test::runs_of;
using test::TempFolder;

std::vector<SectorState> read_states(const Image& image, std::uint64_t lba, std::size_t count) {
  std::vector<std::uint8_t> out(count * kSectorBytes, 0xAA);
  std::vector<SectorState> states(count, kRepaired);
  image.read(lba, out, states);
  const std::vector<std::uint8_t> zeros(kSectorBytes);
  for (std::size_t i = 0; i < count; ++i) {
    const auto from = out.begin() + static_cast<std::ptrdiff_t>(i * kSectorBytes);
    if (!has_bytes(states[i])) {
      EXPECT_EQ(std::vector<std::uint8_t>(from, from + kSectorBytes), zeros) << lba + i;
    }
  }
  return states;
}

const Finding* finding(const Image& image, std::string_view kind) {
  for (const Finding& f : image.findings().list()) {
    if (f.kind == kind) return &f;
  }
  return nullptr;
}

TEST(Image, WithoutMapSectorsAreGoodByAssumptionAndAbsentOutside) {
  const auto image = MemoryImage(numbered_sectors(4), 10).open("disc.iso");
  EXPECT_EQ(image->name(), "disc.iso");
  EXPECT_FALSE(image->has_map());
  EXPECT_EQ(image->basis(), Basis::kAssumed);
  EXPECT_EQ(image->first_lba(), 10U);
  EXPECT_EQ(image->end_lba(), 14U);
  EXPECT_EQ(image->end_byte(), 14U * 2048);
  EXPECT_EQ(runs_of(image->states()), (Runs{{10, 4, kGood}}));
  EXPECT_EQ(image->states().default_state(), kAbsent);
  EXPECT_EQ(read_states(*image, 8, 8),
            (std::vector<SectorState>{kAbsent, kAbsent, kGood, kGood, kGood, kGood, kAbsent, kAbsent}));
  EXPECT_TRUE(image->findings().empty());
}

TEST(Image, SectorsThatTheMapCallsBadUnreadOrAbsentAreNeverReadFromTheSource) {
  MemoryImage disc(numbered_sectors(10));
  disc.mark(1, 1, kBad).mark(3, 2, kUnread).mark(6, 1, kAbsent).mark(7, 1, kSuspect).mark(8, 1, kRepaired);
  disc.allow_only({{0, 1}, {2, 3}, {5, 6}, {7, 10}});
  const auto image = disc.open();
  EXPECT_EQ(image->basis(), Basis::kMap);
  EXPECT_EQ(read_states(*image, 0, 10), (std::vector<SectorState>{kGood, kBad, kGood, kUnread, kUnread, kGood, kAbsent,
                                                                  kSuspect, kRepaired, kGood}));
}

TEST(Image, BytesOfSuspectAndRepairedSectorsAreGiven) {
  MemoryImage disc(numbered_sectors(3));
  disc.mark(1, 1, kSuspect).mark(2, 1, kRepaired);
  std::vector<std::uint8_t> out(3 * kSectorBytes);
  std::vector<SectorState> states(3);
  disc.open()->read(0, out, states);
  EXPECT_EQ(out, numbered_sectors(3));
}

TEST(Image, ConsecutiveReadableSectorsAreOneRequest) {
  MemoryImage disc(numbered_sectors(100));
  disc.mark(50, 1, kBad);
  const auto image = disc.open();
  read_states(*image, 0, 100);
  EXPECT_EQ(disc.log().requests, 2U);
  EXPECT_EQ(disc.log().sectors, 99U);
}

TEST(Image, ReadErrorIsBadAndRememberedAndNotTriedAgain) {
  MemoryImage disc(numbered_sectors(6));
  disc.fail(2, 1).fail(4, 1);
  const auto image = disc.open();
  EXPECT_EQ(image->states().at(2), kGood);
  const std::vector<SectorState> expected{kGood, kGood, kBad, kGood, kBad, kGood};
  EXPECT_EQ(read_states(*image, 0, 6), expected);
  EXPECT_EQ(runs_of(image->states()), (Runs{{0, 2, kGood}, {2, 1, kBad}, {3, 1, kGood}, {4, 1, kBad}, {5, 1, kGood}}));
  const std::uint64_t sectors_before = disc.log().sectors;
  EXPECT_EQ(read_states(*image, 0, 6), expected);
  EXPECT_EQ(disc.log().sectors, sectors_before + 4);
}

TEST(Image, LearnedStatesAreTheWorseOfTheTwo) {
  MemoryImage disc(numbered_sectors(6));
  disc.mark(1, 1, kBad);
  const auto image = disc.open();
  image->learn(RangeSet::from_unsorted({{0, 3}, {5, 100}}), kSuspect);
  image->learn(RangeSet::from_unsorted({{3, 4}}), kGood);
  EXPECT_EQ(read_states(*image, 0, 7),
            (std::vector<SectorState>{kSuspect, kBad, kSuspect, kGood, kGood, kSuspect, kAbsent}));
  image->learn(RangeSet::from_unsorted({{2, 3}}), kUnread);
  EXPECT_EQ(runs_of(image->states()),
            (Runs{{0, 1, kSuspect}, {1, 1, kBad}, {2, 1, kUnread}, {3, 2, kGood}, {5, 1, kSuspect}}));
}

TEST(Image, LearningManyRangesAtOnceIsTheSameAsOneByOne) {
  const auto image = MemoryImage(numbered_sectors(100)).open();
  std::vector<Range> ranges;
  for (std::uint64_t i = 0; i < 100; i += 3) ranges.push_back({i, i + 1});
  image->learn(RangeSet::from_unsorted({{1, 2}}), kSuspect);
  image->learn(RangeSet::from_unsorted(ranges), kSuspect);
  const SectorMap states = image->states();
  for (std::uint64_t i = 0; i < 100; ++i) EXPECT_EQ(states.at(i), i % 3 == 0 || i == 1 ? kSuspect : kGood) << i;
}

TEST(Image, SeveralMapsUniteToTheWorst) {
  std::vector<SectorMap> maps;
  maps.push_back(SectorMap::from_runs({{0, 2, kBad}, {3, 1, kGood}}));
  maps.push_back(SectorMap::from_runs({{1, 1, kGood}, {2, 2, kUnread}}));
  const auto image = Image::from_source(MemoryImage(numbered_sectors(5)).source(), std::move(maps));
  EXPECT_EQ(read_states(*image, 0, 5), (std::vector<SectorState>{kBad, kBad, kUnread, kUnread, kGood}));
}

TEST(Image, HoleWithoutMapIsUnread) {
  MemoryImage disc(numbered_sectors(5));
  disc.hole(2, 2);
  const auto image = disc.open();
  EXPECT_EQ(read_states(*image, 0, 5), (std::vector<SectorState>{kGood, kGood, kUnread, kUnread, kGood}));
  ASSERT_NE(finding(*image, "holes"), nullptr);
  EXPECT_EQ(finding(*image, "holes")->lba, 2U);
}

TEST(Image, HoleThatTheMapListsAsGoodIsGoodAndZero) {
  MemoryImage disc(numbered_sectors(5));
  disc.hole(2, 2).mark(2, 1, kGood);
  const auto image = disc.open();
  EXPECT_EQ(read_states(*image, 0, 5), (std::vector<SectorState>{kGood, kGood, kGood, kUnread, kGood}));
  std::vector<std::uint8_t> out(kSectorBytes, 0xAA);
  std::vector<SectorState> state(1);
  image->read(2, out, state);
  EXPECT_EQ(out, std::vector<std::uint8_t>(kSectorBytes));
  EXPECT_EQ(image->states().at(2), kGood);
}

TEST(Image, HoleThatTheMapListsAsBadIsBad) {
  MemoryImage disc(numbered_sectors(3));
  disc.hole(1, 1).mark(1, 1, kBad);
  const auto image = disc.open();
  EXPECT_EQ(image->states().at(1), kBad);
  EXPECT_TRUE(image->findings().empty());
}

TEST(Image, HoleThatOnlyTheMapsDefaultCoversStaysUnreadWithAFinding) {
  MemoryImage disc(numbered_sectors(9));
  disc.hole(2, 3).mark(8, 1, kBad);
  const auto image = disc.open();
  EXPECT_EQ(image->states().at(3), kUnread);
  const Finding* f = finding(*image, "hole-not-in-map");
  ASSERT_NE(f, nullptr);
  EXPECT_EQ(f->severity, Severity::kLoss);
  EXPECT_EQ(f->lba, 2U);
  EXPECT_EQ(f->text,
            "3 sectors lie in holes of the image file, are listed in no map and count as unread; if they were read "
            "and held zeros, list them as good in a map (--map)");
}

TEST(Image, AbsentWinsOverAMapThatCallsItGood) {
  MemoryImage disc(numbered_sectors(4), 2);
  disc.mark(0, 10, kGood);
  const auto image = disc.open();
  EXPECT_EQ(read_states(*image, 0, 8),
            (std::vector<SectorState>{kAbsent, kAbsent, kGood, kGood, kGood, kGood, kAbsent, kAbsent}));
  const Finding* f = finding(*image, "map-beyond-image");
  ASSERT_NE(f, nullptr);
  EXPECT_EQ(f->lba, 0U);
  EXPECT_EQ(f->text,
            "lists 6 sectors outside the image, which has LBA 2 to 5; they stay absent; is the image cut, or does the "
            "map count in units of 512 bytes ('#! unit 512' in it, or --map-unit 512)?");
}

TEST(Image, MapOfAWholeDiscForACutImageSaysHowMuchIsMissing) {
  MemoryImage disc(numbered_sectors(90));
  disc.mark(0, 100, kGood);
  const auto image = disc.open();
  EXPECT_EQ(finding(*image, "map-beyond-image")->text,
            "lists 10 sectors outside the image, which has LBA 0 to 89; they stay absent");
}

TEST(Image, MapThatCallsTheOutsideAbsentIsInOrder) {
  MemoryImage disc(numbered_sectors(4));
  disc.mark(4, 6, kAbsent);
  EXPECT_TRUE(disc.open()->findings().empty());
}

TEST(Image, MapInAnotherUnitIsHintedAt) {
  MemoryImage in_512(numbered_sectors(100));
  in_512.mark(160, 240, kBad);
  EXPECT_NE(finding(*in_512.open(), "map-beyond-image")
                ->text.find("does the map count in units of 512 bytes ('#! unit 512' in it, or --map-unit 512)?"),
            std::string::npos);
  MemoryImage in_bytes(numbered_sectors(100));
  in_bytes.mark(90 * 2048, 2048, kBad);
  EXPECT_NE(finding(*in_bytes.open(), "map-beyond-image")
                ->text.find("does it count bytes ('#! unit bytes' in it, or --map-unit bytes)?"),
            std::string::npos);
  MemoryImage of_another(numbered_sectors(100));
  of_another.mark(500'000, 2048, kBad);
  EXPECT_NE(finding(*of_another.open(), "map-beyond-image")->text.find("is it the map of this image?"),
            std::string::npos);
}

TEST(Image, CutWithinASectorIsAFindingAndEndByteTellsWhere) {
  std::vector<std::uint8_t> bytes = numbered_sectors(3);
  bytes.resize(2 * 2048 + 100);
  const auto image = MemoryImage(bytes, 7).open();
  EXPECT_EQ(image->end_lba(), 10U);
  EXPECT_EQ(image->end_byte(), 9U * 2048 + 100);
  EXPECT_EQ(image->states().at(9), kGood);
  ASSERT_NE(finding(*image, "cut-in-sector"), nullptr);
  EXPECT_EQ(finding(*image, "cut-in-sector")->lba, 9U);
}

TEST(Image, ReadsAtAbsurdPlacesAreAbsent) {
  const auto image = MemoryImage(numbered_sectors(2)).open();
  const std::vector<SectorState> absent(3, kAbsent);
  EXPECT_EQ(read_states(*image, kMaxSectors - 1, 3), absent);
  EXPECT_EQ(read_states(*image, ~std::uint64_t{0}, 3), absent);
  EXPECT_TRUE(read_states(*image, 0, 0).empty());
}

TEST(Image, OpenReadsAllMapsAndTheFirstBadLineIsTheError) {
  const TempFolder folder;
  ImageOptions options;
  options.maps = {folder.write("a.map", "1 1 bad\n"), folder.write("b.map", "2 1 unread\n")};
  const auto path = folder.write("disc.iso", numbered_sectors(4));
  const auto image = Image::open({path}, options);
  ASSERT_TRUE(image.ok()) << image.error().message;
  EXPECT_EQ((*image)->name(), path.string());
  EXPECT_EQ(read_states(**image, 0, 4), (std::vector<SectorState>{kGood, kBad, kUnread, kGood}));
  EXPECT_TRUE((*image)->findings().empty());
  options.maps.push_back(folder.write("c.map", "9 1 bad\n"));
  const auto beyond = Image::open({path}, options);
  ASSERT_TRUE(beyond.ok());
  ASSERT_NE(finding(**beyond, "map-beyond-image"), nullptr);
  EXPECT_EQ(finding(**beyond, "map-beyond-image")->subject, (folder / "c.map").string());
  options.maps.push_back(folder.write("d.map", "1 1 bad\n1 1 worse\n"));
  const auto refused = Image::open({path}, options);
  ASSERT_FALSE(refused.ok());
  EXPECT_EQ(refused.error().code, ErrorCode::kBadInput);
  EXPECT_TRUE(refused.error().message.starts_with((folder / "d.map").string() + ":2: unknown state 'worse'"));
}

TEST(Image, AnImageGivenAsMapIsRefused) {
  const TempFolder folder;
  const auto path = folder.write("disc.iso", numbered_sectors(4));
  ImageOptions options;
  options.maps = {path};
  const auto refused = Image::open({path}, options);
  ASSERT_FALSE(refused.ok());
  EXPECT_NE(refused.error().message.find("is not a sector map: it holds NUL bytes"), std::string::npos);
}

TEST(Image, MissingPartStaysAbsentThoughTheMapCallsItGood) {
  const TempFolder folder;
  folder.write("x.001", numbered_sectors(2, 0));
  folder.write("x.003", numbered_sectors(2, 4));
  ImageOptions options;
  options.maps = {folder.write("x.map", "0 6 good\n")};
  options.starts_at = 16;
  const auto image = Image::open({folder / "x.001"}, options);
  ASSERT_TRUE(image.ok()) << image.error().message;
  EXPECT_EQ((*image)->states().at(17), kGood);
  EXPECT_EQ((*image)->states().at(18), kAbsent);
  EXPECT_EQ((*image)->states().at(19), kAbsent);
  EXPECT_EQ((*image)->states().at(20), kGood);
}

TEST(Image, ThreadsReadAndLearnAtOnce) {
  constexpr std::uint64_t kSectors = 512;
  MemoryImage disc(numbered_sectors(kSectors));
  for (std::uint64_t lba = 0; lba < kSectors; lba += 7) disc.fail(lba, 1);
  const auto image = disc.open();
  const auto work = [&](unsigned seed) {
    std::mt19937 random(seed);
    std::vector<std::uint8_t> out(8 * kSectorBytes);
    std::vector<SectorState> states(8);
    for (int i = 0; i < 300; ++i) {
      const std::uint64_t lba = random() % (kSectors - 8);
      image->read(lba, out, states);
      for (std::size_t k = 0; k < 8; ++k) {
        if ((lba + k) % 7 == 0) {
          ASSERT_EQ(states[k], kBad);
        } else {
          ASSERT_TRUE(states[k] == kGood || (states[k] == kSuspect && (lba + k) % 5 == 0));
        }
      }
      if (i % 10 == 0) image->learn(RangeSet::from_unsorted({{lba / 5 * 5, lba / 5 * 5 + 1}}), kSuspect);
      if (i % 50 == 0) {
        ASSERT_EQ(image->states().at(kSectors), kAbsent);
      }
    }
  };
  std::vector<std::thread> threads;
  for (unsigned seed = 0; seed < 4; ++seed) threads.emplace_back(work, seed);
  for (std::thread& t : threads) t.join();
  read_states(*image, 0, kSectors);
  for (std::uint64_t lba = 0; lba < kSectors; lba += 7) EXPECT_EQ(image->states().at(lba), kBad);
}

}  // namespace
}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// Reads of one disc put together, held against the disc itself.
#include "lacuna/combine.h"

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "lacuna/sector_map.h"
#include "media/temp_folder.h"
#include "support/iso_builder.h"
#include "support/simulated_reads.h"
#include "support/tagged_blocks.h"

namespace lacuna {
namespace {

using test::DriveTraits;
using test::SimulatedRead;
using ::testing::HasSubstr;

std::string text_of(const std::filesystem::path& file) {
  const std::vector<std::uint8_t> bytes = test::read_file(file);
  return {bytes.begin(), bytes.end()};
}

std::vector<std::uint8_t> disc_of_files(std::uint32_t first_file = 0, const std::string& volume = "HARBOUR_1998") {
  std::vector<test::IsoNode> files;
  for (std::uint32_t i = 0; i < 20; ++i) {
    files.push_back(
        test::iso_file(fmt::format("PHOTO{:02}.JPG;1", i), test::tagged_content(first_file + i, 2048 * (40 + i * 13))));
  }
  test::IsoOptions options;
  options.volume_id = volume;
  return test::build_iso(test::iso_directory("", std::move(files)), options).bytes;
}

/// The disc, its reads as images, and what combining them wrote.
class Box {
 public:
  explicit Box(std::vector<std::uint8_t> disc) : disc_(std::move(disc)) {}

  std::uint64_t sectors() const { return disc_.size() / kSectorBytes; }
  const std::vector<std::uint8_t>& disc() const { return disc_; }
  void add(std::unique_ptr<Image> image) { images_.push_back(std::move(image)); }

  Result<CombineReport> combine(CombineOptions options = {}) {
    std::vector<DiscRead> reads;
    for (const auto& image : images_) reads.push_back({image->name(), image.get(), {}, {}});
    options.to = folder_ / "out.iso";
    return combine_reads(reads, options);
  }
  std::unique_ptr<Image> result() const {
    ImageOptions options;
    options.maps = {folder_ / "out.iso.map"};
    return std::move(Image::open({folder_ / "out.iso"}, options)).value();
  }
  std::string record() const { return text_of(folder_ / "out.iso.reads.jsonl"); }
  const test::TempFolder& folder() const { return folder_; }

 private:
  std::vector<std::uint8_t> disc_;
  std::vector<std::unique_ptr<Image>> images_;
  test::TempFolder folder_;
};

/// How many sectors that the result calls good or repaired are not the disc's.
std::uint64_t false_good(const Box& box, const Image& result) {
  std::uint64_t wrong = 0;
  std::vector<std::uint8_t> sector(kSectorBytes);
  for (std::uint64_t lba = 0; lba < box.sectors(); ++lba) {
    SectorState state = SectorState::kAbsent;
    result.read(lba, sector, {&state, 1});
    const auto truth = std::span(box.disc()).subspan(lba * kSectorBytes, kSectorBytes);
    if (state <= SectorState::kRepaired && !std::ranges::equal(sector, truth)) ++wrong;
  }
  return wrong;
}

TEST(Combine, TheUnionOfHonestReadsIsExact) {
  for (std::uint64_t seed = 1; seed <= 8; ++seed) {
    Box box(disc_of_files());
    const test::DiscDamage damage = test::scratched(box.sectors(), seed);
    std::vector<SimulatedRead> reads;
    for (std::uint64_t i = 0; i < 2 + seed % 4; ++i) {
      reads.push_back(test::read_by({.copes = 0.5}, box.disc(), damage, seed * 100 + i));
      box.add(reads.back().open(fmt::format("read-{}", i)));
    }
    const Result<CombineReport> report = box.combine();
    ASSERT_TRUE(report) << report.error().message;
    const auto result = box.result();
    EXPECT_EQ(false_good(box, *result), 0U);
    const SectorMap states = result->states();
    for (std::uint64_t lba = 0; lba < box.sectors(); ++lba) {
      const bool bad = std::ranges::all_of(reads, [&](const SimulatedRead& r) { return r.bad.contains(lba); });
      ASSERT_EQ(states.at(lba), bad ? SectorState::kBad : SectorState::kGood) << "seed " << seed << " LBA " << lba;
    }
    EXPECT_EQ(result->basis(), Basis::kMap);
  }
}

TEST(Combine, NoGarbageIsCalledGoodWhereAnythingSpeaksAgainstIt) {
  std::uint64_t garbage = 0, unseen = 0;
  for (std::uint64_t seed = 1; seed <= 16; ++seed) {
    Box box(disc_of_files());
    const test::DiscDamage damage = test::scratched(box.sectors(), seed);
    std::vector<SimulatedRead> reads;
    for (std::uint64_t i = 0; i < 2 + seed % 4; ++i) {
      const DriveTraits drive{.copes = 0.6, .garbage = (i + seed) % 2 == 0 ? 0.3 : 0.0};
      reads.push_back(test::read_by(drive, box.disc(), damage, seed * 100 + i));
      box.add(reads.back().open(fmt::format("read-{}", i)));
    }
    const Result<CombineReport> report = box.combine();
    ASSERT_TRUE(report) << report.error().message;
    const auto result = box.result();
    const SectorMap states = result->states();
    for (std::uint64_t lba = 0; lba < box.sectors(); ++lba) {
      std::size_t honest = 0, lying = 0;
      bool lone_liar_shown = false;
      for (std::size_t i = 0; i < reads.size(); ++i) {
        if (reads[i].garbage.contains(lba)) {
          ++lying;
          lone_liar_shown = report->reads[i].contradicted > 0;
        } else if (!reads[i].bad.contains(lba)) {
          ++honest;
        }
      }
      garbage += lying;
      const bool good = states.at(lba) == SectorState::kGood;
      if (lying == 0) {
        // Only what a contradicted read alone has may be less than good.
        ASSERT_TRUE(honest <= 1 || good) << seed << " " << lba;
        ASSERT_TRUE(honest > 0 || states.at(lba) == SectorState::kBad) << seed << " " << lba;
      } else if (honest == 0 && lying == 1) {
        ASSERT_TRUE(!good || !lone_liar_shown) << seed << " " << lba;
        unseen += good ? 1 : 0;
      } else {
        ASSERT_EQ(good, honest + lying >= 3 && honest * 2 > honest + lying) << seed << " " << lba;
      }
    }
    EXPECT_LE(false_good(box, *result), unseen);
  }
  EXPECT_GT(garbage, 500U);
  RecordProperty("garbage_sectors", std::to_string(garbage));
  EXPECT_EQ(unseen, 0U);
}

TEST(Combine, AllKindsOfReadsTogether) {
  Box box(disc_of_files());
  const test::DiscDamage damage = test::scratched(box.sectors(), 21);
  const std::vector<DriveTraits> drives{{.copes = 0.5},
                                        {.copes = 0.5, .garbage = 0.3},
                                        {.copes = 0.5, .map = false},
                                        {.copes = 0.5, .map = false, .shift_bytes = 2048 * 150}};
  std::vector<SimulatedRead> reads;
  for (std::size_t i = 0; i < drives.size(); ++i) {
    reads.push_back(test::read_by(drives[i], box.disc(), damage, 70 + i));
    box.add(reads.back().open(fmt::format("read-{}", i)));
  }
  {
    Box with_stranger(box.disc());
    for (std::size_t i = 0; i < reads.size(); ++i) with_stranger.add(reads[i].open(fmt::format("read-{}", i)));
    with_stranger.add(test::MemoryImage(disc_of_files(100, "LIGHTHOUSE_1999")).open("lighthouse"));
    const Result<CombineReport> refused = with_stranger.combine();
    ASSERT_FALSE(refused);
    EXPECT_THAT(refused.error().message, HasSubstr("lighthouse"));
  }
  const Result<CombineReport> report = box.combine();
  ASSERT_TRUE(report) << report.error().message;
  EXPECT_EQ(report->reads[3].agreement.shift_bytes, 2048 * 150);
  EXPECT_GT(report->reads[1].contradicted, 0U);
  const auto result = box.result();
  EXPECT_EQ(false_good(box, *result), 0U);
}

TEST(Combine, FillOfReadsWithoutMapsIsNotTakenForData) {
  Box box(disc_of_files());
  const test::DiscDamage damage = test::scratched(box.sectors(), 3);
  const SimulatedRead a = test::read_by({.copes = 0.5, .map = false}, box.disc(), damage, 1);
  const SimulatedRead b = test::read_by({.copes = 0.5, .map = false}, box.disc(), damage, 2);
  box.add(a.open("a"));
  box.add(b.open("b"));
  const Result<CombineReport> report = box.combine();
  ASSERT_TRUE(report);
  EXPECT_EQ(report->reads[0].contradicted, 0U);
  EXPECT_EQ(report->basis, Basis::kAssumed);
  // Where both failed nothing tells; that is what the basis says, and judging files finds the fill.
  std::uint64_t both = 0;
  for (const std::uint64_t lba : a.bad) both += b.bad.contains(lba) ? 1 : 0;
  EXPECT_EQ(false_good(box, *box.result()), both);
}

TEST(Combine, AReadThatStandsBesideItsPlaceIsMovedBack) {
  for (const std::int64_t shift : {std::int64_t{2048 * 150}, std::int64_t{44}, std::int64_t{2048 * 3 + 17}}) {
    Box box(disc_of_files());
    const test::DiscDamage damage = test::scratched(box.sectors(), 5);
    const SimulatedRead a = test::read_by({.copes = 0.5}, box.disc(), damage, 1);
    const SimulatedRead b = test::read_by({.copes = 1, .map = false, .shift_bytes = shift}, box.disc(), damage, 2);
    box.add(a.open("a"));
    box.add(b.open("b"));
    const Result<CombineReport> report = box.combine();
    ASSERT_TRUE(report) << report.error().message;
    EXPECT_EQ(report->reads[1].agreement.shift_bytes, shift);
    const auto result = box.result();
    EXPECT_EQ(false_good(box, *result), 0U);
    std::uint64_t good = 0;
    for (const SectorRun& run : result->states().slice(0, box.sectors())) {
      if (run.state == SectorState::kGood) good += run.count;
    }
    // What is zeros in the files of the disc is fill to a read without a map.
    EXPECT_GE(good + 12, box.sectors());
  }
}

TEST(Combine, AReadOfAnotherDiscIsRefusedWithTheNumbers) {
  Box box(disc_of_files());
  box.add(test::MemoryImage(box.disc()).open("harbour"));
  box.add(test::MemoryImage(disc_of_files(100, "LIGHTHOUSE_1999")).open("lighthouse"));
  const Result<CombineReport> report = box.combine();
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().code, ErrorCode::kUsage);
  EXPECT_THAT(report.error().message, HasSubstr("lighthouse (volume LIGHTHOUSE_1999)"));
  EXPECT_THAT(report.error().message, HasSubstr("harbour (volume HARBOUR_1998)"));
  EXPECT_THAT(report.error().message, HasSubstr("are equal"));
  EXPECT_FALSE(std::filesystem::exists(box.folder() / "out.iso"));
}

TEST(Combine, AnotherDiscWithTheSameFilesAtTheSamePlacesIsRefusedByItsDescriptor) {
  Box box(disc_of_files());
  box.add(test::MemoryImage(box.disc()).open("harbour"));
  box.add(test::MemoryImage(disc_of_files(0, "HARBOUR_COPY")).open("copy"));
  const Result<CombineReport> report = box.combine();
  ASSERT_FALSE(report);
  EXPECT_THAT(report.error().message, HasSubstr("descriptor"));
}

TEST(Combine, ForceTakesAnotherDiscAndSaysWhereTheyDiffer) {
  Box box(disc_of_files());
  box.add(test::MemoryImage(box.disc()).with_map().open("harbour"));
  box.add(test::MemoryImage(disc_of_files(0, "HARBOUR_COPY")).with_map().open("copy"));
  CombineOptions options;
  options.force = true;
  const Result<CombineReport> report = box.combine(options);
  ASSERT_TRUE(report);
  EXPECT_FALSE(report->conflicts.empty());
  EXPECT_EQ(report->conflicts.front().first, 16U);
}

TEST(Combine, NothingInCommonAndNoNameIsRefused) {
  Box box(disc_of_files());
  const std::uint64_t half = box.sectors() / 2;
  box.add(test::MemoryImage(box.disc()).mark(half, box.sectors() - half, SectorState::kBad).open("inner"));
  box.add(test::MemoryImage(box.disc()).mark(0, half, SectorState::kBad).open("outer"));
  const Result<CombineReport> report = box.combine();
  ASSERT_FALSE(report);
  EXPECT_THAT(report.error().message, HasSubstr("no sector in common"));
}

TEST(Combine, ReadsOfPartsAreJoinedOverWhatTheyShare) {
  Box box(disc_of_files());
  const std::uint64_t half = box.sectors() / 2, shared = 100;
  const auto bytes = [&](std::uint64_t first, std::uint64_t end) {
    return std::vector<std::uint8_t>(box.disc().begin() + static_cast<std::ptrdiff_t>(first * kSectorBytes),
                                     box.disc().begin() + static_cast<std::ptrdiff_t>(end * kSectorBytes));
  };
  box.add(test::MemoryImage(bytes(0, half)).with_map().open("inner"));
  box.add(test::MemoryImage(bytes(half - shared, box.sectors()), half - shared).with_map().open("outer"));
  const Result<CombineReport> report = box.combine();
  ASSERT_TRUE(report) << report.error().message;
  EXPECT_EQ(report->states[0], box.sectors());
  EXPECT_EQ(test::read_file(box.folder() / "out.iso"), box.disc());
}

TEST(Combine, TheSameWithOneThreadAndWithMany) {
  std::vector<std::string> records;
  for (const unsigned threads : {1U, 4U}) {
    Box box(disc_of_files());
    const test::DiscDamage damage = test::scratched(box.sectors(), 9);
    for (std::uint64_t i = 0; i < 3; ++i) {
      box.add(test::read_by({.copes = 0.5, .garbage = 0.1}, box.disc(), damage, i).open(fmt::format("read-{}", i)));
    }
    CombineOptions options;
    options.threads = threads;
    ASSERT_TRUE(box.combine(options));
    records.push_back(box.record() + text_of(box.folder() / "out.iso.map"));
  }
  EXPECT_EQ(records[0], records[1]);
}

TEST(Combine, NothingThatIsThereIsOverwritten) {
  for (const char* name : {"out.iso", "out.iso.map", "out.iso.reads.jsonl"}) {
    Box box(disc_of_files());
    box.add(test::MemoryImage(box.disc()).open("read"));
    box.folder().write(name, "mine");
    const Result<CombineReport> report = box.combine();
    ASSERT_FALSE(report);
    EXPECT_EQ(report.error().code, ErrorCode::kCannotWrite);
    EXPECT_THAT(report.error().message, HasSubstr(name));
    EXPECT_EQ(text_of(box.folder() / name), "mine");
  }
}

TEST(Combine, StoppedItLeavesNothing) {
  Box box(disc_of_files());
  box.add(test::MemoryImage(box.disc()).open("a"));
  box.add(test::MemoryImage(box.disc()).open("b"));
  CombineOptions options;
  options.progress = [](const Progress&) { return false; };
  const Result<CombineReport> report = box.combine(options);
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().code, ErrorCode::kCancelled);
  EXPECT_TRUE(std::filesystem::is_empty(std::filesystem::path(box.folder() / "")));
}

TEST(Combine, NoReadAndTooManyAreUsage) {
  CombineOptions options;
  test::TempFolder folder;
  options.to = folder / "out.iso";
  EXPECT_EQ(combine_reads({}, options).error().code, ErrorCode::kUsage);
  const auto image = test::MemoryImage(disc_of_files()).open("read");
  const std::vector<DiscRead> many(65, DiscRead{"read", image.get(), {}, {}});
  EXPECT_EQ(combine_reads(many, options).error().code, ErrorCode::kUsage);
}

}  // namespace
}  // namespace lacuna

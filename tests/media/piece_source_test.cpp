// SPDX-License-Identifier: GPL-3.0-or-later
// Reading through errors, short answers and interruptions, on stores that fail where a test says.
#include "media/piece_source.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cerrno>
#include <map>
#include <utility>

#include "support/memory_image.h"

namespace lacuna {
namespace {

using enum SectorState;
using test::numbered_sector;
using test::numbered_sectors;

// A store over bytes in memory that fails as drives and file systems do.
class FailingStore final : public ByteStore {
 public:
  struct Trouble {
    RangeSet error_bytes;               // any request that touches these fails, whole (as direct reads do)
    bool partial_before_error = false;  // ... or gives the bytes before them first (as cached reads do)
    int error = EIO;
    std::size_t longest_answer = ~std::size_t{0};
    int interruptions = 0;  // answered EINTR before each success
    std::uint64_t shrunk_to = ~std::uint64_t{0};
    std::vector<Range> holes;
  };

  FailingStore(std::vector<std::uint8_t> bytes, Trouble trouble)
      : bytes_(std::move(bytes)), trouble_(std::move(trouble)) {}

  std::uint64_t size_bytes() const noexcept override { return bytes_.size(); }

  ReadAnswer read_some(std::uint64_t at, std::span<std::uint8_t> out) const override {
    requests.emplace_back(at, out.size());
    EXPECT_LE(at + out.size(), bytes_.size()) << "reads behind the end";
    if (interrupted_++ < trouble_.interruptions) return {0, EINTR};
    interrupted_ = 0;
    std::size_t n = std::min(out.size(), trouble_.longest_answer);
    if (at >= trouble_.shrunk_to) return {0, 0};
    n = static_cast<std::size_t>(std::min<std::uint64_t>(n, trouble_.shrunk_to - at));
    if (trouble_.error_bytes.intersects({at, at + n})) {
      const Range& first = trouble_.error_bytes.ranges()[trouble_.error_bytes.first_ending_after(at)];
      // What a failed read leaves in the buffer must not reach anyone.
      std::ranges::fill(out, std::uint8_t{0xEE});
      if (!trouble_.partial_before_error || first.first <= at) return {0, trouble_.error};
      n = static_cast<std::size_t>(first.first - at);
    }
    std::copy_n(bytes_.begin() + static_cast<std::ptrdiff_t>(at), n, out.begin());
    return {n, 0};
  }

  Range next_hole(std::uint64_t at) const override {
    for (const Range& hole : trouble_.holes) {
      if (hole.end > at) return {std::max(at, hole.first), hole.end};
    }
    return {bytes_.size(), bytes_.size()};
  }

  mutable std::vector<std::pair<std::uint64_t, std::size_t>> requests;

 private:
  std::vector<std::uint8_t> bytes_;
  Trouble trouble_;
  mutable int interrupted_ = 0;
};

using Trouble = FailingStore::Trouble;

struct OpenedPiece {
  std::unique_ptr<SectorSource> source;
  const FailingStore* store = nullptr;  // the first
};

OpenedPiece open_one(std::vector<std::uint8_t> bytes, Trouble trouble, std::uint64_t starts_at = 0) {
  auto store = std::make_unique<FailingStore>(std::move(bytes), std::move(trouble));
  const FailingStore* seen = store.get();
  std::vector<Piece> pieces;
  pieces.push_back({0, std::move(store)});
  return {std::move(make_piece_source(std::move(pieces), starts_at, "x")).value(), seen};
}

// Reads [lba, lba + count) in one request; each good sector must be that of its number, all others zero.
std::vector<SectorState> read_checked(const SectorSource& source, std::uint64_t lba, std::size_t count,
                                      std::uint64_t number_of_lba_0 = 0) {
  std::vector<std::uint8_t> out(count * kSectorBytes, 0xAA);
  std::vector<SectorState> states(count, kSuspect);
  source.read(lba, out, states);
  const std::vector<std::uint8_t> zeros(kSectorBytes);
  for (std::size_t i = 0; i < count; ++i) {
    const auto from = out.begin() + static_cast<std::ptrdiff_t>(i * kSectorBytes);
    const std::vector<std::uint8_t> sector(from, from + kSectorBytes);
    EXPECT_EQ(sector, states[i] == kGood ? numbered_sector(number_of_lba_0 + lba + i) : zeros) << "LBA " << lba + i;
  }
  return states;
}

TEST(PieceSource, ErrorInOneSectorLeavesTheOthersOfTheRequestGood) {
  for (const bool partial : {false, true}) {
    Trouble trouble;
    trouble.error_bytes = RangeSet::from_unsorted({{3 * 2048 + 7, 3 * 2048 + 8}});
    trouble.partial_before_error = partial;
    const OpenedPiece x = open_one(numbered_sectors(8), trouble);
    EXPECT_EQ(read_checked(*x.source, 0, 8),
              (std::vector<SectorState>{kGood, kGood, kGood, kBad, kGood, kGood, kGood, kGood}));
  }
}

TEST(PieceSource, ErrorsOfEveryKindAreBadSectors) {
  for (const int error : {EIO, ENXIO, EREMOTEIO, ENODATA, EAGAIN}) {
    Trouble trouble;
    trouble.error = error;
    trouble.error_bytes = RangeSet::from_unsorted({{0, 2048}});
    EXPECT_EQ(read_checked(*open_one(numbered_sectors(2), trouble).source, 0, 2),
              (std::vector<SectorState>{kBad, kGood}));
  }
}

TEST(PieceSource, AllSectorsFailingIsAllBad) {
  Trouble trouble;
  trouble.error_bytes = RangeSet::from_unsorted({{0, 64 * 2048}});
  const OpenedPiece x = open_one(numbered_sectors(64), trouble);
  EXPECT_EQ(read_checked(*x.source, 0, 64), std::vector<SectorState>(64, kBad));
  EXPECT_EQ(x.store->requests.size(), 65U) << "a drive must not be made to try a sector more than twice";
}

TEST(PieceSource, UnharmedRequestIsOneRead) {
  const OpenedPiece x = open_one(numbered_sectors(64), {});
  EXPECT_EQ(read_checked(*x.source, 5, 50), std::vector<SectorState>(50, kGood));
  EXPECT_EQ(x.store->requests.size(), 1U);
}

TEST(PieceSource, ShortAnswersAndInterruptionsAreReadOn) {
  Trouble trouble;
  trouble.longest_answer = 700;
  trouble.interruptions = 3;
  EXPECT_EQ(read_checked(*open_one(numbered_sectors(5), trouble).source, 0, 5), std::vector<SectorState>(5, kGood));
}

TEST(PieceSource, FileThatShrankSinceOpeningHasBadSectorsThere) {
  Trouble trouble;
  trouble.shrunk_to = 2 * 2048 + 100;
  EXPECT_EQ(read_checked(*open_one(numbered_sectors(4), trouble).source, 0, 4),
            (std::vector<SectorState>{kGood, kGood, kBad, kBad}));
}

TEST(PieceSource, StartingLateShiftsAllAndIsAbsentBefore) {
  const OpenedPiece x = open_one(numbered_sectors(3, 100), {}, 100);
  EXPECT_EQ(x.source->first_lba(), 100U);
  EXPECT_EQ(x.source->end_lba(), 103U);
  EXPECT_EQ(read_checked(*x.source, 98, 7),
            (std::vector<SectorState>{kAbsent, kAbsent, kGood, kGood, kGood, kAbsent, kAbsent}));
}

TEST(PieceSource, CutLastSectorIsGoodWithItsMissingBytesZero) {
  std::vector<std::uint8_t> bytes = numbered_sectors(2);
  bytes.resize(2048 + 5);
  const OpenedPiece x = open_one(bytes, {});
  EXPECT_EQ(x.source->end_lba(), 2U);
  EXPECT_EQ(x.source->last_sector_bytes(), 5U);
  std::vector<std::uint8_t> out(2048, 0xAA);
  std::vector<SectorState> states(1);
  x.source->read(1, out, states);
  EXPECT_EQ(states[0], kGood);
  bytes.resize(4096);
  EXPECT_TRUE(std::equal(out.begin(), out.end(), bytes.begin() + 2048));
}

TEST(PieceSource, OnlyWholeSectorsOfAHoleAreHolesAndTheyAreNotRead) {
  Trouble trouble;
  trouble.holes = {{100, 3 * 2048 + 1}};
  const OpenedPiece x = open_one(numbered_sectors(5), trouble, 10);
  EXPECT_EQ(x.source->holes(), RangeSet::from_unsorted({{11, 13}}));
  EXPECT_EQ(read_checked(*x.source, 10, 5, ~std::uint64_t{9}),
            (std::vector<SectorState>{kGood, kUnread, kUnread, kGood, kGood}));
  for (const auto& [at, size] : x.store->requests) EXPECT_TRUE(at + size <= 2048 || at >= 3 * 2048);
}

TEST(PieceSource, HoleToTheEndOfACutSectorIsAHole) {
  Trouble trouble;
  trouble.holes = {{2048, 2048 + 9}};
  std::vector<std::uint8_t> bytes(2048 + 9);
  EXPECT_EQ(open_one(bytes, trouble).source->holes(), RangeSet::from_unsorted({{1, 2}}));
}

std::unique_ptr<SectorSource> open_pieces(const std::vector<std::uint8_t>& all, const std::vector<Range>& cuts,
                                          const std::vector<Trouble>& troubles = {}) {
  std::vector<Piece> pieces;
  for (std::size_t i = 0; i < cuts.size(); ++i) {
    const auto from = all.begin() + static_cast<std::ptrdiff_t>(cuts[i].first);
    const auto to = all.begin() + static_cast<std::ptrdiff_t>(cuts[i].end);
    pieces.push_back({cuts[i].first, std::make_unique<FailingStore>(std::vector<std::uint8_t>(from, to),
                                                                    i < troubles.size() ? troubles[i] : Trouble{})});
  }
  return std::move(make_piece_source(std::move(pieces), 0, "x")).value();
}

TEST(PieceSource, SectorsCrossFromPieceToPiece) {
  const std::vector<std::uint8_t> all = numbered_sectors(4);
  const auto source = open_pieces(all, {{0, 1000}, {1000, 2000}, {2000, 5001}, {5001, 5002}, {5002, 8192}});
  EXPECT_EQ(read_checked(*source, 0, 4), std::vector<SectorState>(4, kGood));
  for (std::uint64_t lba = 0; lba < 4; ++lba) EXPECT_EQ(read_checked(*source, lba, 1), std::vector<SectorState>{kGood});
}

TEST(PieceSource, ErrorInOneOfTheTwoPiecesOfASectorMakesItBad) {
  Trouble second;
  second.error_bytes = RangeSet::from_unsorted({{0, 10}});
  const auto source = open_pieces(numbered_sectors(4), {{0, 3000}, {3000, 8192}}, {{}, second});
  EXPECT_EQ(read_checked(*source, 0, 4), (std::vector<SectorState>{kGood, kBad, kGood, kGood}));
}

TEST(PieceSource, HoleThatGoesOnInTheNextPieceIsOneHole) {
  Trouble first;
  first.holes = {{2048, 3000}};
  Trouble second;
  second.holes = {{0, 1096}};
  const auto source = open_pieces(numbered_sectors(3), {{0, 3000}, {3000, 6144}}, {first, second});
  EXPECT_EQ(source->holes(), RangeSet::from_unsorted({{1, 2}}));
}

TEST(PieceSource, BytesBetweenPiecesAreMissingAndTheirSectorsAbsent) {
  Trouble holes;
  holes.holes = {{0, 4096}};
  const auto source = open_pieces(numbered_sectors(8), {{0, 3000}, {9000, 16384}}, {holes, {}});
  EXPECT_EQ(source->missing(), RangeSet::from_unsorted({{1, 5}}));
  EXPECT_EQ(source->holes(), RangeSet::from_unsorted({{0, 1}}));
  EXPECT_EQ(read_checked(*source, 0, 8),
            (std::vector<SectorState>{kUnread, kAbsent, kAbsent, kAbsent, kAbsent, kGood, kGood, kGood}));
}

// A store of any size, without bytes.
class HugeStore final : public ByteStore {
 public:
  HugeStore(std::uint64_t size_bytes, std::uint64_t hole_every) : size_(size_bytes), every_(hole_every) {}
  std::uint64_t size_bytes() const noexcept override { return size_; }
  ReadAnswer read_some(std::uint64_t, std::span<std::uint8_t> out) const override { return {out.size(), 0}; }
  Range next_hole(std::uint64_t at) const override {
    if (every_ == 0) return {size_, size_};
    const std::uint64_t first = (at + every_ - 1) / every_ * every_;
    return first >= size_ ? Range{size_, size_} : Range{first, std::min(size_, first + every_ / 2)};
  }

 private:
  std::uint64_t size_;
  std::uint64_t every_;
};

Result<std::unique_ptr<SectorSource>> open_huge(std::uint64_t bytes, std::uint64_t starts_at,
                                                std::uint64_t hole_every = 0) {
  std::vector<Piece> pieces;
  pieces.push_back({0, std::make_unique<HugeStore>(bytes, hole_every)});
  return make_piece_source(std::move(pieces), starts_at, "x");
}

TEST(PieceSource, TwoToThe32SectorsOpenAndOneByteMoreIsAnError) {
  EXPECT_EQ(open_huge(kMaxImageBytes, 0).value()->end_lba(), kMaxSectors);
  EXPECT_TRUE(open_huge(2048, kMaxSectors - 1).ok());
  for (const auto& refused : {open_huge(kMaxImageBytes + 1, 0), open_huge(2049, kMaxSectors - 1),
                              open_huge(1, kMaxSectors), open_huge(1, ~std::uint64_t{0})}) {
    ASSERT_FALSE(refused.ok());
    EXPECT_EQ(refused.error().code, ErrorCode::kNotReadable);
  }
  EXPECT_EQ(open_huge(2049, kMaxSectors - 1).error().message,
            "'x' has 2049 bytes from LBA 4294967295 on; a disc has at most 4294967296 sectors of 2048 bytes");
}

TEST(PieceSource, MillionsOfHolesAreKeptAndTooManyRefused) {
  EXPECT_EQ(open_huge(std::uint64_t{2'000'000} * 8192, 0, 8192).value()->holes().ranges().size(), 2'000'000U);
  const auto refused = open_huge(std::uint64_t{1} << 36, 0, 8192);
  ASSERT_FALSE(refused.ok());
  EXPECT_NE(refused.error().message.find("more than 4194304 holes"), std::string::npos);
}

}  // namespace
}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// FileReader and the verdicts of compressed files. zisofs is made here from its description (libisofs'
// doc/zisofs_format.txt and zisofs2_format.txt), block by block with zlib.
#include "lacuna/content.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <zlib.h>

#include <random>

#include "lacuna/verdict.h"
#include "salvage/hand_disc.h"
#include "support/memory_image.h"

namespace lacuna {
namespace {

using test::at_lba;
using test::HandDisc;
using test::MemoryImage;
using test::numbered_sectors;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

using ByteVector = std::vector<std::uint8_t>;

void put_le(ByteVector& to, std::size_t at, std::uint64_t value, std::size_t bytes) {
  for (std::size_t i = 0; i < bytes; ++i) to[at + i] = static_cast<std::uint8_t>(value >> (8 * i));
}

struct Packed {
  ByteVector bytes;
  std::vector<std::uint64_t> pointers;
  Zisofs facts;
};

Packed pack(const ByteVector& plain, std::uint8_t log2, int version) {
  Packed p;
  const std::size_t block = std::size_t{1} << log2;
  const std::size_t count = (plain.size() + block - 1) / block;
  const std::size_t header = version == 1 ? 16 : 24;
  const std::size_t width = version == 1 ? 4 : 8;
  p.facts = {static_cast<std::uint8_t>(version), 1, static_cast<std::uint8_t>(header / 4), log2, plain.size()};
  p.bytes.assign(header + (count + 1) * width, 0);
  const ByteVector magic = version == 1 ? ByteVector{0x37, 0xE4, 0x53, 0x96, 0xC9, 0xDB, 0xD6, 0x07}
                                        : ByteVector{0xEF, 0x22, 0x55, 0xA1, 0xBC, 0x1B, 0x95, 0xA0};
  std::copy(magic.begin(), magic.end(), p.bytes.begin());
  if (version == 1) {
    put_le(p.bytes, 8, plain.size(), 4);
    p.bytes[12] = 4;
    p.bytes[13] = log2;
  } else {
    p.bytes[9] = 6;
    p.bytes[10] = 1;
    p.bytes[11] = log2;
    put_le(p.bytes, 12, plain.size(), 8);
  }
  for (std::size_t i = 0; i < count; ++i) {
    put_le(p.bytes, header + i * width, p.bytes.size(), width);
    p.pointers.push_back(p.bytes.size());
    const std::span<const std::uint8_t> in =
        std::span(plain).subspan(i * block, std::min(block, plain.size() - i * block));
    if (std::all_of(in.begin(), in.end(), [](std::uint8_t b) { return b == 0; })) continue;
    ByteVector out(compressBound(in.size()));
    uLongf length = out.size();
    EXPECT_EQ(compress2(out.data(), &length, in.data(), in.size(), 6), Z_OK);
    p.bytes.insert(p.bytes.end(), out.begin(), out.begin() + static_cast<std::ptrdiff_t>(length));
  }
  put_le(p.bytes, header + count * width, p.bytes.size(), width);
  p.pointers.push_back(p.bytes.size());
  return p;
}

/// Bytes that compress badly, so that blocks take several sectors, with one block of zeros.
ByteVector plain_text(std::size_t bytes, std::size_t zeros_from, std::size_t zeros) {
  std::mt19937 random(7);
  ByteVector plain(bytes);
  for (std::uint8_t& b : plain) b = static_cast<std::uint8_t>(random() % 64);
  for (std::size_t i = zeros_from; i < std::min(bytes, zeros_from + zeros); ++i) plain[i] = 0;
  return plain;
}

constexpr std::uint64_t kAt = 20;

/// A disc with one compressed file at LBA 20.
class PackedDisc {
 public:
  PackedDisc(const Packed& packed, MemoryImage& memory, std::uint64_t size) : image_(memory.open()), hand_(*image_) {
    const NodeId id = hand_.file("z", size, {at_lba(kAt, packed.bytes.size())});
    hand_.tree().edit_details(id).zisofs = packed.facts;
    hand_.finish();
    Result<Verdicts> v = judge(hand_.disc());
    EXPECT_TRUE(v.ok());
    verdicts_ = std::move(v).value();
  }
  const Verdict& verdict() const { return verdicts_.of(hand_.id("z")); }
  std::vector<Gap> gaps() const {
    const auto g = verdicts_.gaps(verdict());
    return {g.begin(), g.end()};
  }
  std::vector<std::string> doubts() const { return verdicts_.doubts(hand_.disc(), hand_.id("z")); }
  ByteVector read(std::vector<Gap>& gaps, std::size_t step = 10'000) const {
    FileReader reader(hand_.disc(), hand_.id("z"));
    ByteVector all;
    ByteVector part(step);
    while (const std::size_t n = reader.read(all.size(), part, gaps)) {
      all.insert(all.end(), part.begin(), part.begin() + static_cast<std::ptrdiff_t>(n));
    }
    return all;
  }

 private:
  std::unique_ptr<Image> image_;
  HandDisc hand_;
  Verdicts verdicts_;
};

MemoryImage image_with(const Packed& packed) {
  const std::uint64_t sectors = kAt + packed.bytes.size() / kSectorBytes + 4;
  ByteVector bytes = numbered_sectors(sectors);
  std::copy(packed.bytes.begin(), packed.bytes.end(), bytes.begin() + static_cast<std::ptrdiff_t>(kAt * kSectorBytes));
  return MemoryImage(std::move(bytes));
}

TEST(Zisofs, UndamagedIsWholeAndDecodesInBothVersionsAndAllBlockSizes) {
  for (const int version : {1, 2}) {
    for (const std::uint8_t log2 : {std::uint8_t{15}, std::uint8_t{16}, std::uint8_t{17}, std::uint8_t{20}}) {
      if (version == 1 && log2 > 17) continue;
      for (const std::size_t size : {std::size_t{1}, std::size_t{1} << log2, (std::size_t{3} << log2) + 777}) {
        const ByteVector plain = plain_text(size, std::size_t{1} << log2, std::size_t{1} << log2);
        const Packed packed = pack(plain, log2, version);
        MemoryImage memory = image_with(packed);
        memory.with_map();
        const PackedDisc disc(packed, memory, plain.size());
        EXPECT_EQ(disc.verdict().state, FileState::kWhole);
        EXPECT_THAT(disc.doubts(), IsEmpty());
        std::vector<Gap> gaps;
        EXPECT_TRUE(disc.read(gaps) == plain) << "version " << version << " log2 " << int{log2} << " size " << size;
        EXPECT_THAT(gaps, IsEmpty());
      }
    }
  }
}

TEST(Zisofs, EverySingleBadSectorLosesExactlyTheBlocksThatItTouches) {
  const ByteVector plain = plain_text(6 * 32768 + 100, 2 * 32768, 2 * 32768);
  const Packed packed = pack(plain, 15, 1);
  for (std::uint64_t sector = 0; sector * kSectorBytes < packed.bytes.size(); ++sector) {
    MemoryImage memory = image_with(packed);
    memory.mark(kAt + sector, 1, SectorState::kBad);
    const PackedDisc disc(packed, memory, plain.size());
    const std::uint64_t from = sector * kSectorBytes;
    const std::uint64_t to = from + kSectorBytes;
    std::vector<bool> lost;
    for (std::size_t i = 0; i + 1 < packed.pointers.size(); ++i) {
      // The first sector holds header and table: without pointers no block can be found.
      lost.push_back(sector == 0 || (packed.pointers[i] < packed.pointers[i + 1] && packed.pointers[i] < to &&
                                     packed.pointers[i + 1] > from));
    }
    std::vector<Gap> read_gaps;
    const ByteVector got = disc.read(read_gaps, 7001);
    EXPECT_EQ(read_gaps, disc.gaps()) << "sector " << sector;
    std::uint64_t missing = 0;
    for (std::size_t at = 0; at < plain.size(); ++at) {
      missing += lost[at / 32768] ? 1 : 0;
      ASSERT_EQ(got[at], lost[at / 32768] ? 0 : plain[at]) << "byte " << at << ", sector " << sector;
    }
    EXPECT_EQ(disc.verdict().missing_bytes, missing);
    EXPECT_EQ(disc.verdict().state, sector == 0 ? FileState::kLost : FileState::kDamaged);
  }
}

TEST(Zisofs, ALostPointerIsKnownWhenBothNeighboursAreEqual) {
  // 32 KiB of pointers: 8192 blocks, nearly all of them zeros.
  const std::size_t blocks = 1500;
  ByteVector plain(blocks * 32768, 0);
  std::fill_n(plain.begin(), 100, std::uint8_t{1});
  std::fill_n(plain.end() - 100, 100, std::uint8_t{2});
  const Packed packed = pack(plain, 15, 1);
  // Sector 1 of the file holds pointers 508 to 1019, all between equal ones.
  MemoryImage memory = image_with(packed);
  memory.mark(kAt + 1, 1, SectorState::kUnread);
  const PackedDisc disc(packed, memory, plain.size());
  EXPECT_EQ(disc.verdict().state, FileState::kWhole);
  std::vector<Gap> gaps;
  EXPECT_TRUE(disc.read(gaps, 1 << 20) == plain);
  EXPECT_THAT(gaps, IsEmpty());
}

TEST(Zisofs, SuspectSectorsMakeTheirBlocksSuspect) {
  const ByteVector plain = plain_text(4 * 32768, 0, 0);
  const Packed packed = pack(plain, 15, 1);
  MemoryImage memory = image_with(packed);
  const std::uint64_t sector = packed.pointers[2] / kSectorBytes + 1;
  memory.mark(kAt + sector, 1, SectorState::kSuspect);
  const PackedDisc disc(packed, memory, plain.size());
  EXPECT_EQ(disc.verdict().state, FileState::kDoubtful);
  EXPECT_THAT(disc.gaps(), ElementsAre(Gap{2 * 32768, 32768, SectorState::kSuspect}));
  std::vector<Gap> gaps;
  EXPECT_TRUE(disc.read(gaps) == plain);
  EXPECT_EQ(gaps, disc.gaps());
  EXPECT_THAT(disc.doubts(), ElementsAre(HasSubstr("touch suspect sectors")));
}

TEST(Zisofs, AHeaderThatDisagreesOrIsNoneIsADoubt) {
  const ByteVector plain = plain_text(2 * 32768, 0, 0);
  Packed packed = pack(plain, 15, 1);
  packed.bytes[8] ^= 1;
  {
    MemoryImage memory = image_with(packed);
    memory.with_map();
    const PackedDisc disc(packed, memory, plain.size());
    EXPECT_EQ(disc.verdict().state, FileState::kDoubtful);
    EXPECT_THAT(disc.doubts(), ElementsAre(HasSubstr("says another size")));
    std::vector<Gap> gaps;
    EXPECT_TRUE(disc.read(gaps) == plain);
  }
  packed.bytes[0] = 0;
  MemoryImage memory = image_with(packed);
  memory.with_map();
  const PackedDisc disc(packed, memory, plain.size());
  EXPECT_EQ(disc.verdict().state, FileState::kDoubtful);
  EXPECT_THAT(disc.doubts(), ElementsAre(HasSubstr("no such header")));
}

TEST(Zisofs, BrokenTablesLoseWhatRestsOnThem) {
  const ByteVector plain = plain_text(4 * 32768, 0, 0);
  const Packed good = pack(plain, 15, 1);
  const auto judged_with = [&](std::size_t pointer, std::uint64_t value) {
    Packed packed = good;
    put_le(packed.bytes, 16 + pointer * 4, value, 4);
    MemoryImage memory = image_with(packed);
    memory.with_map();
    const PackedDisc disc(packed, memory, plain.size());
    EXPECT_THAT(disc.doubts(), ElementsAre(HasSubstr("contradicts itself")));
    EXPECT_EQ(disc.verdict().state, FileState::kDamaged);
    std::vector<Gap> gaps;
    const ByteVector got = disc.read(gaps);
    for (std::size_t i = 0; i < got.size(); ++i) {
      const bool missing =
          std::any_of(gaps.begin(), gaps.end(), [&](const Gap& g) { return i >= g.offset && i < g.offset + g.length; });
      if (got[i] != (missing ? 0 : plain[i])) return ::testing::AssertionFailure() << "byte " << i << " is invented";
    }
    return ::testing::AssertionSuccess();
  };
  EXPECT_TRUE(judged_with(2, 0));                      // into the header
  EXPECT_TRUE(judged_with(2, 0xFFFFFFFF));             // behind the file
  EXPECT_TRUE(judged_with(2, good.pointers[1] - 5));   // decreasing
  EXPECT_TRUE(judged_with(4, good.bytes.size() + 1));  // the last block longer than the file
  EXPECT_TRUE(judged_with(0, good.pointers[0] - 4));   // the first block begins in the table
}

TEST(Zisofs, BlocksThatDecodeToAnotherSizeAreMissing) {
  const ByteVector plain = plain_text(3 * 32768, 0, 0);
  // As if the middle block were cut from a larger or a smaller file: its stream is right, its size is not.
  for (const std::size_t other : {std::size_t{32767}, std::size_t{32769}}) {
    const ByteVector middle = plain_text(other, 0, 0);
    ByteVector stream(compressBound(other));
    uLongf length = stream.size();
    ASSERT_EQ(compress2(stream.data(), &length, middle.data(), other, 6), Z_OK);
    Packed packed = pack(plain, 15, 1);
    const ByteVector last(packed.bytes.begin() + static_cast<std::ptrdiff_t>(packed.pointers[2]), packed.bytes.end());
    packed.bytes.resize(packed.pointers[1]);
    packed.bytes.insert(packed.bytes.end(), stream.begin(), stream.begin() + static_cast<std::ptrdiff_t>(length));
    put_le(packed.bytes, 16 + 2 * 4, packed.bytes.size(), 4);
    packed.bytes.insert(packed.bytes.end(), last.begin(), last.end());
    put_le(packed.bytes, 16 + 3 * 4, packed.bytes.size(), 4);
    MemoryImage memory = image_with(packed);
    memory.with_map();
    const PackedDisc disc(packed, memory, plain.size());
    std::vector<Gap> gaps;
    const ByteVector got = disc.read(gaps);
    EXPECT_THAT(gaps, ElementsAre(Gap{32768, 32768, SectorState::kBad})) << other;
    EXPECT_TRUE(std::all_of(got.begin() + 32768, got.begin() + 65536, [](std::uint8_t b) { return b == 0; }));
  }
}

TEST(Zisofs, ImpossibleFactsAreUnusableAndCostNothing) {
  const ByteVector plain = plain_text(32768, 0, 0);
  const Packed good = pack(plain, 15, 1);
  std::vector<Zisofs> impossible(4, good.facts);
  impossible[0].block_size_log2 = 14;
  impossible[1].block_size_log2 = 63;
  impossible[2].header_words = 0;
  impossible[3].algorithm = 3;
  for (const Zisofs& facts : impossible) {
    Packed packed = good;
    packed.facts = facts;
    MemoryImage memory = image_with(packed);
    memory.with_map();
    const PackedDisc disc(packed, memory, plain.size());
    EXPECT_EQ(disc.verdict().state, FileState::kLost);
    EXPECT_THAT(disc.doubts(), ElementsAre(HasSubstr("can't be decoded")));
    std::vector<Gap> gaps;
    EXPECT_EQ(disc.read(gaps).size(), plain.size());
    EXPECT_THAT(gaps, ElementsAre(Gap{0, 32768, SectorState::kBad}));
  }
  // 2^60 bytes: the table would be larger than any disc.
  MemoryImage memory = image_with(good);
  memory.with_map();
  const PackedDisc disc(good, memory, std::uint64_t{1} << 60);
  EXPECT_EQ(disc.verdict().state, FileState::kLost);
}

TEST(Zisofs, ATableBehindTheStoredBytesIsMissing) {
  const ByteVector plain = plain_text(32768, 0, 0);
  const Packed good = pack(plain, 15, 1);
  MemoryImage memory = image_with(good);
  memory.with_map();
  const PackedDisc disc(good, memory, std::uint64_t{100} << 30);  // 3,276,800 blocks, a table of two
  EXPECT_NE(disc.verdict().state, FileState::kWhole);
  EXPECT_GE(disc.verdict().missing_bytes, (std::uint64_t{100} << 30) - 2 * 32768);
}

// Plain files.

TEST(FileReader, ReadsAcrossExtentsAndBeyondTheEndGivesNothing) {
  MemoryImage memory(numbered_sectors(2000));
  memory.with_map().allow_only({{20, 1520}, {1600, 1601}});
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("a", 1500 * 2048 + 100, {at_lba(20, 1500 * 2048), at_lba(1600, 2048)});
  hand.finish();
  FileReader reader(hand.disc(), hand.id("a"));
  EXPECT_EQ(reader.size(), 1500U * 2048 + 100);
  ByteVector all(1500 * 2048 + 500, 0xEE);
  std::vector<Gap> gaps;
  EXPECT_EQ(reader.read(0, all, gaps), 1500U * 2048 + 100);
  EXPECT_THAT(gaps, IsEmpty());
  ByteVector expected = numbered_sectors(1500, 20);
  const ByteVector rest = test::numbered_sector(1600);
  expected.insert(expected.end(), rest.begin(), rest.begin() + 100);
  EXPECT_TRUE(std::equal(expected.begin(), expected.end(), all.begin()));
  EXPECT_EQ(reader.read(reader.size(), all, gaps), 0U);
  EXPECT_EQ(reader.read(~std::uint64_t{0}, all, gaps), 0U);

  // One byte at a time comes from the cache.
  const std::uint64_t before = memory.log().sectors;
  std::uint8_t byte = 0;
  for (std::uint64_t i = 0; i < 10'000; ++i) {
    ASSERT_EQ(reader.read(i, std::span(&byte, 1), gaps), 1U);
    ASSERT_EQ(byte, expected[i]);
  }
  EXPECT_LE(memory.log().sectors - before, 16U);
}

TEST(FileReader, UnlocatedAndAbsentFilesAreOneGapWithoutReading) {
  MemoryImage memory(numbered_sectors(30));
  memory.with_map().allow_only({});
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("unlocated", 5000, {at_lba(20, 5000)}, node_flag::kUnlocated);
  hand.file("absent", std::uint64_t{1} << 40, {at_lba(40, std::uint64_t{1} << 40)});
  hand.finish();
  for (const char* name : {"unlocated", "absent"}) {
    FileReader reader(hand.disc(), hand.id(name));
    ByteVector out(4000, 0xEE);
    std::vector<Gap> gaps;
    const std::uint64_t offset = reader.size() - 4000;
    EXPECT_EQ(reader.read(offset, out, gaps), 4000U);
    EXPECT_THAT(gaps, ElementsAre(Gap{offset, 4000, SectorState::kAbsent}));
    EXPECT_EQ(out, ByteVector(4000, 0));
  }
}

TEST(FileReader, GapsOfSuccessiveReadsAreJoined) {
  MemoryImage memory(numbered_sectors(60));
  memory.mark(22, 3, SectorState::kBad);
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("a", 20, 10 * 2048);
  hand.finish();
  FileReader reader(hand.disc(), hand.id("a"));
  std::vector<Gap> gaps;
  ByteVector out(1000);
  for (std::uint64_t at = 0; at < reader.size(); at += 1000) reader.read(at, out, gaps);
  EXPECT_THAT(gaps, ElementsAre(Gap{4096, 3 * 2048, SectorState::kBad}));
}

}  // namespace
}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/zisofs_blocks.h"

#include <algorithm>
#include <array>

#define ZLIB_CONST
#include <zlib.h>

#include "base/bytes.h"
#include "salvage/gaps.h"

namespace lacuna {
namespace {

constexpr std::array<std::uint8_t, 8> kMagic1{0x37, 0xE4, 0x53, 0x96, 0xC9, 0xDB, 0xD6, 0x07};
constexpr std::array<std::uint8_t, 8> kMagic2{0xEF, 0x22, 0x55, 0xA1, 0xBC, 0x1B, 0x95, 0xA0};

bool is_version_2(const Zisofs& facts) noexcept { return facts.version >= 2; }
std::uint32_t header_bytes(const Zisofs& facts) noexcept { return std::uint32_t{facts.header_words} * 4; }
std::uint32_t pointer_bytes(const Zisofs& facts) noexcept { return is_version_2(facts) ? 8 : 4; }

bool can_be(const Zisofs& facts) noexcept {
  const bool v2 = is_version_2(facts);
  return facts.algorithm == 1 && facts.header_words >= (v2 ? 6 : 4) && facts.block_size_log2 >= 15 &&
         facts.block_size_log2 <= (v2 ? 20 : 17);
}

std::uint64_t block_count(const Zisofs& facts, std::uint64_t plain_bytes) noexcept {
  const std::uint64_t mask = (std::uint64_t{1} << facts.block_size_log2) - 1;
  return (plain_bytes >> facts.block_size_log2) + ((plain_bytes & mask) != 0 ? 1 : 0);
}

}  // namespace

std::uint64_t ZisofsBlocks::table_bytes(const Zisofs& facts, std::uint64_t plain_bytes) {
  if (!can_be(facts)) return 0;
  const std::uint64_t count = block_count(facts, plain_bytes);
  if (count > kMaxBlocks) return 0;
  return header_bytes(facts) + (count + 1) * pointer_bytes(facts);
}

ZisofsBlocks::ZisofsBlocks(StoredReader& stored, const Zisofs& facts, std::uint64_t plain_bytes)
    : plain_bytes_(plain_bytes), stored_bytes_(stored.size()) {
  if (!can_be(facts)) return;
  block_bytes_ = std::uint32_t{1} << facts.block_size_log2;
  count_ = block_count(facts, plain_bytes);
  if (count_ > kMaxBlocks) {
    count_ = 0;
    return;
  }
  usable_ = true;
  read_header(stored, facts);
  read_table(stored, facts);
  settle_table();
}

void ZisofsBlocks::read_header(StoredReader& stored, const Zisofs& facts) {
  const bool v2 = is_version_2(facts);
  std::array<std::uint8_t, 24> buffer{};
  const auto header = std::span(buffer).first(v2 ? 24 : 16);
  std::vector<Gap> gaps;
  stored.read(0, header, gaps);
  if (std::any_of(gaps.begin(), gaps.end(), [](const Gap& g) { return !has_bytes(g.state); })) {
    header_ = ZisofsHeader::kUnreadable;
    return;
  }
  const auto& magic = v2 ? kMagic2 : kMagic1;
  if (!std::equal(magic.begin(), magic.end(), header.begin())) {
    header_ = ZisofsHeader::kNoMagic;
    return;
  }
  const bool agrees =
      v2 ? header[8] == 0 && header[9] == facts.header_words && header[10] == facts.algorithm &&
               header[11] == facts.block_size_log2 && le64(header, 12) == plain_bytes_
         : le32(header, 8) == plain_bytes_ && header[12] == facts.header_words && header[13] == facts.block_size_log2;
  if (!agrees) header_ = ZisofsHeader::kDisagrees;
}

void ZisofsBlocks::read_table(StoredReader& stored, const Zisofs& facts) {
  const std::uint32_t width = pointer_bytes(facts);
  const std::uint64_t first = header_bytes(facts);
  table_end_ = first + (count_ + 1) * width;
  // Pointers behind the stored file's end are not read: a hostile size must not cost memory for nothing.
  const std::uint64_t there = stored_bytes_ <= first ? 0 : std::min(count_ + 1, (stored_bytes_ - first) / width);
  pointers_.assign(static_cast<std::size_t>(there), 0);
  states_.assign(static_cast<std::size_t>(there), SectorState::kGood);
  constexpr std::size_t kChunkPointers = 8192;
  std::vector<std::uint8_t> bytes(std::min<std::size_t>(pointers_.size(), kChunkPointers) * width);
  std::vector<Gap> gaps;
  for (std::size_t at = 0; at < pointers_.size(); at += kChunkPointers) {
    const std::size_t n = std::min(kChunkPointers, pointers_.size() - at);
    const std::uint64_t offset = first + at * width;
    gaps.clear();
    stored.read(offset, std::span(bytes).first(n * width), gaps);
    for (std::size_t i = 0; i < n; ++i) {
      pointers_[at + i] = width == 8 ? le64(bytes, i * 8) : le32(bytes, i * 4);
    }
    for (const Gap& g : gaps) {
      const std::uint64_t from = (g.offset - offset) / width;
      const std::uint64_t to = (g.offset - offset + g.length - 1) / width;
      for (std::uint64_t i = from; i <= to; ++i) {
        SectorState& s = states_[at + static_cast<std::size_t>(i)];
        s = std::max(s, g.state);
      }
    }
  }
}

// Pointers never decrease. So a pointer that was lost between two equal ones is equal to them, and one that is smaller
// than one before it proves that the table is broken there.
void ZisofsBlocks::settle_table() {
  std::size_t known = pointers_.size();  // the last readable pointer
  for (std::size_t i = 0; i < pointers_.size(); ++i) {
    if (!has_bytes(states_[i])) continue;
    if (known != pointers_.size()) {
      if (pointers_[i] < pointers_[known]) table_consistent_ = false;
      if (pointers_[i] == pointers_[known]) {
        const SectorState both = std::max(states_[i], states_[known]);
        for (std::size_t k = known + 1; k < i; ++k) {
          pointers_[k] = pointers_[i];
          states_[k] = both;
        }
      }
    }
    if (pointers_[i] < table_end_ || pointers_[i] > stored_bytes_) table_consistent_ = false;
    known = i;
  }
  if (pointers_.size() < count_ + 1) table_consistent_ = false;
}

std::uint32_t ZisofsBlocks::plain_bytes_of(std::uint64_t i) const noexcept {
  const std::uint64_t start = i * block_bytes_;
  return static_cast<std::uint32_t>(std::min<std::uint64_t>(block_bytes_, plain_bytes_ - start));
}

ZisofsBlocks::Block ZisofsBlocks::block(std::uint64_t i) const noexcept {
  if (i + 1 >= pointers_.size()) return {0, 0, SectorState::kBad};
  const auto at = static_cast<std::size_t>(i);
  const Block b{pointers_[at], pointers_[at + 1], std::max(states_[at], states_[at + 1])};
  if (!has_bytes(b.pointers)) return b;
  // The longest that zlib makes of a block; a longer one is no block.
  const bool possible = b.first >= table_end_ && b.first <= b.end && b.end <= stored_bytes_ &&
                        b.end - b.first <= compressBound(block_bytes_);
  return possible ? b : Block{0, 0, SectorState::kBad};
}

}  // namespace lacuna

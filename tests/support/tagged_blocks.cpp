// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/tagged_blocks.h"

#include <algorithm>
#include <cassert>
#include <optional>

#include "base/bytes.h"

namespace lacuna::test {
namespace {

constexpr std::string_view kMagic = "TAGGED\x1a\n";

struct Tag {
  std::uint32_t file, block, bytes;
};

std::uint64_t mix(std::uint64_t x) {  // splitmix64's finisher
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
  return x ^ (x >> 31);
}

std::uint32_t checksum(const Tag& t) {
  return static_cast<std::uint32_t>(mix(std::uint64_t{t.file} << 32 ^ std::uint64_t{t.block} << 12 ^ t.bytes));
}

void append32(std::string& s, std::uint32_t v) {
  for (int i = 0; i < 4; ++i) s.push_back(static_cast<char>(v >> (8 * i) & 0xff));
}

void append_block(std::string& s, const Tag& t) {
  const std::size_t end = s.size() + t.bytes;
  s += kMagic;
  for (const std::uint32_t v : {t.file, t.block, t.bytes, checksum(t)}) append32(s, v);
  std::uint64_t state = std::uint64_t{t.file} << 32 | t.block;
  std::size_t at = s.size();
  s.resize(end);
  while (at < end) {
    state += 0x9e3779b97f4a7c15u;
    const std::uint64_t word = mix(state);
    for (int i = 0; i < 8 && at < end; ++i) s[at++] = static_cast<char>(word >> (8 * i) & 0xff);
  }
}

std::optional<Tag> tag_at(std::span<const std::uint8_t> at) {
  if (at.size() < kTagBytes || as_text(at.first(kMagic.size())) != kMagic) return std::nullopt;
  const Tag t{le32(at, 8), le32(at, 12), le32(at, 16)};
  if (le32(at, 20) != checksum(t)) return std::nullopt;
  return t;
}

}  // namespace

std::string tagged_content(std::uint32_t file, std::uint64_t bytes) {
  assert(bytes % kTaggedBlockBytes == 0 || bytes % kTaggedBlockBytes >= kTagBytes);
  std::string s;
  s.reserve(static_cast<std::size_t>(bytes));
  for (std::uint32_t block = 0; s.size() < bytes; ++block) {
    append_block(
        s, {file, block, static_cast<std::uint32_t>(std::min<std::uint64_t>(kTaggedBlockBytes, bytes - s.size()))});
  }
  return s;
}

std::optional<std::uint32_t> tagged_file(std::span<const std::uint8_t> at) {
  const auto tag = tag_at(at);
  return tag ? std::optional(tag->file) : std::nullopt;
}

BlockOracle::BlockOracle(std::span<const std::uint8_t> image, std::uint64_t first_address) {
  for (std::uint64_t at = 0; at < image.size(); at += 512) {
    const auto tag = tag_at(image.subspan(static_cast<std::size_t>(at)));
    if (!tag) continue;
    const std::uint64_t address = first_address + at;
    places_[{tag->file, tag->block}].push_back(address);
    for (std::uint64_t lba = address / kSectorBytes; lba <= (address + tag->bytes - 1) / kSectorBytes; ++lba) {
      data_lbas_.insert(lba);
    }
  }
}

bool BlockOracle::complete(std::uint32_t file, std::uint64_t bytes) const {
  for (std::uint32_t block = 0; std::uint64_t{block} * kTaggedBlockBytes < bytes; ++block) {
    const auto it = places_.find({file, block});
    if (it == places_.end() || it->second.size() != 1) return false;
  }
  return true;
}

std::optional<std::uint64_t> BlockOracle::place(std::uint32_t file, std::uint32_t block) const {
  const auto it = places_.find({file, block});
  if (it == places_.end() || it->second.size() != 1) return std::nullopt;
  return it->second.front();
}

bool BlockOracle::is_data(std::uint64_t lba) const { return data_lbas_.contains(lba); }

std::vector<Gap> BlockOracle::gaps(std::uint32_t file, std::uint64_t bytes,
                                   const std::function<SectorState(std::uint64_t)>& state_of,
                                   std::uint64_t end_byte) const {
  std::vector<Gap> all;
  for (std::uint64_t offset = 0; offset < bytes; offset += kTaggedBlockBytes) {
    const std::uint64_t length = std::min<std::uint64_t>(kTaggedBlockBytes, bytes - offset);
    std::uint64_t address = places_.at({file, static_cast<std::uint32_t>(offset / kTaggedBlockBytes)}).front();
    // A block may straddle sectors when logical blocks are smaller.
    for (std::uint64_t done = 0; done < length;) {
      std::uint64_t piece = std::min(length - done, kSectorBytes - address % kSectorBytes);
      if (address < end_byte) piece = std::min(piece, end_byte - address);
      const SectorState state = address < end_byte ? state_of(address / kSectorBytes) : SectorState::kAbsent;
      if (state != SectorState::kGood && state != SectorState::kRepaired) all.push_back({offset + done, piece, state});
      done += piece;
      address += piece;
    }
  }
  return joined(all);
}

FileState state_from_gaps(std::uint64_t bytes, std::span<const Gap> gaps) {
  std::uint64_t missing = 0;
  for (const Gap& g : gaps) missing += has_bytes(g.state) ? 0 : g.length;
  if (missing != 0) return missing == bytes ? FileState::kLost : FileState::kDamaged;
  return gaps.empty() ? FileState::kWhole : FileState::kDoubtful;
}

std::vector<Gap> joined(std::span<const Gap> gaps) {
  std::vector<Gap> out;
  for (const Gap& g : gaps) {
    if (!out.empty() && out.back().state == g.state && out.back().offset + out.back().length == g.offset) {
      out.back().length += g.length;
    } else {
      out.push_back(g);
    }
  }
  return out;
}

}  // namespace lacuna::test

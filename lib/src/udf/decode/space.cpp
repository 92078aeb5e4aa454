// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/space.h"

#include <algorithm>
#include <bit>

#include "udf/decode/read_tag.h"

namespace lacuna::udf {

// ECMA-167 4/14.11
std::optional<UnallocatedSpaceEntry> decode_unallocated_space_entry(Bytes block) noexcept {
  constexpr std::size_t kFixedBytes = 40;
  const auto tag = read_tag(block, tag_id::kUnallocatedSpaceEntry, kFixedBytes);
  if (!tag) return {};
  UnallocatedSpaceEntry e;
  e.tag = *tag;
  e.icb = decode_icb_tag(block.subspan(kTagBytes));
  const std::uint64_t allocation_bytes = le32(block, 36);
  e.allocation = cut_view(block, kFixedBytes, allocation_bytes);
  e.cut = e.allocation.size() < allocation_bytes;
  e.bytes = kFixedBytes + allocation_bytes;
  return e;
}

// ECMA-167 4/14.12
std::optional<SpaceBitmap> decode_space_bitmap(Bytes b) noexcept {
  const auto tag = read_tag(b, tag_id::kSpaceBitmap, kBitmapFixedBytes);
  if (!tag) return {};
  SpaceBitmap s;
  s.tag = *tag;
  s.bits = le32(b, 16);
  s.bitmap_bytes = le32(b, 20);
  s.bitmap = cut_view(b, kBitmapFixedBytes, s.bitmap_bytes);
  s.cut = s.bitmap.size() < s.bitmap_bytes;
  s.too_few_bytes = s.bitmap_bytes < (std::uint64_t{s.bits} + 7) / 8;
  return s;
}

std::uint64_t SpaceBitmap::free_blocks() const noexcept { return count_set_bits(bitmap, bits); }

std::uint64_t count_set_bits(Bytes bitmap, std::uint64_t bits) noexcept {
  bits = std::min<std::uint64_t>(bits, std::uint64_t{bitmap.size()} * 8);
  const auto bytes = static_cast<std::size_t>(bits / 8);
  std::uint64_t count = 0;
  std::size_t i = 0;
  for (; bytes - i >= 8; i += 8) count += static_cast<unsigned>(std::popcount(le64(bitmap, i)));
  for (; i < bytes; ++i) count += static_cast<unsigned>(std::popcount(bitmap[i]));
  const unsigned rest = bits % 8;
  if (rest != 0) count += static_cast<unsigned>(std::popcount(bitmap[bytes] & ((1u << rest) - 1)));
  return count;
}

}  // namespace lacuna::udf

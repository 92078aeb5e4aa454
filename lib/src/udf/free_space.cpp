// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/free_space.h"

#include <algorithm>

#include "udf/decode/allocation.h"
#include "udf/decode/space.h"

namespace lacuna::udf {
namespace {

constexpr std::uint64_t kMaxBitmapBytes = std::uint64_t{1} << 26;
constexpr std::size_t kMostRanges = std::size_t{1} << 22;

}  // namespace

FreeSpace::FreeSpace(ByteReader& reader, const FoundVolume& found, const Partitions& partitions,
                     const Remains& remains) {
  std::vector<Range> free;
  for (std::size_t i = 0; i < partitions.size(); ++i) {
    const auto reference = static_cast<std::uint16_t>(i);
    if (partitions.under(reference) != reference) continue;
    const auto p = found.descriptors.partitions.find(partitions.map(reference).partition_number);
    if (p == found.descriptors.partitions.end()) continue;
    const PartitionHeader& header = p->second.descriptor.header;
    for (const ShortAd& where :
         {header.unallocated_bitmap, header.freed_bitmap, header.unallocated_table, header.freed_table}) {
      if (!where.none()) take(reader, partitions, reference, where.block, where.length_bytes, free);
    }
  }
  if (!known_ && found.descriptors.rebuilt) {
    for (const DescriptorRemnant& d : remains.descriptors()) {
      if (d.identifier != tag_id::kSpaceBitmap && d.identifier != tag_id::kUnallocatedSpaceEntry) continue;
      const auto address = partitions.address_of(d.position, d.location);
      if (address && partitions.under(address->partition) == address->partition) {
        take(reader, partitions, address->partition, address->block, kMaxBitmapBytes, free);
      }
    }
  }
  free_ = RangeSet::from_unsorted(std::move(free));
}

void FreeSpace::take(ByteReader& reader, const Partitions& partitions, std::uint16_t reference, std::uint32_t block,
                     std::uint64_t bytes, std::vector<Range>& free) {
  const auto position = partitions.position_of({block, reference});
  const std::uint64_t block_bytes = partitions.block_bytes();
  if (!position || *position >= reader.end_byte()) return;
  const auto add = [&](std::uint64_t first, std::uint64_t count) {
    std::vector<Extent> extents;
    static_cast<void>(partitions.locate({static_cast<std::uint32_t>(first), reference}, count * block_bytes, extents));
    for (const Extent& e : extents) {
      if (e.has_place()) free.push_back({e.position, e.position + e.bytes});
    }
  };
  std::vector<std::uint8_t> space(static_cast<std::size_t>(
      std::min({std::max(bytes, block_bytes), kMaxBitmapBytes, reader.end_byte() - *position})));
  RangeSet missing;
  static_cast<void>(reader.read(*position, space, missing));
  if (missing.contains(*position)) return;
  if (const auto table = decode_unallocated_space_entry(
          Bytes(space).first(std::min<std::size_t>(space.size(), static_cast<std::size_t>(block_bytes))))) {
    if (!check_tag(space, block, table->bytes).consistent()) return;
    AllocationReader extents(table->allocation, table->icb.form());
    while (const auto e = extents.next()) add(e->block, e->length_bytes / block_bytes);
    known_ = true;
    return;
  }
  const auto bitmap = decode_space_bitmap(space);
  if (!bitmap ||
      (check_tag(space, block, kBitmapFixedBytes).problems & (tag_problem::kChecksum | tag_problem::kLocation)) != 0) {
    return;
  }
  known_ = true;
  const std::uint64_t bits = std::min<std::uint64_t>(
      {bitmap->bits, bitmap->bitmap.size() * std::uint64_t{8}, reader.end_byte() / block_bytes + 1});
  const auto base = static_cast<std::uint64_t>(bitmap->bitmap.data() - space.data()) + *position;
  std::uint64_t run = 0;  // free blocks before bit i
  for (std::uint64_t i = 0; i <= bits && free.size() < kMostRanges; ++i) {
    const bool is_set = i < bits && (bitmap->bitmap[static_cast<std::size_t>(i / 8)] >> (i % 8) & 1) != 0 &&
                        (missing.empty() || !missing.contains(base + i / 8));
    if (is_set) {
      ++run;
    } else if (run != 0) {
      add(i - run, run);
      run = 0;
    }
  }
}

}  // namespace lacuna::udf

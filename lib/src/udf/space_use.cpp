// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/space_use.h"

#include <algorithm>

#include "udf/decode/allocation.h"
#include "udf/decode/space.h"

namespace lacuna::udf {
namespace {

constexpr std::uint64_t kMostMapBytes = std::uint64_t{1} << 26;
constexpr std::size_t kMostRanges = std::size_t{1} << 22;

bool is_recorded_once(AccessType access) { return access == AccessType::kReadOnly || access == AccessType::kWriteOnce; }

}  // namespace

SpaceUse::SpaceUse(ByteReader& reader, const FoundVolume& found, const Partitions& partitions, const Remains& remains) {
  bool have_maps = false;
  for (std::size_t i = 0; i < partitions.size(); ++i) {
    const auto reference = static_cast<std::uint16_t>(i);
    const auto physical = partitions.under(reference);
    if (!physical) continue;
    const auto p = found.descriptors.partitions.find(partitions.map(*physical).partition_number);
    if (p == found.descriptors.partitions.end()) continue;
    const Partition& partition = p->second.descriptor;
    if (reference != *physical) {
      if (partitions.map(reference).kind == PartitionMapKind::kMetadata && !is_recorded_once(partition.access)) {
        take_metadata_bitmap(reader, partitions, reference);
      }
      continue;
    }
    if (is_recorded_once(partition.access)) {
      add(partitions, {0, reference}, partition.length_sectors, told_found_);
    }
    const PartitionHeader& header = partition.header;
    // Only what is in no map of unallocated blocks is in use; some of it may have been freed since.
    for (const auto& [map, tells_use] :
         {std::pair{header.unallocated_bitmap, true}, std::pair{header.unallocated_table, true},
          std::pair{header.freed_bitmap, false}, std::pair{header.freed_table, false}}) {
      if (map.none()) continue;
      take_map(reader, partitions, {map.block, reference}, map.length_bytes, tells_use);
      have_maps = true;
    }
  }
  if (!have_maps && found.descriptors.rebuilt) {
    for (const DescriptorRemnant& d : remains.descriptors()) {
      if (d.identifier != tag_id::kSpaceBitmap && d.identifier != tag_id::kUnallocatedSpaceEntry) continue;
      const auto address = partitions.address_of(d.position, d.location);
      if (address && partitions.under(address->partition) == address->partition) {
        take_map(reader, partitions, *address, kMostMapBytes, false);
      }
    }
  }
  free_ = RangeSet::from_unsorted(std::move(free_found_));
  told_ = RangeSet::from_unsorted(std::move(told_found_));
}

void SpaceUse::add(const Partitions& partitions, LbAddr first, std::uint64_t count, std::vector<Range>& to) const {
  const std::uint64_t block_bytes = partitions.block_bytes();
  std::vector<Extent> extents;
  static_cast<void>(partitions.locate(first, count * block_bytes, extents));
  for (const Extent& e : extents) {
    if (e.has_place() && to.size() < kMostRanges) to.push_back({e.position, e.position + e.bytes});
  }
  if (partitions.copies(first.partition) < 2) return;
  for (std::uint64_t i = 0; i < count && to.size() < kMostRanges; ++i) {
    const LbAddr block{static_cast<std::uint32_t>(first.block + i), first.partition};
    if (const auto at = partitions.position_of(block, 1)) to.push_back({*at, *at + block_bytes});
  }
}

void SpaceUse::take_map(ByteReader& reader, const Partitions& partitions, LbAddr map, std::uint64_t bytes,
                        bool tells_use) {
  const auto position = partitions.position_of(map);
  const std::uint64_t block_bytes = partitions.block_bytes();
  if (!position || *position >= reader.end_byte()) return;
  std::vector<std::uint8_t> space(static_cast<std::size_t>(
      std::min({std::max(bytes, block_bytes), kMostMapBytes, reader.end_byte() - *position})));
  RangeSet unread;
  static_cast<void>(reader.read(*position, space, unread));
  if (unread.contains(*position)) return;
  if (const auto table = decode_unallocated_space_entry(
          Bytes(space).first(std::min<std::size_t>(space.size(), static_cast<std::size_t>(block_bytes))))) {
    if (!check_tag(space, map.block, table->bytes).consistent()) return;
    AllocationReader extents(table->allocation, table->icb.form());
    while (const auto e = extents.next()) {
      add(partitions, {e->block, map.partition}, e->length_bytes / block_bytes, free_found_);
    }
    const bool complete =
        extents.stop() == AllocationReader::Stop::kEnd || extents.stop() == AllocationReader::Stop::kLengthZero;
    const auto all = partitions.physical(map.partition);
    if (tells_use && complete && all) told_found_.push_back({all->position, all->position + all->bytes});
    return;
  }
  std::vector<Range> missing;
  for (const Range& r : unread.ranges()) missing.push_back({r.first - *position, r.end - *position});
  if ((check_tag(space, map.block, kBitmapFixedBytes).problems & tag_problem::kLocation) != 0) return;
  take_bitmap(partitions, map.partition, space, RangeSet::from_unsorted(std::move(missing)), tells_use);
}

/// UDF 2.2.13.2: the content of the metadata bitmap file is a space bitmap.
void SpaceUse::take_metadata_bitmap(ByteReader& reader, const Partitions& partitions, std::uint16_t reference) {
  const PartitionMap& map = partitions.map(reference);
  if (map.bitmap_block == PartitionMap::kNoFile) return;
  EntryReader entries(reader, partitions);
  LongAd icb;
  icb.length_bytes = partitions.block_bytes();
  icb.location = {map.bitmap_block, *partitions.under(reference)};
  NoEntry why;
  const auto entry = entries.read(icb, why);
  if (!entry || entry->entry.icb.file_type != file_type::kMetadataBitmap) return;
  RangeSet missing;
  bool suspect = false;
  const std::vector<std::uint8_t> space =
      entries.read_content(entries.content(*entry), kMostMapBytes, missing, suspect);
  if (!suspect) take_bitmap(partitions, reference, space, missing, true);
}

void SpaceUse::take_bitmap(const Partitions& partitions, std::uint16_t reference, Bytes space, const RangeSet& missing,
                           bool tells_use) {
  const auto bitmap = decode_space_bitmap(space);
  if (!bitmap || (check_tag(space, std::nullopt, kBitmapFixedBytes).problems & tag_problem::kChecksum) != 0) return;
  const std::uint64_t bits =
      std::min<std::uint64_t>({bitmap->bits, bitmap->bitmap.size() * std::uint64_t{8}, std::uint64_t{1} << 32});
  const auto offset = static_cast<std::uint64_t>(bitmap->bitmap.data() - space.data());
  // Runs of one kind: free, in use, not known.
  enum class Use : std::uint8_t { kUnknown, kFree, kUsed };
  const auto use_of = [&](std::uint64_t bit) {
    if (bit >= bits || (!missing.empty() && missing.contains(offset + bit / 8))) return Use::kUnknown;
    return (bitmap->bitmap[static_cast<std::size_t>(bit / 8)] >> (bit % 8) & 1) != 0 ? Use::kFree : Use::kUsed;
  };
  Use run = Use::kUnknown;
  std::uint64_t begin = 0;
  for (std::uint64_t i = 0; i <= bits; ++i) {
    const Use use = use_of(i);
    if (use == run) continue;
    if (run == Use::kFree || (run == Use::kUsed && tells_use)) {
      add(partitions, {static_cast<std::uint32_t>(begin), reference}, i - begin,
          run == Use::kFree ? free_found_ : told_found_);
    }
    run = use;
    begin = i;
  }
}

}  // namespace lacuna::udf

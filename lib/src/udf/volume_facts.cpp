// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/volume_facts.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "base/text.h"
#include "udf/decode/allocation.h"
#include "udf/decode/cs0.h"
#include "udf/decode/space.h"

namespace lacuna::udf {
namespace {

constexpr std::size_t kMaxIntegrity = 65536;  // descriptors of one sequence
constexpr std::uint64_t kMaxBitmapBytes = std::uint64_t{1} << 26;

struct Guess {
  std::string medium, why;
};

bool has_map(const Partitions& p, PartitionMapKind kind) { return p.first_of(kind).has_value(); }

/// Which media a volume was written for shows in its partition maps (UDF 2.2.8 to 2.2.10, 6.10 to 6.14) and access type
/// (3/10.5.7). Sizes of media are common practice, no source.
Guess guess_medium(const FoundVolume& found, const Partitions& partitions) {
  constexpr std::uint64_t kLargestCd = std::uint64_t{900} << 20;
  constexpr std::uint64_t kLargestDvd = std::uint64_t{9} << 30;
  std::uint64_t bytes = 0;
  AccessType access = AccessType::kReadOnly;
  for (const auto& [number, p] : found.descriptors.partitions) {
    bytes += std::uint64_t{p.descriptor.length_sectors} * found.descriptors.sector_bytes;
    access = p.descriptor.access;
  }
  const bool cd = bytes < kLargestCd;
  const bool dvd = !cd && bytes < kLargestDvd;
  const auto of = [&](std::string_view on_cd, std::string_view on_dvd, std::string_view on_bd) {
    return std::string(cd ? on_cd : dvd ? on_dvd : on_bd);
  };
  if (found.descriptors.sector_bytes != 2048) {
    return {"hard disk, flash memory or magneto-optical disc",
            fmt::format("logical sectors of {} bytes", found.descriptors.sector_bytes)};
  }
  if (has_map(partitions, PartitionMapKind::kVirtual)) {
    return {of("CD-R", "DVD-R or DVD+R", "BD-R") + ", written in packets", "a virtual partition map"};
  }
  if (has_map(partitions, PartitionMapKind::kSparable)) {
    return {of("CD-RW", "DVD-RW or DVD+RW", "rewritable disc") + ", written in packets", "a sparable partition map"};
  }
  switch (access) {
    case AccessType::kReadOnly:
      return {of("CD", "DVD", "BD") + ", pressed or written in one go", "access type: read only"};
    case AccessType::kWriteOnce:
      return {of("CD-R", "DVD-R or DVD+R", "BD-R"), "access type: write once"};
    case AccessType::kRewritable:
      return {of("CD-RW", "DVD-RW", "rewritable disc"), "access type: rewritable"};
    case AccessType::kOverwritable:
      return {of("rewritable disc", "DVD-RAM, DVD+RW or hard disk", "BD-RE or hard disk"), "access type: overwritable"};
    case AccessType::kPseudoOverwritable:
      break;
  }
  return {of("disc", "DVD", "BD-R") + ", written by overwriting in a drive that remaps",
          "access type: pseudo-overwritable"};
}

std::string writer_of(const Regid& r) { return field_text(as_bytes(r.identifier())); }

/// 4/14.11, 4/14.12: free blocks as one extent of a partition header tells them.
std::optional<std::uint64_t> free_blocks(ByteReader& reader, const Partitions& partitions, std::uint16_t reference,
                                         const ShortAd& where, bool bitmap, std::vector<Structure>& structures) {
  const auto position = partitions.position_of({where.block, reference});
  if (!position) return {};
  const std::uint64_t bytes = std::min<std::uint64_t>(where.length_bytes, kMaxBitmapBytes);
  structures.push_back({StructureKind::kSpaceMap, View::kUdf, *position, where.length_bytes, kNoNode,
                        bitmap ? "space bitmap" : "unallocated space entry"});
  std::vector<std::uint8_t> space(static_cast<std::size_t>(bytes));
  if (!has_bytes(reader.read(*position, space))) return {};
  if (bitmap) {
    const auto d = decode_space_bitmap(space);
    if (!d || d->cut ||
        (check_tag(space, where.block, kBitmapFixedBytes).problems &
         (tag_problem::kChecksum | tag_problem::kLocation | tag_problem::kCrc)) != 0) {
      return {};
    }
    return d->free_blocks();
  }
  const auto d = decode_unallocated_space_entry(space);
  if (!d || !check_tag(space, where.block, d->bytes).consistent()) return {};
  std::uint64_t sum = 0;
  AllocationReader extents(d->allocation, d->icb.form());
  while (const auto e = extents.next()) sum += e->length_bytes / partitions.block_bytes();
  return sum;
}

}  // namespace

std::optional<FoundIntegrity> read_integrity(ByteReader& reader, const VolumeDescriptors& volume, ExtentAd extent,
                                             Findings& findings, std::vector<Structure>& structures) {
  const std::uint32_t sector_bytes = volume.sector_bytes;
  std::optional<FoundIntegrity> last;
  std::set<std::uint32_t> seen;
  std::size_t left = kMaxIntegrity;
  while (!extent.none() && seen.insert(extent.sector).second) {
    const ExtentAd at = extent;
    extent = ExtentAd{};
    for (std::uint32_t i = 0; i < at.length_bytes / sector_bytes && left-- > 0; ++i) {
      const std::uint32_t sector = at.sector + i;
      const auto there = volume.position_of(sector);
      if (!there) continue;
      const std::uint64_t position = *there;
      SectorState state;
      const Bytes view = reader.view(position, sector_bytes, state);
      if (!has_bytes(state)) {
        findings.add({Severity::kDoubt, "integrity", "logical volume integrity descriptor", position / kSectorBytes,
                      "ECMA-167 3/10.10",
                      fmt::format("its sector is {}; a newer state may be lost", to_string(state))});
        continue;
      }
      const auto d = decode_integrity(view);
      if (!d) break;  // a terminating descriptor, or nothing recorded yet
      if (const TagCheck check = check_tag(view, sector, d->bytes); !check.consistent()) {
        findings.add({Severity::kDoubt, "integrity", "logical volume integrity descriptor", position / kSectorBytes,
                      "ECMA-167 3/10.10", "it does not count: " + describe(check)});
        continue;
      }
      structures.push_back({StructureKind::kIntegrity, View::kUdf, position, sector_bytes, kNoNode,
                            "logical volume integrity descriptor"});
      last.emplace();
      last->block.assign(view.begin(), view.end());
      last->descriptor = *decode_integrity(last->block);
      extent = d->next;
      if (!extent.none()) break;  // 3/10.10.4: the sequence goes on there
    }
  }
  return last;
}

std::optional<std::uint64_t> free_by_space_map(ByteReader& reader, const FoundVolume& found,
                                               const Partitions& partitions, std::vector<Structure>& structures) {
  std::optional<std::uint64_t> sum;
  for (std::size_t i = 0; i < partitions.size(); ++i) {
    const auto reference = static_cast<std::uint16_t>(i);
    if (partitions.under(reference) != reference) continue;
    const auto p = found.descriptors.partitions.find(partitions.map(reference).partition_number);
    if (p == found.descriptors.partitions.end()) continue;
    const PartitionHeader& header = p->second.descriptor.header;
    for (const auto& [where, bitmap] :
         {std::pair{header.unallocated_bitmap, true}, std::pair{header.freed_bitmap, true},
          std::pair{header.unallocated_table, false}, std::pair{header.freed_table, false}}) {
      if (where.none()) continue;
      if (const auto blocks = free_blocks(reader, partitions, reference, where, bitmap, structures)) {
        sum = sum.value_or(0) + *blocks * partitions.block_bytes();
      }
    }
  }
  return sum;
}

Volume describe_volume(const FoundVolume& found, const Found<LogicalVolume>& logical, const Partitions& partitions,
                       const std::optional<FoundIntegrity>& integrity) {
  Volume v;
  v.view = View::kUdf;
  v.descriptor_lba = logical.position / kSectorBytes;
  v.volume_id = dstring_display(logical.descriptor.volume_id);
  v.logical_block_bytes = logical.descriptor.block_bytes;
  if (const auto& p = found.descriptors.primary) {
    v.volume_set_id = dstring_display(p->descriptor.volume_set_id);
    if (v.volume_id.empty()) v.volume_id = dstring_display(p->descriptor.volume_id);
    v.application_id = writer_of(p->descriptor.application);
    v.sequence_number = p->descriptor.volume_number;
    v.set_size = std::max<std::uint32_t>(1, p->descriptor.max_volume_number);
    v.created = p->descriptor.recorded;
  }
  UdfFacts facts;
  facts.revision = logical.descriptor.domain.revision();
  facts.maps = partitions.describe();
  for (const auto& [number, p] : found.descriptors.partitions) {
    const std::uint64_t end = std::uint64_t{p.descriptor.start_sector} + p.descriptor.length_sectors;
    v.space_bytes = std::max(v.space_bytes, end * found.descriptors.sector_bytes);
  }
  // What was made of remains does not say how it could be written.
  if (!found.descriptors.rebuilt) {
    const Guess guess = guess_medium(found, partitions);
    facts.medium = guess.medium;
    facts.medium_why = guess.why;
  }
  facts.writer = writer_of(logical.descriptor.implementation);
  if (integrity) {
    const Integrity& i = integrity->descriptor;
    facts.closed = i.is_closed();
    facts.integrity_recorded = i.recorded;
    v.modified = i.recorded;
    std::optional<std::uint64_t> free;
    for (std::size_t map = 0; map < partitions.size(); ++map) {
      // A metadata or virtual partition's free space lies in the physical one, which counts its own.
      if (partitions.under(static_cast<std::uint16_t>(map)) != static_cast<std::uint16_t>(map)) continue;
      if (const auto blocks = i.free_blocks(map))
        free = free.value_or(0) + std::uint64_t{*blocks} * partitions.block_bytes();
    }
    facts.free_bytes = free;
    if (i.has_use) {
      facts.files = i.files;
      facts.directories = i.directories;
    }
  }
  v.udf = std::move(facts);
  return v;
}

}  // namespace lacuna::udf

// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/placing.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "udf/decode/virtual_table.h"
#include "udf/votes.h"

namespace lacuna::udf {
namespace {

/// Byte address of block 0 of the physical partition; may lie before the image.
std::optional<std::int64_t> physical_start(const Partitions& partitions, std::uint16_t reference) {
  const auto physical = partitions.under(reference);
  const auto stretch = physical ? partitions.physical(*physical) : std::nullopt;
  if (!stretch) return {};
  return static_cast<std::int64_t>(stretch->position) - static_cast<std::int64_t>(stretch->lacks);
}

/// Blocks of structures that don't stand in the physical partition by their own number, and not within a file.
std::vector<TaggedBlock> layered_blocks(ByteReader& reader, const Partitions& partitions, std::uint16_t reference,
                                        const Remains& remains) {
  const std::uint32_t block_bytes = partitions.block_bytes();
  std::vector<TaggedBlock> blocks = tagged_blocks(remains, block_bytes);
  const auto start = physical_start(partitions, reference);
  if (!start) return blocks;
  // Entries within a file (an image stored as one) tell of places of their own: what they claim does not count.
  const RangeSet claims = contents_of(reader, blocks, block_bytes, *start);
  std::vector<TaggedBlock> outer = blocks;
  std::erase_if(outer, [&](const TaggedBlock& b) { return claims.contains(b.position); });
  const RangeSet contents = contents_of(reader, outer, block_bytes, *start);
  std::erase_if(blocks, [&](const TaggedBlock& b) { return contents.contains(b.position); });
  return blocks;
}

/// Blocks of a partition as a file that holds them, by block number; what has no place is kNowhere.
MapFile as_file(const std::map<std::uint32_t, std::uint64_t>& places, std::uint32_t block_bytes) {
  MapFile file;
  for (const auto& [block, position] : places) {
    const std::uint64_t offset = std::uint64_t{block} * block_bytes;
    if (offset > file.bytes) {
      file.extents.push_back({kNowhere, offset - file.bytes, 0, 0});
      file.bytes = offset;
    }
    if (!file.extents.empty() && file.extents.back().has_place() &&
        file.extents.back().position + file.extents.back().bytes == position) {
      file.extents.back().bytes += block_bytes;
    } else {
      file.extents.push_back({position, block_bytes, 0, 0});
    }
    file.bytes += block_bytes;
  }
  return file;
}

bool all_blank(ByteReader& reader, std::uint64_t first, std::uint64_t end) {
  std::vector<std::uint8_t> bytes(std::size_t{1} << 20);
  for (std::uint64_t at = first; at < end;) {
    const auto n = static_cast<std::size_t>(std::min<std::uint64_t>(bytes.size(), end - at));
    static_cast<void>(reader.read(at, std::span(bytes).first(n)));
    if (std::any_of(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(n),
                    [](std::uint8_t b) { return b != 0; })) {
      return false;
    }
    at += n;
  }
  return true;
}

/// Byte address before which a newer state of anything may have been lost. Only a map tells which sectors are; of
/// those the last one may be left out when it is alone and nothing is behind it, for that is where the table's own
/// entry was (UDF 2.2.11).
std::uint64_t superseded_before(ByteReader& reader, std::uint64_t start_byte, std::uint64_t end_byte,
                                const VirtualTableState* table) {
  constexpr std::uint64_t kAll = ~std::uint64_t{0};
  if (!reader.image().has_map()) return kAll;
  RangeSet lost;  // LBAs
  const std::uint64_t first = start_byte / kSectorBytes, end = (end_byte + kSectorBytes - 1) / kSectorBytes;
  for (const SectorRun& run : reader.image().states().slice(first, end)) {
    if (!has_bytes(run.state)) lost.add({run.first, run.end()});
  }
  if (table != nullptr) {
    // Everything that counts was written before the table, and its own sectors held nothing else.
    std::vector<Range> own;
    for (const Structure& s : table->structures) {
      own.push_back({s.position / kSectorBytes, (s.position + s.bytes - 1) / kSectorBytes + 1});
    }
    lost = lost.minus(RangeSet::from_unsorted(std::move(own)));
    lost = lost.intersected(RangeSet::from_unsorted({{first, table->position / kSectorBytes}}));
    return lost.empty() ? 0 : lost.ranges().back().end * kSectorBytes;
  }
  if (lost.empty()) return kAll;  // the table was never in the image, and who knows what else
  const Range last = lost.ranges().back();
  if (last.length() != 1 || !all_blank(reader, last.end * kSectorBytes, end_byte)) return kAll;
  return lost.ranges().size() < 2 ? 0 : lost.ranges()[lost.ranges().size() - 2].end * kSectorBytes;
}

}  // namespace

bool place_virtual(ByteReader& reader, Partitions& partitions, std::uint16_t reference, const VirtualTableState* known,
                   std::uint64_t start_byte, std::uint64_t end_byte, const Remains& remains, Findings& findings) {
  const std::uint32_t block_bytes = partitions.block_bytes();
  const auto physical = partitions.under(reference);
  const bool complete = known != nullptr && !known->may_be_superseded;
  if (complete && known->lost_entries == 0) return false;
  std::map<std::uint32_t, std::uint64_t> places;
  std::map<std::uint32_t, std::uint64_t> ids;
  std::set<std::uint32_t> contested;
  if (known != nullptr && physical) {
    for (std::size_t i = 0; i < known->entries.size(); ++i) {
      const auto position = partitions.position_of({known->entries[i], *physical});
      if (known->entries[i] != VirtualTable::kUnused && position) {
        places.emplace(static_cast<std::uint32_t>(i), *position);
      }
    }
  }
  std::uint64_t added = 0;
  for (const TaggedBlock& b : layered_blocks(reader, partitions, reference, remains)) {
    if (b.position < start_byte || b.position >= end_byte) continue;
    if (complete && (b.position >= known->position || b.block >= known->entries.size() ||
                     known->entries[b.block] != VirtualTable::kUnused)) {
      continue;  // the table says where it is
    }
    if (known != nullptr && !complete && b.position <= known->position) {
      // Of what was there when the table was written only what it lost is missing.
      if (known->lost_entries == 0 || places.contains(b.block)) continue;
    }
    // A file keeps its unique id in every state: other ones are of other files.
    if (b.unique_id != TaggedBlock::kNoEntry) {
      const auto [id, fresh] = ids.try_emplace(b.block, b.unique_id);
      if (!fresh && id->second != b.unique_id) contested.insert(b.block);
    }
    places.insert_or_assign(b.block, b.position);
    ++added;
  }
  if (added == 0) return false;
  const std::uint64_t before = superseded_before(reader, start_byte, end_byte, complete ? known : nullptr);
  partitions.set_placed(
      reference, as_file(places, block_bytes), {}, before, std::move(contested),
      "the virtual allocation table is lost: a newer state of it may be in sectors that can't be read");
  const std::string words = fmt::format("{}; rebuilt from {} structures that say in which block they stand",
                                        complete ? "part of the table is lost" : "the table is lost", added);
  partitions.set_state(reference, words);
  findings.add({complete ? Severity::kDoubt : Severity::kLoss, "virtual-table-rebuilt", "virtual allocation table",
                std::nullopt, "UDF 2.2.11", words});
  return true;
}

bool place_metadata(ByteReader& reader, Partitions& partitions, std::uint16_t reference, const Remains& remains,
                    Findings& findings) {
  const std::uint32_t block_bytes = partitions.block_bytes();
  const auto start = physical_start(partitions, reference);
  std::vector<TaggedBlock> blocks = layered_blocks(reader, partitions, reference, remains);
  const auto start_of = [&](const TaggedBlock& b) {
    return static_cast<std::int64_t>(b.position) - static_cast<std::int64_t>(std::uint64_t{b.block} * block_bytes);
  };
  std::erase_if(blocks, [&](const TaggedBlock& b) { return start && start_of(b) == *start; });
  if (blocks.empty()) return false;
  // Each extent of the file and of its mirror is a frame of its own.
  struct Extent {
    std::uint64_t votes = 0;
    std::uint32_t first = ~std::uint32_t{0}, last = 0;
  };
  std::map<std::int64_t, Extent> extents;
  for (const TaggedBlock& b : blocks) {
    Extent& e = extents[start_of(b)];
    ++e.votes;
    e.first = std::min(e.first, b.block);
    e.last = std::max(e.last, b.block);
  }
  // Of several that say they are the same block, those in the larger frame come first.
  std::stable_sort(blocks.begin(), blocks.end(), [&](const TaggedBlock& a, const TaggedBlock& b) {
    return extents[start_of(a)].votes > extents[start_of(b)].votes;
  });
  std::map<std::uint32_t, std::uint64_t> main, mirror;
  std::map<std::uint32_t, std::uint16_t> crcs;
  std::set<std::uint32_t> contested;
  for (const TaggedBlock& b : blocks) {
    const auto [crc, fresh] = crcs.try_emplace(b.block, b.crc);
    if (fresh) {
      main.emplace(b.block, b.position);
    } else if (crc->second != b.crc) {
      contested.insert(b.block);
    } else {
      mirror.try_emplace(b.block, b.position);
    }
  }
  for (const TaggedBlock& b : blocks) {
    if (extents[start_of(b)].votes < 2 && crcs.size() > 1 && !mirror.contains(b.block)) contested.insert(b.block);
  }
  // Blocks within a frame that hold no structure of their own, or none that can be read.
  std::uint64_t fill = std::uint64_t{1} << 22;
  for (const auto& [from, e] : extents) {
    if (e.votes < 2) continue;
    for (std::uint64_t block = e.first; block <= e.last && fill != 0; ++block, --fill) {
      const auto position = static_cast<std::uint64_t>(from + static_cast<std::int64_t>(block * block_bytes));
      const auto [at, fresh] = main.try_emplace(static_cast<std::uint32_t>(block), position);
      if (!fresh && at->second != position) mirror.try_emplace(static_cast<std::uint32_t>(block), position);
    }
  }
  partitions.set_placed(reference, as_file(main, block_bytes), as_file(mirror, block_bytes), 0, std::move(contested),
                        "the metadata files are lost: where its entry belongs rests on one structure, or on several "
                        "that disagree");
  const std::string words =
      fmt::format("neither metadata file can be read; rebuilt from {} structures that say in which block they stand",
                  blocks.size());
  partitions.set_state(reference, words);
  findings.add({Severity::kLoss, "metadata-rebuilt", "metadata partition", std::nullopt, "UDF 2.2.13", words});
  return true;
}

bool place_mirror(Partitions& partitions, std::uint16_t reference, const Remains& remains, Findings& findings) {
  const std::uint32_t block_bytes = partitions.block_bytes();
  const auto physical = physical_start(partitions, reference);
  const auto start_of = [&](const TaggedBlock& b) {
    return static_cast<std::int64_t>(b.position) - static_cast<std::int64_t>(std::uint64_t{b.block} * block_bytes);
  };
  std::map<std::uint32_t, std::uint16_t> crcs;  // of the copy that is known
  std::map<std::int64_t, std::vector<TaggedBlock>> frames;
  for (const TaggedBlock& b : tagged_blocks(remains, block_bytes)) {
    const auto known = partitions.position_of({b.block, reference});
    if (!known) continue;
    if (*known == b.position) {
      crcs.emplace(b.block, b.crc);
    } else if (!physical || start_of(b) != *physical) {
      frames[start_of(b)].push_back(b);
    }
  }
  // An extent of the mirror says the same as the file's own, wherever both can be read.
  std::map<std::uint32_t, std::uint64_t> places;
  std::uint64_t fill = std::uint64_t{1} << 22;
  for (const auto& [start, blocks] : frames) {
    std::size_t agree = 0, differ = 0;
    std::uint32_t first = ~std::uint32_t{0}, last = 0;
    for (const TaggedBlock& b : blocks) {
      const auto crc = crcs.find(b.block);
      if (crc != crcs.end()) ++(crc->second == b.crc ? agree : differ);
      first = std::min(first, b.block);
      last = std::max(last, b.block);
    }
    if (agree == 0 || differ != 0) continue;
    for (std::uint64_t block = first; block <= last && fill != 0; ++block, --fill) {
      places.try_emplace(static_cast<std::uint32_t>(block),
                         static_cast<std::uint64_t>(start + static_cast<std::int64_t>(block * block_bytes)));
    }
  }
  if (places.empty()) return false;
  findings.add({Severity::kDoubt, "metadata-mirror-rebuilt", "metadata partition", std::nullopt, "UDF 2.2.13",
                fmt::format("one of the two metadata files is lost; where {} of its blocks are was told by the "
                            "structures in them",
                            places.size())});
  partitions.set_mirror(reference, as_file(places, block_bytes));
  return true;
}

bool place_moved(Partitions& partitions, std::uint16_t reference, const Remains& remains, Findings& findings) {
  const PartitionMap map = partitions.map(reference);
  const auto stretch = partitions.physical(reference);
  const std::uint32_t block_bytes = partitions.block_bytes();
  if (!stretch || map.packet_blocks == 0) return false;
  std::map<std::uint32_t, std::map<std::uint64_t, std::uint64_t>> votes;  // packet, where it went
  for (const TaggedBlock& b : tagged_blocks(remains, block_bytes)) {
    const auto here = partitions.position_of({b.block, reference});
    if (!here || *here == b.position) continue;
    if (b.position >= stretch->position && b.position < stretch->position + stretch->bytes) continue;
    const std::uint32_t within = b.block % map.packet_blocks;
    const std::uint64_t start = b.position - std::uint64_t{within} * block_bytes;
    if (start > b.position || start % (std::uint64_t{map.packet_blocks} * block_bytes) != 0) continue;
    ++votes[b.block - within][start];
  }
  std::vector<std::pair<std::uint32_t, std::uint64_t>> moved;
  for (const auto& [packet, places] : votes) {
    const auto most = std::max_element(places.begin(), places.end(),
                                       [](const auto& a, const auto& b) { return a.second <= b.second; });
    moved.emplace_back(packet, most->first);
  }
  if (moved.empty()) return false;
  findings.add({Severity::kDoubt, "sparing-rebuilt", fmt::format("partition map {}", reference), std::nullopt,
                "UDF 2.2.12",
                fmt::format("a sparing table is lost; structures in {} packets that the others don't have show where "
                            "these were moved",
                            moved.size())});
  partitions.add_moved(reference, moved);
  return true;
}

}  // namespace lacuna::udf

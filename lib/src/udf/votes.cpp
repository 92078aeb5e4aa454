// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/votes.h"

#include <algorithm>
#include <array>

#include "udf/decode/allocation.h"
#include "udf/decode/file_entry.h"

namespace lacuna::udf {
namespace {

constexpr std::array<std::uint32_t, 4> kBlockSizes{2048, 512, 4096, 1024};  // the usual one first
// Shorter stretches hold no image of a disc (the head alone of one takes more: ECMA-167 2/8.3, 3/8.4.2.1).
constexpr std::uint64_t kLeastImageBytes = 65536;
constexpr std::size_t kMostLengths = 4096;  // entries whose lengths are looked at

void add(std::vector<TaggedBlock>& to, std::uint64_t position, std::uint32_t block, std::uint16_t crc,
         std::uint64_t unique_id, std::uint32_t block_bytes) {
  to.push_back({block, position / block_bytes * block_bytes, crc, unique_id});
}

std::vector<TaggedBlock> gather(const Remains& remains, std::uint32_t block_bytes, bool physical) {
  std::vector<TaggedBlock> blocks;
  for (const EntryRemnant& e : remains.entries()) {
    if (e.position % block_bytes != 0 || is_physical(e) != physical) continue;
    add(blocks, e.position, e.location, e.crc, e.unique_id, block_bytes);
  }
  for (const DescriptorRemnant& d : remains.descriptors()) {
    if (!is_part_4(d) || d.position % block_bytes != 0 || is_physical(d) != physical) continue;
    add(blocks, d.position, d.location, d.crc, TaggedBlock::kNoEntry, block_bytes);
  }
  if (!physical) {
    std::uint64_t last = ~std::uint64_t{0};
    for (const IdentifierRemnant& f : remains.identifiers()) {
      if (f.position / block_bytes == last) continue;
      last = f.position / block_bytes;
      add(blocks, f.position, f.location, static_cast<std::uint16_t>(f.icb.block ^ f.length), TaggedBlock::kNoEntry,
          block_bytes);
    }
  }
  // Of one block the entry speaks, if there is one: identifiers may be embedded in it.
  std::sort(blocks.begin(), blocks.end(), [](const TaggedBlock& a, const TaggedBlock& b) {
    if (a.position != b.position) return a.position < b.position;
    return (a.unique_id != TaggedBlock::kNoEntry) > (b.unique_id != TaggedBlock::kNoEntry);
  });
  blocks.erase(std::unique(blocks.begin(), blocks.end(),
                           [](const TaggedBlock& a, const TaggedBlock& b) { return a.position == b.position; }),
               blocks.end());
  return blocks;
}

}  // namespace

bool is_physical(const EntryRemnant& e) {
  return e.file_type == file_type::kVirtualTable || e.file_type == file_type::kMetadata ||
         e.file_type == file_type::kMetadataMirror || e.file_type == file_type::kMetadataBitmap ||
         e.file_type == file_type::kUnspecified;  // the table of UDF 1.50
}

bool is_physical(const DescriptorRemnant& d) {
  return d.identifier == tag_id::kSpaceBitmap || d.identifier == tag_id::kUnallocatedSpaceEntry;
}

bool is_part_4(const DescriptorRemnant& d) { return d.identifier >= tag_id::kFileSet; }

std::vector<TaggedBlock> tagged_blocks(const Remains& remains, std::uint32_t block_bytes) {
  return gather(remains, block_bytes, false);
}

std::vector<TaggedBlock> physical_blocks(const Remains& remains, std::uint32_t block_bytes) {
  return gather(remains, block_bytes, true);
}

std::vector<Frame> count_votes(const std::vector<TaggedBlock>& blocks, std::uint32_t block_bytes) {
  std::vector<std::int64_t> starts;
  starts.reserve(blocks.size());
  for (const TaggedBlock& b : blocks) {
    starts.push_back(static_cast<std::int64_t>(b.position) -
                     static_cast<std::int64_t>(std::uint64_t{b.block} * block_bytes));
  }
  std::sort(starts.begin(), starts.end());
  std::vector<Frame> frames;
  for (const std::int64_t start : starts) {
    if (frames.empty() || frames.back().start != start) frames.push_back({start, 0});
    ++frames.back().votes;
  }
  std::stable_sort(frames.begin(), frames.end(), [](const Frame& a, const Frame& b) { return a.votes > b.votes; });
  return frames;
}

namespace {

/// For and against each of kBlockSizes.
struct SizeVotes {
  std::array<std::uint64_t, kBlockSizes.size()> fit{}, all{};

  /// An image stored as a file may have blocks of another size: a few that speak against it prove nothing.
  bool refuse(std::size_t size) const { return all[size] - fit[size] > all[size] / 8; }
};

/// ECMA-167 4/14.9.11: how many blocks hold so many bytes. Entries whose content has no blocks say nothing.
SizeVotes votes_of_lengths(ByteReader& reader, const Remains& remains) {
  SizeVotes votes;
  const std::size_t step = remains.entries().size() / kMostLengths + 1;
  for (std::size_t i = 0; i < remains.entries().size(); i += step) {
    const std::uint64_t at = remains.entries()[i].position;
    SectorState state;
    const auto e =
        decode_file_entry(reader.view(at, static_cast<std::size_t>(kSectorBytes - at % kSectorBytes), state));
    if (!e || !has_bytes(state) || e->blocks_recorded == 0 || e->information_length == 0) continue;
    std::array<bool, kBlockSizes.size()> fits{};
    for (std::size_t k = 0; k < kBlockSizes.size(); ++k) {
      fits[k] = (e->information_length - 1) / kBlockSizes[k] + 1 == e->blocks_recorded;
    }
    if (std::ranges::find(fits, true) == fits.end()) continue;  // sparse, or it counts something else
    for (std::size_t k = 0; k < kBlockSizes.size(); ++k) {
      ++votes.all[k];
      votes.fit[k] += fits[k];
    }
  }
  return votes;
}

/// Tags of part 4 stand at the beginning of blocks, but for those of identifiers: all at the same place between two
/// multiples of the block's size, wherever the first block is.
SizeVotes votes_of_places(const Remains& remains) {
  SizeVotes votes;
  for (std::size_t k = 0; k < kBlockSizes.size(); ++k) {
    std::array<std::uint64_t, 8> at{};
    const auto count = [&](std::uint64_t position) { ++at[position % kBlockSizes[k] / 512]; };
    for (const EntryRemnant& e : remains.entries()) count(e.position);
    for (const DescriptorRemnant& d : remains.descriptors()) {
      if (is_part_4(d)) count(d.position);
    }
    for (const std::uint64_t n : at) votes.all[k] += n;
    votes.fit[k] = *std::ranges::max_element(at);
  }
  return votes;
}

/// Descriptors of the volume number its sectors, and blocks are as large as these (UDF 2.2.4.2). Two that stand at
/// different sectors of a volume that begins where the disc does, or before the image, leave one size only. Those of an
/// image stored as a file begin behind that.
std::optional<std::uint32_t> size_of_sectors(const Remains& remains) {
  std::optional<std::uint32_t> found;
  std::uint64_t most = 0;
  for (const std::uint32_t bytes : kBlockSizes) {
    std::vector<TaggedBlock> sectors;
    for (const DescriptorRemnant& d : remains.descriptors()) {
      if (!is_part_4(d) && d.identifier != tag_id::kSparingTable && d.location != 0) {
        sectors.push_back({d.location, d.position, d.crc, TaggedBlock::kNoEntry});
      }
    }
    for (const Frame& f : count_votes(sectors, bytes)) {
      // Where the disc begins one is enough: it stands exactly where it says.
      if (f.start > 0 || (f.start < 0 && f.votes < 2) || f.votes <= most) continue;
      most = f.votes;
      found = bytes;
    }
  }
  return found;
}

/// Most names lead into a partition that lies on another, and that is no metadata partition.
bool looks_virtual(const Remains& remains) {
  std::size_t layered = 0, all = 0;
  for (const IdentifierRemnant& f : remains.identifiers()) {
    if (f.icb_bytes == 0) continue;
    ++all;
    layered += f.icb.partition != 0;
  }
  return layered > all / 2 && std::ranges::none_of(remains.entries(), [](const EntryRemnant& e) {
           return e.file_type == file_type::kMetadata || e.file_type == file_type::kMetadataMirror ||
                  e.file_type == file_type::kMetadataBitmap;
         });
}

}  // namespace

std::uint32_t vote_block_bytes(ByteReader& reader, const Remains& remains) {
  if (const auto bytes = size_of_sectors(remains)) return *bytes;
  const SizeVotes lengths = votes_of_lengths(reader, remains), places = votes_of_places(remains);
  // Virtual blocks that stand at every second block agree on twice the size. Discs with virtual partitions can be
  // written once, and have sectors of 2048 bytes (UDF 2.2.10, 6.10).
  if (looks_virtual(remains) && !lengths.refuse(0) && !places.refuse(0)) return kBlockSizes.front();
  std::uint32_t best = kBlockSizes.front();
  std::uint64_t most = 0;
  for (std::size_t k = 0; k < kBlockSizes.size(); ++k) {
    if (lengths.refuse(k) || places.refuse(k)) continue;
    const std::uint32_t bytes = kBlockSizes[k];
    std::uint64_t sum = 1;  // of squares: a few large frames count for more than many small ones
    for (const bool physical : {false, true}) {
      for (const Frame& f : count_votes(gather(remains, bytes, physical), bytes)) {
        if (f.votes > 1) sum += f.votes * f.votes;
      }
    }
    if (sum > most) {
      most = sum;
      best = bytes;
    }
  }
  return best;
}

namespace {

/// Calls f(entry, first byte on the disc, bytes) for the recorded extents of the entries that stand in `blocks`.
template <class F>
void for_each_extent(ByteReader& reader, const std::vector<TaggedBlock>& blocks, std::uint32_t block_bytes,
                     std::int64_t start, F&& f) {
  for (const TaggedBlock& b : blocks) {
    if (b.unique_id == TaggedBlock::kNoEntry) continue;
    SectorState state;
    const auto e = decode_file_entry(reader.view(b.position, block_bytes, state));
    if (!e || !has_bytes(state)) continue;
    AllocationReader descriptors(e->allocation, e->icb.form());
    while (const auto d = descriptors.next()) {
      if (d->type != ExtentType::kRecorded) continue;
      const std::int64_t first = start + static_cast<std::int64_t>(std::uint64_t{d->block} * block_bytes);
      if (first >= 0) f(*e, static_cast<std::uint64_t>(first), d->length_bytes);
    }
  }
}

}  // namespace

bool reaches_beyond(ByteReader& reader, const std::vector<TaggedBlock>& blocks, std::uint32_t block_bytes,
                    std::int64_t start, std::uint64_t end_byte) {
  bool beyond = false;
  for_each_extent(reader, blocks, block_bytes, start,
                  [&](const FileEntry&, std::uint64_t first, std::uint64_t) { beyond |= first >= end_byte; });
  return beyond;
}

RangeSet contents_of(ByteReader& reader, const std::vector<TaggedBlock>& blocks, std::uint32_t block_bytes,
                     std::int64_t start) {
  std::vector<Range> ranges;
  for_each_extent(reader, blocks, block_bytes, start,
                  [&](const FileEntry& e, std::uint64_t first, std::uint64_t bytes) {
                    if (e.is_directory() || e.information_length < kLeastImageBytes || bytes < block_bytes) return;
                    ranges.push_back({first, first + bytes});
                  });
  return RangeSet::from_unsorted(std::move(ranges));
}

}  // namespace lacuna::udf

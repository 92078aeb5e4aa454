// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/rebuild.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <bit>
#include <map>
#include <numeric>

#include "udf/decode/file_set.h"
#include "udf/decode/icb.h"
#include "udf/decode/partition_map.h"
#include "udf/decode/sparing_table.h"
#include "udf/map_writer.h"
#include "udf/votes.h"

namespace lacuna::udf {
namespace {

constexpr std::size_t kMostFrames = 8;  // looked at as possible volumes
constexpr std::size_t kMostReferences = 64;
constexpr std::uint64_t kMaxSparingTableBytes = 65536 * kSparingEntryBytes + 56;

bool is_block_size(std::uint32_t bytes) {
  return std::has_single_bit(bytes) && bytes >= 512 && bytes <= ByteReader::kViewBytes;
}

class Rebuilder {
 public:
  Rebuilder(ByteReader& reader, const Remains& remains, Findings& findings)
      : reader_(reader), remains_(remains), findings_(findings) {}

  std::optional<FoundVolume> run() {
    block_bytes_ = block_size();
    blocks_ = tagged_blocks(remains_, block_bytes_);
    physical_ = physical_blocks(remains_, block_bytes_);
    if (blocks_.empty()) return {};
    find_stored_images();
    take_descriptors();
    find_sparing();
    reference_ = usual_reference();
    if (v_.descriptors.logical.empty()) make_logical();
    make_partitions();
    v_.descriptors.rebuilt = true;
    v_.source = SessionSource::kScan;
    return std::move(v_);
  }

 private:
  VolumeDescriptors& out() { return v_.descriptors; }

  Bytes keep(Bytes b) {
    out().blocks.emplace_back(b.begin(), b.end());
    return out().blocks.back();
  }
  Bytes sector_at(std::uint64_t position) {
    SectorState state;
    const Bytes b = reader_.view(position, std::max<std::uint32_t>(block_bytes_, 512), state);
    return has_bytes(state) ? b : Bytes{};
  }
  std::int64_t start_of(std::uint64_t position, std::uint32_t number) const {
    return static_cast<std::int64_t>(position) - static_cast<std::int64_t>(std::uint64_t{number} * block_bytes_);
  }

  /// As logical volume descriptors say, else by vote.
  std::uint32_t block_size() {
    block_bytes_ = 512;
    for (const DescriptorRemnant& d : remains_.descriptors()) {
      if (d.identifier != tag_id::kLogicalVolume) continue;
      const auto lvd = decode_logical_volume(sector_at(d.position));
      if (lvd && is_block_size(lvd->block_bytes)) return lvd->block_bytes;
    }
    return vote_block_bytes(reader_, remains_);
  }

  // ---- images stored as files

  /// A frame whose structures all lie within a file of another is that of an image stored as a file.
  void find_stored_images() {
    std::vector<Frame> frames = count_votes(blocks_, block_bytes_);
    if (frames.size() > kMostFrames) frames.resize(kMostFrames);
    if (frames.size() < 2) return;
    std::vector<std::vector<TaggedBlock>> members(frames.size());
    for (const TaggedBlock& b : blocks_) {
      for (std::size_t i = 0; i < frames.size(); ++i) {
        if (start_of(b.position, b.block) == frames[i].start) members[i].push_back(b);
      }
    }
    for (std::size_t i = 0; i < frames.size(); ++i) {
      const RangeSet contents = contents_of(reader_, members[i], block_bytes_, frames[i].start);
      if (contents.empty()) continue;
      for (std::size_t k = 0; k < frames.size(); ++k) {
        const auto inside = [&](const TaggedBlock& b) { return contents.contains(b.position); };
        if (k == i || members[k].size() < 2 || !std::all_of(members[k].begin(), members[k].end(), inside)) continue;
        stored_ = stored_.united(contents);
        tell_stored(members[k].front().position);
      }
    }
    const auto is_stored = [&](const TaggedBlock& b) { return stored_.contains(b.position); };
    if (!std::all_of(blocks_.begin(), blocks_.end(), is_stored)) std::erase_if(blocks_, is_stored);
    std::erase_if(physical_, is_stored);
  }

  void tell_stored(std::uint64_t position) {
    findings_.add({Severity::kNote, "stored-image", "UDF volume", position / kSectorBytes, "",
                   "structures of a UDF volume that lies within a file: an image stored on the disc, not part of it"});
  }

  // ---- what survived of the descriptors

  void take_descriptors() {
    std::map<std::int64_t, std::uint64_t> votes;
    const auto counts = [&](const DescriptorRemnant& d) {
      return !is_part_4(d) && d.identifier != tag_id::kSparingTable && !stored_.contains(d.position);
    };
    for (const DescriptorRemnant& d : remains_.descriptors()) {
      if (counts(d)) ++votes[start_of(d.position, d.location)];
    }
    if (votes.empty()) return;
    const auto most =
        std::max_element(votes.begin(), votes.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
    shift_ = votes.contains(0) ? 0 : most->first;
    out().shift_bytes = *shift_;
    if (*shift_ != 0) {
      findings_.add(
          {Severity::kDoubt, "shifted", "volume descriptors", std::nullopt, "ECMA-167 3/7.2.8",
           fmt::format("{} of them say that they stand {} sectors {} where they do: the image seems to {}",
                       most->second, static_cast<std::uint64_t>(std::abs(*shift_)) / kSectorBytes,
                       *shift_ < 0 ? "behind" : "before",
                       *shift_ < 0 ? "start late; say where it starts (--starts-at)" : "begin with something else")});
    }
    for (const DescriptorRemnant& d : remains_.descriptors()) {
      if (counts(d) && start_of(d.position, d.location) == *shift_) take_descriptor(d);
    }
  }

  template <class T>
  static bool newer(const std::optional<Found<T>>& old, const T& d) {
    return !old || old->descriptor.sequence < d.sequence;
  }

  void take_descriptor(const DescriptorRemnant& d) {
    const Bytes b = sector_at(d.position);
    if (b.empty()) return;
    bool taken = true;
    if (const auto p = decode_primary_volume(b)) {
      if (newer(out().primary, *p)) out().primary = {{*decode_primary_volume(keep(b)), d.position}};
    } else if (const auto i = decode_implementation_use_volume(b); i && i->is_lv_info) {
      if (newer(out().lv_info, *i)) out().lv_info = {{*decode_implementation_use_volume(keep(b)), d.position}};
    } else if (const auto pd = decode_partition(b)) {
      const auto old = out().partitions.find(pd->number);
      if (old == out().partitions.end() || old->second.descriptor.sequence < pd->sequence) {
        out().partitions.insert_or_assign(pd->number, Found<Partition>{*decode_partition(keep(b)), d.position});
      }
    } else if (const auto lv = decode_logical_volume(b); lv && is_block_size(lv->block_bytes)) {
      auto& logical = out().logical;
      if (logical.empty()) {
        logical.push_back({*decode_logical_volume(keep(b)), d.position});
      } else if (logical.front().descriptor.sequence < lv->sequence) {
        logical.front() = {*decode_logical_volume(keep(b)), d.position};
      }
    } else {
      taken = false;
    }
    if (!taken) return;
    ++out().proven;
    out().structures.push_back({StructureKind::kVolumeDescriptor, View::kUdf, d.position, block_bytes_, kNoNode,
                                std::string(tag_name(d.identifier)) + " (found by scanning)"});
  }

  // ---- what has to be made

  bool has_type(std::uint8_t type) const {
    return std::any_of(remains_.entries().begin(), remains_.entries().end(),
                       [&](const EntryRemnant& e) { return e.file_type == type && !stored_.contains(e.position); });
  }
  bool has_metadata_files() const {
    return has_type(file_type::kMetadata) || has_type(file_type::kMetadataMirror) ||
           has_type(file_type::kMetadataBitmap);
  }

  /// The partition that most identifiers name.
  std::uint16_t usual_reference() const {
    std::array<std::uint64_t, kMostReferences> counts{};
    for (const IdentifierRemnant& f : remains_.identifiers()) {
      if (f.icb_bytes != 0 && f.icb.partition < counts.size() && !stored_.contains(f.position)) {
        ++counts[f.icb.partition];
      }
    }
    const auto most = std::max_element(counts.begin(), counts.end());
    if (*most != 0) return static_cast<std::uint16_t>(most - counts.begin());
    return has_metadata_files() || has_type(file_type::kVirtualTable) || has_type(file_type::kUnspecified) ? 1 : 0;
  }

  std::uint16_t highest_reference() const {
    std::uint16_t highest = reference_;
    for (const IdentifierRemnant& f : remains_.identifiers()) {
      if (f.icb_bytes != 0 && f.icb.partition < kMostReferences && !stored_.contains(f.position)) {
        highest = std::max(highest, f.icb.partition);
      }
    }
    return highest;
  }

  std::uint32_t block_of_file(std::uint8_t type) const {
    for (const EntryRemnant& e : remains_.entries()) {
      if (e.file_type == type && !stored_.contains(e.position)) return e.location;
    }
    return PartitionMap::kNoFile;
  }

  /// Sparing tables that survived (UDF 2.2.12).
  void find_sparing() {
    std::uint32_t packet = 0;
    std::vector<SparingEntry> moved;
    for (const DescriptorRemnant& d : remains_.descriptors()) {
      if (d.identifier != tag_id::kSparingTable || stored_.contains(d.position)) continue;
      if (start_of(d.position, d.location) != shift_.value_or(0)) continue;
      std::vector<std::uint8_t> table(static_cast<std::size_t>(std::min<std::uint64_t>(
          kMaxSparingTableBytes, reader_.end_byte() - std::min(reader_.end_byte(), d.position))));
      static_cast<void>(reader_.read(d.position, table));
      const auto t = decode_sparing_table(table);
      if (!t) continue;
      table_sectors_.push_back(d.location);
      table_bytes_ = std::max(table_bytes_, static_cast<std::uint32_t>(t->bytes));
      // Packets are moved to where packets begin, one behind the other (UDF 2.2.12).
      for (std::size_t i = 0; i < t->size(); ++i) {
        const std::uint32_t apart = (*t)[i].mapped_sector - (*t)[0].mapped_sector;
        packet = std::gcd(packet, apart);
        if (!(*t)[i].is_moved()) continue;
        packet = std::gcd(packet, (*t)[i].original);
        moved.push_back((*t)[i]);
      }
    }
    packet_blocks_ = std::min(packet & (~packet + 1), std::uint32_t{32768});  // lengths are powers of two
    std::vector<Range> ranges;
    for (const SparingEntry& e : moved) {
      const std::int64_t at =
          static_cast<std::int64_t>(std::uint64_t{e.mapped_sector} * block_bytes_) + shift_.value_or(0);
      if (at < 0) continue;
      const auto first = static_cast<std::uint64_t>(at);
      ranges.push_back({first, first + std::uint64_t{packet_blocks_} * block_bytes_});
    }
    spared_ = RangeSet::from_unsorted(std::move(ranges));
  }

  void put_sparable(MapWriter& maps) const {
    if (table_sectors_.empty() || packet_blocks_ == 0) return maps.physical(0);
    maps.sparable(static_cast<std::uint16_t>(packet_blocks_), table_bytes_, table_sectors_);
  }

  /// 3/10.6: a logical volume as its structures show it.
  void make_logical() {
    MapWriter maps;
    put_sparable(maps);
    const std::uint16_t highest = highest_reference();
    if (reference_ == 0) {
      for (std::uint16_t r = 1; r <= highest; ++r) maps.physical(r);
    } else {
      for (std::uint16_t r = 1; r < reference_; ++r) maps.physical(r);
      if (has_metadata_files()) {
        maps.metadata(block_of_file(file_type::kMetadata), block_of_file(file_type::kMetadataMirror),
                      block_of_file(file_type::kMetadataBitmap));
      } else {
        maps.virtual_map();
      }
    }
    LogicalVolume lv;
    lv.block_bytes = block_bytes_;
    lv.map_count = maps.count();
    lv.maps = keep(maps.bytes());
    for (const DescriptorRemnant& d : remains_.descriptors()) {
      if (d.identifier != tag_id::kFileSet || stored_.contains(d.position)) continue;
      if (decode_file_set(sector_at(d.position))) {
        lv.volume_id = decode_file_set(keep(sector_at(d.position)))->logical_volume_id;
      }
    }
    out().logical.push_back({lv, 0});
    findings_.add({Severity::kLoss, "volume-rebuilt", "logical volume descriptor", std::nullopt, "ECMA-167 3/10.6",
                   fmt::format("it is lost in every copy; its {} partition maps and blocks of {} bytes are as the "
                               "structures show that were found by scanning",
                               maps.count(), block_bytes_)});
  }

  void make_partitions() {
    out().sector_bytes = block_bytes_;
    const LogicalVolume& lv = out().logical.front().descriptor;
    PartitionMapReader maps(lv.maps, lv.map_count);
    std::vector<PartitionMap> all;
    bool layered = false;
    while (const auto m = maps.next()) {
      layered |= m->kind == PartitionMapKind::kVirtual || m->kind == PartitionMapKind::kMetadata;
      all.push_back(*m);
    }
    for (const PartitionMap& m : all) {
      if (m.kind != PartitionMapKind::kPhysical && m.kind != PartitionMapKind::kSparable) continue;
      if (out().partitions.contains(m.partition_number)) continue;
      if (const auto start = m.reference == 0 ? first_start(layered) : start_by_names(m.reference)) {
        make_partition(m.partition_number, *start);
      }
    }
  }

  std::optional<Frame> first_start(bool layered) {
    std::vector<TaggedBlock> voters = layered ? physical_ : blocks_;
    // What was moved to the sparing area says where it was before.
    std::erase_if(voters, [&](const TaggedBlock& b) { return spared_.contains(b.position); });
    const std::vector<Frame> frames = count_votes(voters, block_bytes_);
    if (frames.empty()) return {};
    first_start_ = frames.front().start;
    if (frames.front().votes < 2) {
      out().doubt = "where its partition starts rests on a single structure";
    } else if (frames.size() > 1 && frames[1].votes > 1) {
      out().doubt = "where its partition starts was voted, and some structures disagree";
    } else if (!layered) {
      std::erase_if(voters, [&](const TaggedBlock& b) { return start_of(b.position, b.block) != first_start_; });
      if (reaches_beyond(reader_, voters, block_bytes_, first_start_, reader_.end_byte())) {
        out().doubt = "where its partition starts was voted, and some files would lie beyond the image";
      }
    }
    return frames.front();
  }

  /// Of a second partition: by the names that lead to entries in it.
  std::optional<Frame> start_by_names(std::uint16_t reference) {
    std::vector<TaggedBlock> sorted = blocks_;
    std::erase_if(sorted, [](const TaggedBlock& b) { return b.unique_id == TaggedBlock::kNoEntry; });
    std::sort(sorted.begin(), sorted.end(), [](const auto& a, const auto& b) { return a.block < b.block; });
    std::vector<TaggedBlock> named;
    for (const IdentifierRemnant& f : remains_.identifiers()) {
      if (f.icb.partition != reference || f.icb_bytes == 0 || f.is_parent()) continue;
      const auto range = std::equal_range(sorted.begin(), sorted.end(), TaggedBlock{f.icb.block, 0, 0, 0},
                                          [](const auto& a, const auto& b) { return a.block < b.block; });
      for (auto it = range.first; it != range.second; ++it) {
        if (f.unique_id == static_cast<std::uint32_t>(it->unique_id) && f.unique_id != 0 &&
            start_of(it->position, it->block) != first_start_) {
          named.push_back(*it);
        }
      }
    }
    const std::vector<Frame> frames = count_votes(named, block_bytes_);
    return frames.empty() ? std::nullopt : std::optional(frames.front());
  }

  void make_partition(std::uint16_t number, const Frame& frame) {
    const auto block = static_cast<std::int64_t>(block_bytes_);
    if (out().partitions.empty() && !shift_) {
      // Nothing else counts sectors of the volume: the shift is what makes the start a sector.
      out().shift_bytes = frame.start >= 0 ? frame.start % block : frame.start;
    }
    const std::int64_t from = frame.start - out().shift_bytes;
    if (from < 0 || from % block != 0 || from / block > std::int64_t{0xffffffff}) return;
    Partition p;
    p.number = number;
    p.start_sector = static_cast<std::uint32_t>(from / block);
    const std::int64_t end = static_cast<std::int64_t>(reader_.end_byte()) - frame.start;
    p.length_sectors = static_cast<std::uint32_t>(std::clamp<std::int64_t>(end / block, 0, 0xffffffff));
    out().partitions.insert_or_assign(number, Found<Partition>{p, 0});
    if (frame.votes < 2) out().doubt = "where its partition starts rests on a single structure";
    findings_.add(
        {frame.votes < 2 ? Severity::kDoubt : Severity::kLoss, "partition-rebuilt", fmt::format("partition {}", number),
         frame.start < 0 ? std::nullopt : std::optional(static_cast<std::uint64_t>(frame.start) / kSectorBytes),
         "ECMA-167 3/10.5",
         fmt::format("its descriptor is lost; {} structures agree that its block 0 is {}", frame.votes,
                     frame.start < 0 ? fmt::format("{} sectors before the image's first",
                                                   static_cast<std::uint64_t>(-frame.start) / kSectorBytes)
                                     : "there")});
  }

  ByteReader& reader_;
  const Remains& remains_;
  Findings& findings_;
  FoundVolume v_;
  std::uint32_t block_bytes_ = kSectorBytes;
  std::vector<TaggedBlock> blocks_, physical_;
  RangeSet stored_;  // files that hold images
  RangeSet spared_;  // where packets were moved to
  std::vector<std::uint32_t> table_sectors_;
  std::uint32_t table_bytes_ = 0, packet_blocks_ = 0;
  std::optional<std::int64_t> shift_;  // of what counts sectors of the volume
  std::uint16_t reference_ = 0;
  std::int64_t first_start_ = 0;
};

}  // namespace

std::optional<FoundVolume> rebuild_volume(ByteReader& reader, const Remains& remains, Findings& findings) {
  return Rebuilder(reader, remains, findings).run();
}

}  // namespace lacuna::udf

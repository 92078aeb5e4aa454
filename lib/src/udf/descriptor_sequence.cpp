// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/descriptor_sequence.h"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <set>

#include "udf/decode/cs0.h"

namespace lacuna::udf {
namespace {

constexpr std::uint64_t kMaxSequenceSectors = 4096;  // UDF demands 16; pressed discs have some hundreds at most
constexpr std::size_t kMaxPointers = 64;
constexpr std::uint32_t kLeastBlockBytes = 512, kMostBlockBytes = ByteReader::kViewBytes;

class Merger {
 public:
  Merger(ByteReader& reader, std::uint32_t sector_bytes, Findings& findings)
      : reader_(reader), findings_(findings), block_(sector_bytes) {
    out_.sector_bytes = sector_bytes;
  }

  VolumeDescriptors take() { return std::move(out_); }

  void read(const SequenceExtent& sequence) {
    std::vector<SequenceExtent> queue{sequence};
    for (std::size_t i = 0; i < queue.size() && i < kMaxPointers; ++i) {
      if (auto next = read_extent(queue[i])) queue.push_back(std::move(*next));
    }
  }

  /// One sector; gives false at a terminating descriptor.
  bool look(std::uint64_t position, const std::string& label, bool loose, std::optional<VolumePointer>& pointer) {
    const std::uint32_t sector_bytes = out_.sector_bytes;
    const auto sector = static_cast<std::uint32_t>(position / sector_bytes);
    const SectorState state = reader_.read(position, block_);
    if (!has_bytes(state)) {
      lost_.add({sector, sector + 1});
      return true;
    }
    const TagCheck tag = check_tag(block_, sector);
    if ((tag.problems & tag_problem::kBlank) != 0) return true;
    if (loose && !tag.proven()) return true;
    switch (tag.tag.identifier) {
      case tag_id::kPrimaryVolume:
        return take_primary(position, sector, label), true;
      case tag_id::kImplementationUse:
        return take_lv_info(position, sector, label), true;
      case tag_id::kPartition:
        return take_partition(position, sector, label), true;
      case tag_id::kLogicalVolume:
        return take_logical(position, sector, label), true;
      case tag_id::kUnallocatedSpace:
        return note_structure(position, label, "unallocated space descriptor"), true;
      case tag_id::kVolumePointer:
        if (const auto d = decode_volume_pointer(block_); d && proven(position, sector, label, d->bytes)) {
          note_structure(position, label, "volume descriptor pointer");
          pointer = *d;
        }
        return true;
      case tag_id::kTerminating:
        if (!tag.consistent()) return true;
        note_structure(position, label, "terminating descriptor");
        return loose;
      default:
        if (!loose) fail(position, label, describe(check_tag(block_, sector)));
        return true;
    }
  }

 private:
  std::optional<SequenceExtent> read_extent(const SequenceExtent& extent) {
    if (!seen_.insert(extent.position).second) return {};
    const std::uint32_t sector_bytes = out_.sector_bytes;
    const std::uint64_t sectors = std::min(extent.bytes / sector_bytes, kMaxSequenceSectors);
    std::optional<VolumePointer> pointer;
    lost_ = RangeSet{};
    for (std::uint64_t i = 0; i < sectors && !pointer; ++i) {
      if (!look(extent.position + i * sector_bytes, extent.label, false, pointer)) break;
    }
    tell_lost(extent.label);
    if (!pointer) return {};
    return SequenceExtent{std::uint64_t{pointer->next.sector} * sector_bytes, pointer->next.length_bytes, extent.label};
  }

  void tell_lost(const std::string& label) {
    if (lost_.empty()) return;
    findings_.add(
        {Severity::kDoubt, "volume-descriptors-unread", label + " volume descriptor sequence",
         lost_.ranges().front().first * out_.sector_bytes / kSectorBytes, "ECMA-167 3/8.4",
         fmt::format("{} of its sectors can't be read; the other sequence is used where it has them", lost_.total())});
  }

  void fail(std::uint64_t position, const std::string& label, const std::string& why) {
    findings_.add({Severity::kDoubt, "volume-descriptor", label + " volume descriptor sequence",
                   position / kSectorBytes, "ECMA-167 3/8.4",
                   fmt::format("the descriptor at sector {} does not count: {}; its twin is used where there is one",
                               position / out_.sector_bytes, why)});
  }

  bool proven(std::uint64_t position, std::uint32_t sector, const std::string& label, std::uint64_t bytes) {
    const TagCheck check = check_tag(block_, sector, bytes);
    if (check.consistent()) {
      ++out_.proven;
      if (!check.proven() && !reader_.image().has_map()) note_weak(position, check);
      return true;
    }
    fail(position, label, fmt::format("{}: {}", tag_name(check.tag.identifier), describe(check)));
    return false;
  }

  void note_weak(std::uint64_t position, const TagCheck& check) {
    if (out_.weak) return;
    out_.weak = true;
    findings_.add(
        {Severity::kDoubt, "descriptor-crc", std::string(tag_name(check.tag.identifier)), position / kSectorBytes,
         "ECMA-167 3/7.2.7",
         "its writer did not cover volume descriptors by their CRC; without a map every file is doubtful for it"});
  }

  void note_structure(std::uint64_t position, const std::string& label, std::string_view name) {
    out_.structures.push_back({StructureKind::kVolumeDescriptor, View::kUdf, position, out_.sector_bytes, kNoNode,
                               fmt::format("{} ({} sequence)", name, label)});
  }

  /// Keeps the bytes, so that what is decoded from the copy may have views into it.
  Bytes keep() {
    out_.blocks.push_back(block_);
    return out_.blocks.back();
  }

  template <class T>
  static bool wins(const std::optional<Found<T>>& old, const T& d) {
    return !old || old->descriptor.sequence < d.sequence;
  }

  void take_primary(std::uint64_t position, std::uint32_t sector, const std::string& label) {
    const auto d = decode_primary_volume(block_);
    if (!d || !proven(position, sector, label, d->bytes)) return;
    note_structure(position, label, "primary volume descriptor");
    if (wins(out_.primary, *d)) out_.primary = {{*decode_primary_volume(keep()), position}};
  }

  void take_lv_info(std::uint64_t position, std::uint32_t sector, const std::string& label) {
    const auto d = decode_implementation_use_volume(block_);
    if (!d || !proven(position, sector, label, d->bytes)) return;
    note_structure(position, label, "implementation use volume descriptor");
    if (d->is_lv_info && wins(out_.lv_info, *d)) {
      out_.lv_info = {{*decode_implementation_use_volume(keep()), position}};
    }
  }

  void take_partition(std::uint64_t position, std::uint32_t sector, const std::string& label) {
    const auto d = decode_partition(block_);
    if (!d || !proven(position, sector, label, d->bytes)) return;
    note_structure(position, label, "partition descriptor");
    const auto old = out_.partitions.find(d->number);
    if (old != out_.partitions.end() && old->second.descriptor.sequence >= d->sequence) {
      const Partition& p = old->second.descriptor;
      if (p.sequence == d->sequence && (p.start_sector != d->start_sector || p.length_sectors != d->length_sectors)) {
        fail(position, label, "a second partition descriptor of the same number says another place");
      }
      return;
    }
    out_.partitions.insert_or_assign(d->number, Found<Partition>{*decode_partition(keep()), position});
  }

  void take_logical(std::uint64_t position, std::uint32_t sector, const std::string& label) {
    const auto d = decode_logical_volume(block_);
    if (!d || !proven(position, sector, label, d->bytes)) return;
    note_structure(position, label, "logical volume descriptor");
    if (!std::has_single_bit(d->block_bytes) || d->block_bytes < kLeastBlockBytes || d->block_bytes > kMostBlockBytes) {
      return fail(position, label, fmt::format("its logical blocks are of {} bytes", d->block_bytes));
    }
    const auto same = std::find_if(out_.logical.begin(), out_.logical.end(), [&](const Found<LogicalVolume>& f) {
      return std::ranges::equal(f.descriptor.volume_id, d->volume_id);
    });
    if (same == out_.logical.end()) {
      // A disc of many logical volumes is nobody's; each costs a block.
      if (out_.logical.size() < kMaxPointers) out_.logical.push_back({*decode_logical_volume(keep()), position});
    } else if (same->descriptor.sequence < d->sequence) {
      *same = {*decode_logical_volume(keep()), position};
    }
  }

  ByteReader& reader_;
  Findings& findings_;
  VolumeDescriptors out_;
  std::vector<std::uint8_t> block_;
  std::set<std::uint64_t> seen_;
  RangeSet lost_;  // sectors of the extent at hand
};

}  // namespace

VolumeDescriptors read_sequences(ByteReader& reader, std::uint32_t sector_bytes,
                                 const std::vector<SequenceExtent>& sequences, Findings& findings) {
  Merger merger(reader, sector_bytes, findings);
  for (const SequenceExtent& s : sequences) merger.read(s);
  return merger.take();
}

VolumeDescriptors gather_descriptors(ByteReader& reader, std::uint32_t sector_bytes, std::uint64_t first,
                                     std::uint64_t end, Findings& findings) {
  Merger merger(reader, sector_bytes, findings);
  std::optional<VolumePointer> pointer;
  for (std::uint64_t at = first / sector_bytes * sector_bytes; at < end; at += sector_bytes) {
    merger.look(at, "loose", true, pointer);
  }
  return merger.take();
}

}  // namespace lacuna::udf

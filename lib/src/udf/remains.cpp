// SPDX-License-Identifier: GPL-3.0-or-later
// Two passes over each 512 bytes: one look at what stands at their start, where descriptors begin; and one over their
// words for the tags of file identifiers, written so that it becomes a few vector instructions.
#include "udf/remains.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstring>

#include "lacuna/states.h"
#include "udf/decode/allocation.h"
#include "udf/decode/file_entry.h"
#include "udf/decode/file_identifier.h"
#include "udf/decode/file_set.h"
#include "udf/decode/icb.h"
#include "udf/decode/space.h"
#include "udf/decode/sparing_table.h"
#include "udf/decode/volume.h"

namespace lacuna::udf {
namespace {

constexpr std::size_t kStep = 512;  // the smallest logical sector: descriptors start at its multiples
constexpr std::size_t kMaxBlockBytes = 4096;
constexpr std::size_t kMaxSparingTagBytes = std::size_t{1} << 20;

using Word = std::array<std::uint8_t, 4>;
constexpr auto kFidTag = std::bit_cast<std::uint32_t>(Word{0x01, 0x01, 2, 0});  // identifier 101, version 2 or 3
constexpr auto kFidMask = std::bit_cast<std::uint32_t>(Word{0xff, 0xff, 0xfe, 0xff});

std::uint32_t word_at(const std::uint8_t* p) {
  std::uint32_t word;
  std::memcpy(&word, p, sizeof word);
  return word;
}

bool may_hold_fids(const std::uint8_t* p) {
  std::uint32_t hits = 0;
  for (std::size_t i = 0; i < kStep; i += 4) hits += (word_at(p + i) & kFidMask) == kFidTag ? 1 : 0;
  return hits != 0;
}

bool is_known(std::uint16_t identifier) {
  return identifier <= tag_id::kIntegrity ||
         (identifier >= tag_id::kFileSet && identifier <= tag_id::kExtendedFileEntry);
}

/// What the fields of a descriptor take, for check_tag; 0: it is none of those looked for.
template <class T>
std::uint64_t bytes_of(const std::optional<T>& d) {
  return d ? d->bytes : 0;
}

std::uint64_t needed_bytes(Bytes b, std::uint16_t identifier) {
  switch (identifier) {
    case tag_id::kSparingTable: {
      const auto table = decode_sparing_table(b);
      return table && !table->cut ? table->bytes : 0;
    }
    case tag_id::kPrimaryVolume:
      return bytes_of(decode_primary_volume(b));
    case tag_id::kAnchor:
      return bytes_of(decode_anchor(b));
    case tag_id::kVolumePointer:
      return bytes_of(decode_volume_pointer(b));
    case tag_id::kImplementationUse:
      return bytes_of(decode_implementation_use_volume(b));
    case tag_id::kPartition:
      return bytes_of(decode_partition(b));
    case tag_id::kLogicalVolume:
      return bytes_of(decode_logical_volume(b));
    case tag_id::kIntegrity:
      return bytes_of(decode_integrity(b));
    case tag_id::kFileSet:
      return bytes_of(decode_file_set(b));
    case tag_id::kIndirectEntry:
      return bytes_of(decode_indirect_entry(b));
    case tag_id::kUnallocatedSpaceEntry:
      return bytes_of(decode_unallocated_space_entry(b));
    // UDF 2.3.7, 2.3.11: the CRC may cover the head only.
    case tag_id::kAllocationExtent:
      return decode_allocation_extent(b) ? kAllocationExtentFixedBytes : 0;
    case tag_id::kSpaceBitmap:
      return decode_space_bitmap(b) ? kBitmapFixedBytes : 0;
    default:
      return 0;  // terminating descriptors and the like lead nowhere
  }
}

template <class T>
void sort_unique(std::vector<T>& list) {
  const auto before = [](const T& a, const T& b) { return a.position < b.position; };
  if (!std::is_sorted(list.begin(), list.end(), before)) std::stable_sort(list.begin(), list.end(), before);
  list.erase(std::unique(list.begin(), list.end(), [](const T& a, const T& b) { return a.position == b.position; }),
             list.end());
}

template <class T>
void keep(std::vector<T>& list, const T& item, std::uint64_t& dropped) {
  if (list.size() < Remains::kMostOfAKind) {
    list.push_back(item);
  } else {
    ++dropped;
  }
}

template <class T>
void append(std::vector<T>& to, std::vector<T>& from, std::uint64_t& dropped) {
  if (to.empty()) {
    to = std::move(from);
    return;
  }
  for (const T& item : from) keep(to, item, dropped);
}

}  // namespace

bool IdentifierRemnant::is_parent() const noexcept { return (characteristics & fid_flag::kParent) != 0; }
bool IdentifierRemnant::is_deleted() const noexcept { return (characteristics & fid_flag::kDeleted) != 0; }
bool IdentifierRemnant::is_directory() const noexcept { return (characteristics & fid_flag::kDirectory) != 0; }

void Remains::look_at(Bytes bytes, std::size_t own_bytes, std::uint64_t position) {
  const std::size_t own = std::min(own_bytes, bytes.size()) / kStep * kStep;
  for (std::size_t at = 0; at < own; at += kStep) {
    const std::uint16_t identifier = le16(bytes, at);
    // Zeros would pass the checksum as a sparing table.
    if (is_known(identifier) && bytes[at + 5] == 0 && (identifier != 0 || bytes[at + 2] != 0)) {
      const Bytes rest = bytes.subspan(at);
      if (tag_checksum(rest) == rest[4]) take_descriptor(rest, identifier, position + at);
    }
    if (!may_hold_fids(bytes.data() + at)) continue;
    for (std::size_t i = at; i < at + kStep; i += 4) {
      if ((word_at(bytes.data() + i) & kFidMask) == kFidTag) take_identifier(bytes.subspan(i), position + i);
    }
  }
}

void Remains::take_descriptor(Bytes rest, std::uint16_t identifier, std::uint64_t position) {
  if (identifier == tag_id::kFileEntry || identifier == tag_id::kExtendedFileEntry) return take_entry(rest, position);
  const Bytes b =
      rest.first(std::min(rest.size(), identifier == tag_id::kSparingTable ? kMaxSparingTagBytes : kMaxBlockBytes));
  const std::uint64_t needed = needed_bytes(b, identifier);
  if (needed == 0) return;
  const TagCheck check = check_tag(b, {}, needed);
  if (!check.proven_elsewhere()) return;
  keep(descriptors_, {position, check.tag.location, identifier, check.tag.crc}, dropped_);
}

void Remains::take_entry(Bytes rest, std::uint64_t position) {
  const Bytes b = rest.first(std::min(rest.size(), kMaxBlockBytes));
  const auto e = decode_file_entry(b);
  if (!e || (e->problems & (entry_problem::kAttributesBeyond | entry_problem::kAllocationBeyond)) != 0) return;
  const TagCheck check = check_tag(b, {}, e->bytes);
  if (!check.proven_elsewhere()) return;
  keep(entries_,
       {position, e->unique_id, check.tag.location, check.tag.crc, e->link_count, e->icb.strategy, e->icb.file_type,
        e->is_directory(), e->icb.prior_direct_entries == 0},
       dropped_);
}

void Remains::take_identifier(Bytes rest, std::uint64_t position) {
  if (rest.size() < kFidFixedBytes || tag_checksum(rest) != rest[4]) return;
  const auto fid = decode_fid(rest.first(std::min(rest.size(), kMaxFidBytes)));
  if (!fid) return;
  const TagCheck check = check_tag(fid->raw, {}, fid->bytes);
  if (!check.proven_elsewhere()) return;
  keep(identifiers_,
       {position, check.tag.location, fid->icb.unique_id, fid->icb.location, fid->icb.length_bytes,
        static_cast<std::uint16_t>(fid->length()), fid->characteristics},
       dropped_);
}

RangeSet Remains::sectors() const {
  std::vector<Range> all;
  const auto take = [&all](const auto& list) {
    for (const auto& found : list) all.push_back({found.position / kSectorBytes, found.position / kSectorBytes + 1});
  };
  take(descriptors_);
  take(entries_);
  take(identifiers_);
  return RangeSet::from_unsorted(std::move(all));
}

void Remains::add(Remains&& other) {
  dropped_ += other.dropped_;
  append(descriptors_, other.descriptors_, dropped_);
  append(entries_, other.entries_, dropped_);
  append(identifiers_, other.identifiers_, dropped_);
}

void Remains::finish() {
  sort_unique(descriptors_);
  sort_unique(entries_);
  sort_unique(identifiers_);
}

}  // namespace lacuna::udf

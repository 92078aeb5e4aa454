// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/file_entry.h"

#include <limits>

#include "udf/decode/read_tag.h"

namespace lacuna::udf {
namespace {

/// Fields of 4/14.9 behind the information length.
void decode_fields(Bytes b, FileEntry& e) {
  e.object_size = e.information_length;
  e.blocks_recorded = le64(b, 64);
  e.accessed = time_at(b, 72, entry_problem::kTime, e.problems);
  e.modified = time_at(b, 84, entry_problem::kTime, e.problems);
  e.attributes_changed = time_at(b, 96, entry_problem::kTime, e.problems);
  e.checkpoint = le32(b, 108);
  e.attributes_icb = long_ad_at(b, 112);
  e.implementation = regid_at(b, 128);
  e.unique_id = le64(b, 160);
}

/// The same of 4/14.17.
void decode_extended_fields(Bytes b, FileEntry& e) {
  e.object_size = le64(b, 64);
  e.blocks_recorded = le64(b, 72);
  e.accessed = time_at(b, 80, entry_problem::kTime, e.problems);
  e.modified = time_at(b, 92, entry_problem::kTime, e.problems);
  e.created = time_at(b, 104, entry_problem::kTime, e.problems);
  e.attributes_changed = time_at(b, 116, entry_problem::kTime, e.problems);
  e.checkpoint = le32(b, 128);
  e.attributes_icb = long_ad_at(b, 136);
  e.streams_icb = long_ad_at(b, 152);
  e.implementation = regid_at(b, 168);
  e.unique_id = le64(b, 200);
  if (e.object_size < e.information_length) e.problems |= entry_problem::kObjectSize;
}

}  // namespace

// ECMA-167 4/14.9, 4/14.17
std::optional<FileEntry> decode_file_entry(Bytes block) noexcept {
  const Bytes b = block;
  auto tag = read_tag(b, tag_id::kFileEntry, kFileEntryFixedBytes);
  const bool is_extended = !tag;
  if (!tag) tag = read_tag(b, tag_id::kExtendedFileEntry, kExtendedFileEntryFixedBytes);
  if (!tag) return {};

  std::optional<FileEntry> result(std::in_place);
  FileEntry& e = *result;
  e.tag = *tag;
  e.is_extended = is_extended;
  e.icb = decode_icb_tag(b.subspan(kTagBytes));
  e.uid = le32(b, 36);
  e.gid = le32(b, 40);
  e.permissions = le32(b, 44);
  e.link_count = le16(b, 48);
  e.information_length = le64(b, 56);
  if (is_extended) {
    decode_extended_fields(b, e);
  } else {
    decode_fields(b, e);
  }

  const std::size_t fixed = is_extended ? kExtendedFileEntryFixedBytes : kFileEntryFixedBytes;
  const std::uint64_t attributes_bytes = le32(b, fixed - 8), allocation_bytes = le32(b, fixed - 4);
  e.bytes = fixed + attributes_bytes + allocation_bytes;
  e.extended_attributes = cut_view(b, fixed, attributes_bytes);
  if (e.extended_attributes.size() < attributes_bytes) {
    e.problems |= entry_problem::kAttributesBeyond;
    e.allocation_offset = b.size();
  } else {
    e.allocation_offset = fixed + e.extended_attributes.size();
    e.allocation = cut_view(b, e.allocation_offset, allocation_bytes);
    if (e.allocation.size() < allocation_bytes) e.problems |= entry_problem::kAllocationBeyond;
  }
  if (attributes_bytes % 4 != 0) e.problems |= entry_problem::kAttributesLength;
  if (e.icb.form() == AllocationForm::kEmbedded && allocation_bytes != e.information_length)
    e.problems |= entry_problem::kEmbeddedLength;
  if (e.icb.problems != 0) e.problems |= entry_problem::kIcb;
  if (e.information_length > std::uint64_t{std::numeric_limits<std::int64_t>::max()})
    e.problems |= entry_problem::kInformationLength;
  return result;
}

// ECMA-167 4/14.9.5: five bits each for others, group and owner, the lowest three of them execute, write, read
std::uint16_t posix_mode(const FileEntry& entry) noexcept {
  const std::uint32_t p = entry.permissions;
  std::uint32_t mode = (p & 7) | (p >> 5 & 7) << 3 | (p >> 10 & 7) << 6;
  if (entry.icb.has(icb_flag::kSetUid)) mode |= 04000;
  if (entry.icb.has(icb_flag::kSetGid)) mode |= 02000;
  if (entry.icb.has(icb_flag::kSticky)) mode |= 01000;
  return static_cast<std::uint16_t>(mode);
}

}  // namespace lacuna::udf

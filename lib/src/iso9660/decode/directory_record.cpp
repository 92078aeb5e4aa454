// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/directory_record.h"

#include "iso9660/decode/date.h"

namespace lacuna::iso9660 {
namespace {

/// ECMA-119 9.1.1 to 9.1.9; the caller has checked the length. What the fields have against the standard is set.
void decode_fixed(Bytes b, DirectoryRecord& r) {
  r.length = b[0];
  r.ear_length = b[1];
  r.extent = both32(b, 2);
  r.data_length = both32(b, 10);
  if (const auto date = decode_short_date(b.subspan(18))) {
    r.recorded = *date;
    r.date_valid = true;
  }
  r.flags = b[25];
  r.unit_size = b[26];
  r.gap_size = b[27];
  r.sequence = both16(b, 28);

  std::uint32_t found = 0;
  if (!r.extent.agree()) found |= record_problem::kExtentHalves;
  if (!r.data_length.agree()) found |= record_problem::kDataLengthHalves;
  if (!r.sequence.agree()) found |= record_problem::kSequenceHalves;
  if (!r.date_valid) found |= record_problem::kDate;
  if ((r.flags & file_flag::kReserved) != 0) found |= record_problem::kReservedFlags;
  constexpr std::uint8_t kNotForDirectories = file_flag::kAssociated | file_flag::kRecord | file_flag::kMultiExtent;
  if (r.is_directory() && (r.flags & kNotForDirectories) != 0) found |= record_problem::kDirectoryFlags;
  if ((r.unit_size == 0) != (r.gap_size == 0)) found |= record_problem::kInterleave;
  r.problems = found;
}

}  // namespace

std::optional<DirectoryRecord> decode_directory_record(Bytes rest_of_sector) {
  const Bytes b = rest_of_sector;
  if (b.size() < kRecordFixedBytes) return {};
  const std::size_t length = b[0];
  const std::size_t identifier_bytes = b[32];
  if (length < kRecordFixedBytes || length > b.size() || identifier_bytes > length - kRecordFixedBytes) return {};

  std::optional<DirectoryRecord> result(std::in_place);
  DirectoryRecord& r = *result;
  decode_fixed(b, r);
  r.identifier = b.subspan(kRecordFixedBytes, identifier_bytes);
  std::size_t at = kRecordFixedBytes + identifier_bytes;
  if (identifier_bytes % 2 == 0) {  // 9.1.12
    if (at == length || b[at] != 0) r.problems |= record_problem::kPadding;
    if (at < length) ++at;
  }
  r.system_use = b.subspan(at, length - at);
  if (length % 2 != 0) r.problems |= record_problem::kOddLength;
  if (identifier_bytes == 0) r.problems |= record_problem::kEmptyIdentifier;
  if ((r.is_self() || r.is_parent()) && !r.is_directory()) r.problems |= record_problem::kSelfOrParentFile;
  return result;
}

std::optional<DirectoryRecord> decode_root_record(Bytes root_record) {
  if (root_record.size() < kRootRecordBytes) return {};
  DirectoryRecord r;
  decode_fixed(root_record, r);
  r.identifier = root_record.subspan(kRecordFixedBytes, root_record[32] == 0 ? 0 : 1);
  if (r.length != kRootRecordBytes) r.problems |= record_problem::kRootLength;
  if (r.identifier.empty()) r.problems |= record_problem::kEmptyIdentifier;
  if ((r.is_self() || r.is_parent()) && !r.is_directory()) r.problems |= record_problem::kSelfOrParentFile;
  return r;
}

}  // namespace lacuna::iso9660

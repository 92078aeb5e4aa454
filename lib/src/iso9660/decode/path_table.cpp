// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/path_table.h"

namespace lacuna::iso9660 {
namespace {

/// ECMA-119 9.4.1 to 9.4.4.
constexpr std::size_t kFixedRecordBytes = 8;

}  // namespace

std::optional<PathTableRecord> decode_path_table_record(Bytes rest, bool big_endian) noexcept {
  const Bytes b = rest;
  if (b.size() < kFixedRecordBytes || b[0] == 0 || b.size() - kFixedRecordBytes < b[0]) return {};
  PathTableRecord r;
  r.ear_length = b[1];
  r.extent = big_endian ? be32(b, 2) : le32(b, 2);
  r.parent_number = big_endian ? be16(b, 6) : le16(b, 6);
  r.identifier = b.subspan(kFixedRecordBytes, b[0]);
  r.length = kFixedRecordBytes + b[0];
  if (r.parent_number == 0) r.problems |= path_table_problem::kParentZero;
  if (b[0] % 2 != 0 && r.length < b.size()) {  // 9.4.6
    if (b[r.length] != 0) r.problems |= path_table_problem::kPadding;
    ++r.length;
  }
  return r;
}

std::optional<PathTableRecord> PathTableReader::next() noexcept {
  if (stop_ != Stop::kNone) return {};
  const Bytes b = table_.subspan(at_);
  if (b.empty()) {
    stop_ = Stop::kEnd;
    return {};
  }
  auto decoded = decode_path_table_record(b, big_endian_);
  if (!decoded) {
    stop_ = b[0] == 0 ? Stop::kZeroLength : Stop::kOverrun;
    return {};
  }
  PathTableRecord& r = *decoded;
  r.number = ++number_;
  r.offset = at_;

  namespace problem = path_table_problem;
  if (r.is_root()) {
    if (r.identifier.size() != 1 || r.identifier[0] != 0 || r.parent_number != 1) r.problems |= problem::kRoot;
  } else if (r.parent_number >= r.number) {
    r.problems |= problem::kParentNotBefore;
  }
  if (r.parent_number < last_parent_) r.problems |= problem::kParentDecreases;
  last_parent_ = r.parent_number;

  at_ += r.length;
  return decoded;
}

}  // namespace lacuna::iso9660

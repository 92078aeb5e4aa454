// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/path_table.h"

namespace lacuna::iso9660 {
namespace {

/// ECMA-119 9.4.1 to 9.4.4.
constexpr std::size_t kFixedBytes = 8;

}  // namespace

std::optional<PathTableRecord> PathTableReader::next() noexcept {
  if (stop_ != Stop::kNone) return {};
  const Bytes b = table_.subspan(at_);
  if (b.empty()) {
    stop_ = Stop::kEnd;
    return {};
  }
  const std::size_t identifier_bytes = b[0];
  if (identifier_bytes == 0) {
    stop_ = Stop::kZeroLength;
    return {};
  }
  if (b.size() < kFixedBytes || b.size() - kFixedBytes < identifier_bytes) {
    stop_ = Stop::kOverrun;
    return {};
  }

  PathTableRecord r;
  r.ear_length = b[1];
  r.extent = big_endian_ ? be32(b, 2) : le32(b, 2);
  r.parent_number = big_endian_ ? be16(b, 6) : le16(b, 6);
  r.number = ++number_;
  r.offset = at_;
  r.identifier = b.subspan(kFixedBytes, identifier_bytes);

  namespace problem = path_table_problem;
  if (r.is_root()) {
    if (identifier_bytes != 1 || r.identifier[0] != 0 || r.parent_number != 1) r.problems |= problem::kRoot;
  } else if (r.parent_number >= r.number) {
    r.problems |= problem::kParentNotBefore;
  }
  if (r.parent_number == 0) r.problems |= problem::kParentZero;
  if (r.parent_number < last_parent_) r.problems |= problem::kParentDecreases;
  last_parent_ = r.parent_number;

  std::size_t record_bytes = kFixedBytes + identifier_bytes;
  if (identifier_bytes % 2 != 0 && record_bytes < b.size()) {  // 9.4.6
    if (b[record_bytes] != 0) r.problems |= problem::kPadding;
    ++record_bytes;
  }
  at_ += record_bytes;
  return r;
}

}  // namespace lacuna::iso9660

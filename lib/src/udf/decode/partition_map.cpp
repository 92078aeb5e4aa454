// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/partition_map.h"

#include <algorithm>
#include <bit>

namespace lacuna::udf {
namespace {

constexpr std::size_t kType1Bytes = 6;
constexpr std::size_t kType2Bytes = 64;

// UDF 2.2.9
void decode_sparable(Bytes b, PartitionMap& m) {
  m.kind = PartitionMapKind::kSparable;
  m.packet_blocks = le16(b, 40);
  const std::size_t tables = b[42];
  m.sparing_tables = static_cast<std::uint8_t>(std::min(tables, m.sparing_table_sector.size()));
  m.sparing_table_bytes = le32(b, 44);
  for (std::size_t i = 0; i < m.sparing_tables; ++i) m.sparing_table_sector[i] = le32(b, 48 + i * 4);
  if (!std::has_single_bit(m.packet_blocks)) m.problems |= map_problem::kPacketLength;
  if (tables == 0 || tables > m.sparing_table_sector.size()) m.problems |= map_problem::kSparingTables;
}

// UDF 2.2.10
void decode_metadata(Bytes b, PartitionMap& m) {
  m.kind = PartitionMapKind::kMetadata;
  m.metadata_block = le32(b, 40);
  m.mirror_block = le32(b, 44);
  m.bitmap_block = le32(b, 48);
  m.allocation_unit_blocks = le32(b, 52);
  m.alignment_unit_blocks = le16(b, 56);
  m.metadata_flags = b[58];
  if (m.allocation_unit_blocks == 0 || m.alignment_unit_blocks == 0) m.problems |= map_problem::kUnits;
}

// ECMA-167 3/10.7.3, UDF 2.2.8: identifier, volume and partition stand in the same place in all of UDF's
void decode_type_2(Bytes b, PartitionMap& m) {
  if (b.size() < kType2Bytes) return;
  m.identifier = regid_at(b, 4);
  const bool is_virtual = m.identifier.is("*UDF Virtual Partition");
  const bool is_sparable = m.identifier.is("*UDF Sparable Partition");
  const bool is_metadata = m.identifier.is("*UDF Metadata Partition");
  if (!is_virtual && !is_sparable && !is_metadata) return;
  m.volume_number = le16(b, 36);
  m.partition_number = le16(b, 38);
  if (is_virtual) m.kind = PartitionMapKind::kVirtual;
  if (is_sparable) decode_sparable(b, m);
  if (is_metadata) decode_metadata(b, m);
}

}  // namespace

// ECMA-167 3/10.7.1
std::optional<PartitionMap> PartitionMapReader::next() noexcept {
  if (stop_ != Stop::kNone) return {};
  if (done_ == count_) {
    stop_ = Stop::kEnd;
    return {};
  }
  if (rest_.empty()) {
    stop_ = Stop::kTooFew;
    return {};
  }
  const std::size_t length = rest_.size() < 2 ? 0 : rest_[1];
  const bool is_type_1 = rest_[0] == 1;
  if (length < (is_type_1 ? kType1Bytes : 2) || length > rest_.size()) {
    stop_ = Stop::kBadLength;
    return {};
  }

  PartitionMap m;
  m.raw = rest_.first(length);
  m.type = m.raw[0];
  m.reference = static_cast<std::uint16_t>(done_);
  if (is_type_1) {
    m.kind = PartitionMapKind::kPhysical;
    m.volume_number = le16(m.raw, 2);
    m.partition_number = le16(m.raw, 4);
    if (length != kType1Bytes) m.problems |= map_problem::kLength;
  } else if (m.type == 2) {
    decode_type_2(m.raw, m);
    if (length != kType2Bytes) m.problems |= map_problem::kLength;
  }
  rest_ = rest_.subspan(length);
  ++done_;
  return m;
}

}  // namespace lacuna::udf

// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/sparing_table.h"

#include "udf/decode/basic.h"
#include "udf/decode/read_tag.h"

namespace lacuna::udf {

// UDF 2.2.12
std::optional<SparingTable> decode_sparing_table(Bytes b) noexcept {
  constexpr std::size_t kFixedBytes = 56;
  const auto tag = read_tag(b, tag_id::kSparingTable, kFixedBytes);
  if (!tag || !regid_at(b, 16).is("*UDF Sparing Table")) return {};
  SparingTable t;
  t.tag = *tag;
  t.count = le16(b, 48);
  t.sequence = le32(b, 52);
  const std::size_t table_bytes = std::size_t{t.count} * kSparingEntryBytes;
  const Bytes there = cut_view(b, kFixedBytes, table_bytes);
  t.entries = there.first(there.size() / kSparingEntryBytes * kSparingEntryBytes);
  t.cut = there.size() < table_bytes;
  t.bytes = kFixedBytes + table_bytes;
  return t;
}

}  // namespace lacuna::udf

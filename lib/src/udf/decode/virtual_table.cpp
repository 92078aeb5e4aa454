// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/virtual_table.h"

#include "udf/decode/basic.h"
#include "udf/decode/cs0.h"
#include "udf/decode/icb.h"

namespace lacuna::udf {
namespace {

std::optional<std::uint32_t> unless_ones(std::uint32_t value) {
  if (value == 0xffffffff) return {};
  return value;
}

Bytes whole_entries(Bytes b, std::uint32_t& problems) {
  if (b.size() % 4 != 0) problems |= vat_problem::kLength;
  return b.first(b.size() & ~std::size_t{3});
}

// UDF 1.50 2.2.10
std::optional<VirtualTable> decode_150(Bytes content) {
  constexpr std::size_t kTrailerBytes = 36;
  if (content.size() < kTrailerBytes) return {};
  const std::size_t end = content.size() - kTrailerBytes;
  if (!regid_at(content, end).is("*UDF Virtual Alloc Tbl")) return {};
  VirtualTable t;
  t.is_150 = true;
  t.entries = whole_entries(content.first(end), t.problems);
  t.previous = unless_ones(le32(content, end + kRegidBytes));
  return t;
}

// UDF 2.00 2.2.10, UDF 2.60 2.2.11
std::optional<VirtualTable> decode_200(Bytes content) {
  constexpr std::size_t kFixedBytes = 152;
  if (content.size() < kFixedBytes) return {};
  const std::size_t header_bytes = le16(content, 0), use_bytes = le16(content, 2);
  if (header_bytes < kFixedBytes || header_bytes > content.size()) return {};
  VirtualTable t;
  t.volume_id = content.subspan(4, 128);
  t.previous = unless_ones(le32(content, 132));
  t.files = unless_ones(le32(content, 136));
  t.directories = unless_ones(le32(content, 140));
  t.min_read = le16(content, 144);
  t.min_write = le16(content, 146);
  t.max_write = le16(content, 148);
  t.implementation_use = content.subspan(kFixedBytes, header_bytes - kFixedBytes);
  t.entries = whole_entries(content.subspan(header_bytes), t.problems);
  if (header_bytes != kFixedBytes + use_bytes) t.problems |= vat_problem::kHeader;
  if (!is_dstring(t.volume_id)) t.problems |= vat_problem::kText;
  return t;
}

}  // namespace

std::optional<VirtualTable> decode_virtual_table(Bytes content, std::uint8_t icb_file_type) noexcept {
  if (icb_file_type == file_type::kUnspecified) return decode_150(content);
  if (icb_file_type == file_type::kVirtualTable) return decode_200(content);
  return {};
}

}  // namespace lacuna::udf

// SPDX-License-Identifier: GPL-3.0-or-later
// The volume structures (ECMA-167 part 3), the partition maps and what they lead to (UDF 2.2).
#include <stdexcept>

#include "support/udf_builder_descriptors.h"

namespace lacuna::test::udf {

Bytes Style::anchor(const Extent& main, const Extent& reserve, std::uint32_t location) const {
  Draft d(512);
  return d.extent(16, main).extent(24, reserve).sealed(kAnchor, tag_version(), location);
}

Bytes Style::pointer(std::uint32_t number, const Extent& next, std::uint32_t location) const {
  Draft d(512);
  return d.u32(16, number).extent(20, next).sealed(kPointer, tag_version(), location);
}

Bytes Style::primary(std::uint32_t number, const std::string& volume_id, std::uint32_t location) const {
  Draft d(512);
  d.u32(16, number).u32(20, 0).dstring(24, 32, volume_id).u16(56, 1).u16(58, 1).u16(60, 2).u16(62, 2);
  // UDF 2.2.2.5: the set identifier begins with 16 characters that tell sets apart.
  d.u32(64, 1).u32(68, 1).dstring(72, 128, "4c4143554e410001" + volume_id).charspec(200);
  d.charspec(264).regid(344, "*Lacuna tests").time(376, {}).regid(388, o_.implementation_id);
  return d.sealed(kPrimary, tag_version(), location);
}

Bytes Style::implementation(std::uint32_t number, const std::string& volume_id, std::uint32_t location) const {
  Draft d(512);  // UDF 2.2.7
  d.u32(16, number).regid(20, "*UDF LV Info", suffix16(o_.revision)).charspec(52).dstring(116, 128, volume_id);
  d.dstring(244, 36, "").regid(352, o_.implementation_id);
  return d.sealed(kImplementation, tag_version(), location);
}

Bytes Style::partition(std::uint32_t number, std::uint16_t partition_number, const Extent& where_blocks,
                       const Extent& space, std::uint32_t location) const {
  const std::uint32_t access = o_.access_type.value_or(o_.vat ? 2 : o_.sparable ? 3 : 4);
  Draft d(512);
  d.u32(16, number).u16(20, 1).u16(22, partition_number).regid(24, tag_version() == 2 ? "+NSR02" : "+NSR03");
  if (space.bytes != 0) d.extent(56 + (o_.space == UdfOptions::Space::kTable ? 0 : 8), space);  // 4/14.3
  d.u32(184, access).u32(188, where_blocks.block).u32(192, where_blocks.bytes).regid(196, o_.implementation_id);
  return d.sealed(kPartition, tag_version(), location);
}

Bytes Style::logical(std::uint32_t number, const std::string& volume_id, const LongAd& file_set,
                     const Extent& integrity, const std::vector<Bytes>& maps, std::uint32_t location) const {
  Bytes table;
  for (const Bytes& m : maps) table.insert(table.end(), m.begin(), m.end());
  Draft d(440);
  d.u32(16, number).charspec(20).dstring(84, 128, volume_id).u32(212, o_.block_bytes);
  d.regid(216, "*OSTA UDF Compliant", suffix16(o_.revision)).long_ad(248, file_set).u32(264, table.size());
  d.u32(268, maps.size()).regid(272, o_.implementation_id).extent(432, integrity).raw(440, table);
  if (d.size() > o_.block_bytes) throw std::invalid_argument("the partition maps outgrow their block");
  return d.sealed(kLogical, tag_version(), location);
}

Bytes Style::unallocated(std::uint32_t number, std::uint32_t location) const {
  Draft d(24);
  return d.u32(16, number).u32(20, 0).sealed(kUnallocated, tag_version(), location);
}

Bytes Style::terminating(std::uint32_t location) const {
  return Draft(512).sealed(kTerminating, tag_version(), location);
}

Bytes Style::integrity(bool closed, const Counts& counts, std::uint32_t location) const {
  const std::size_t n = counts.free.size();
  Draft d(80 + 8 * n + 46);
  d.time(16, {}).u32(28, closed ? 1 : 0).u64(40, counts.next_unique_id).u32(72, n).u32(76, 46);
  for (std::size_t i = 0; i < n; ++i) d.u32(80 + 4 * i, counts.free[i]).u32(80 + 4 * (n + i), counts.size[i]);
  const std::size_t use = 80 + 8 * n;
  d.regid(use, o_.implementation_id).u32(use + 32, counts.files).u32(use + 36, counts.directories);
  for (std::size_t i = 0; i < 3; ++i) d.u16(use + 40 + 2 * i, o_.revision);
  return d.sealed(kIntegrity, tag_version(), location);
}

Bytes Style::map_type1(std::uint16_t partition_number) const {
  return Draft().u8(0, 1).u8(1, 6).u16(2, 1).u16(4, partition_number).bytes();
}

Draft Style::type2(std::string_view id) const {
  Draft d(64);
  return d.u8(0, 2).u8(1, 64).regid(4, id, suffix16(o_.revision)).u16(36, 1).u16(38, 0);
}

Bytes Style::map_virtual() const { return type2("*UDF Virtual Partition").bytes(); }

Bytes Style::map_sparable(std::uint32_t table_bytes, const std::vector<std::uint32_t>& tables) const {
  Draft d = type2("*UDF Sparable Partition");
  d.u16(40, 32).u8(42, tables.size()).u32(44, table_bytes);
  for (std::size_t i = 0; i < tables.size(); ++i) d.u32(48 + 4 * i, tables[i]);
  return d.bytes();
}

Bytes Style::map_metadata(std::uint32_t main, std::uint32_t mirror, std::uint32_t bitmap) const {
  Draft d = type2("*UDF Metadata Partition");
  d.u32(40, main).u32(44, mirror).u32(48, bitmap).u32(52, o_.metadata_unit_blocks).u16(56, 1);
  return d.u8(58, o_.metadata_duplicate ? 1 : 0).bytes();
}

Bytes Style::vat(const std::vector<std::uint32_t>& entries, std::uint32_t previous, const Counts& counts) const {
  Draft d;
  std::size_t at = 0;
  if (o_.revision >= 0x0200) {  // UDF 2.00 and later, 2.2.11
    at = 152;
    d.u16(0, at).u16(2, 0).dstring(4, 128, o_.volume_id).u32(132, previous).u32(136, counts.files);
    d.u32(140, counts.directories).u16(144, o_.revision).u16(146, o_.revision).u16(148, o_.revision).u16(150, 0);
  }
  for (const std::uint32_t e : entries) d.u32(at, e), at += 4;
  if (o_.revision < 0x0200)
    d.regid(at, "*UDF Virtual Alloc Tbl", suffix16(o_.revision)).u32(at + 32, previous);  // 1.50
  return d.bytes();
}

Bytes Style::sparing_table(std::uint32_t sequence, const std::vector<Sparing>& entries, std::uint32_t location) const {
  Draft d(56);
  d.regid(16, "*UDF Sparing Table", suffix16(o_.revision)).u16(48, entries.size()).u32(52, sequence);
  std::size_t at = 56;
  for (const Sparing& s : entries) d.u32(at, s.original).u32(at + 4, s.mapped), at += 8;
  return d.sealed(static_cast<Tag>(0), tag_version(), location);
}

}  // namespace lacuna::test::udf

// SPDX-License-Identifier: GPL-3.0-or-later
#include "fuzz/udf_seeds.h"

#include "udf/decode/samples.h"

namespace lacuna::test {
namespace {

using Seeds = std::vector<Sample>;

Seeds volume_seeds() {
  const Sample volume = sample_logical_volume();
  return {sample_anchor(),
          sample_primary_volume(),
          sample_volume_pointer(),
          sample_lv_info(),
          sample_partition(),
          volume,
          Sample(volume.begin() + 440, volume.begin() + 638),
          sample_unallocated_space(),
          sample_terminating(),
          sample_integrity(),
          sample_file_set(),
          sample_space_bitmap()};
}

Seeds entry_seeds() {
  const Sample entry = sample_file_entry(), extent = sample_allocation_extent();
  return {entry,
          sample_extended_file_entry(),
          sample_indirect_entry(),
          sample_terminal_entry(),
          sample_unallocated_space_entry(),
          extent,
          sample_extended_attributes(),
          Sample(entry.begin() + 176, entry.begin() + 192),
          Sample(extent.begin() + 24, extent.begin() + 56)};
}

Seeds text_seeds() {
  Layout field(32), time(12), identifier(32), set(64);
  return {sample_path(),
          {8, 'a', '/', 0xe4},
          {16, 0, 'a', 0xd8, 0x3d, 0xde, 0, 7},
          {254, 'a'},
          {255, 0, 'a'},
          field.dstring(0, 32, "Winter").bytes(),
          time.time(0).bytes(),
          identifier.regid(0, "*OSTA UDF Compliant", 0x0250).bytes(),
          set.charspec(0).bytes()};
}

}  // namespace

std::vector<std::vector<std::uint8_t>> udf_seeds_for(std::string_view target) {
  if (target == "udf_volume_fuzz") return volume_seeds();
  if (target == "udf_file_entry_fuzz") return entry_seeds();
  if (target == "udf_file_identifier_fuzz") return {sample_directory(), fid("\x08note", 0, 7, 13)};
  if (target == "udf_tables_fuzz") return {sample_vat_150(), sample_vat_200(), sample_sparing_table()};
  if (target == "udf_text_fuzz") return text_seeds();
  if (target != "udf_tag_fuzz") return {};
  Seeds all = volume_seeds();
  for (Sample& seed : entry_seeds()) all.push_back(std::move(seed));
  all.push_back({0, 'N', 'S', 'R', '0', '3', 1});
  return all;
}

}  // namespace lacuna::test

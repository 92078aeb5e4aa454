// SPDX-License-Identifier: GPL-3.0-or-later
#include "fuzz/udf_seeds.h"

#include <algorithm>

#include "support/udf_builder.h"
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

/// The blocks of a volume that are not zero, each behind its number, behind two bytes of options: see open_udf_fuzz.
Sample blocks_of(const UdfNode& root, UdfOptions options, std::uint8_t bits) {
  options.block_bytes = 512;
  options.free_blocks = 2;
  const UdfImage image = build_udf(root, options);
  Sample seed = {bits, 0};
  for (std::size_t block = 0; block * 512 < image.bytes.size(); ++block) {
    const auto bytes = std::span(image.bytes).subspan(block * 512, 512);
    if (std::ranges::all_of(bytes, [](std::uint8_t b) { return b == 0; })) continue;
    seed.push_back(static_cast<std::uint8_t>(block));
    seed.push_back(static_cast<std::uint8_t>(block >> 8));
    seed.insert(seed.end(), bytes.begin(), bytes.end());
  }
  return seed;
}

UdfNode seed_tree(const UdfOptions& options) {
  UdfNode pieces = udf_file("pieces", udf_noise(1, 3000));
  pieces.fragment_blocks = 1;
  pieces.ads_in_icb = pieces.ads_in_aed = 2;
  UdfNode small = udf_file("small", "some text");
  small.ads = UdfAds::kEmbedded;
  UdfNode hole = udf_file("hole", udf_noise(2, 512));
  hole.pieces = {{512, {}}, {2048, UdfExtentType::kUnallocated}};
  UdfNode gone = udf_file("gone", udf_noise(3, 20));
  gone.deleted = UdfDeleted::kIcbKept;
  UdfNode streamed = udf_file("streamed", udf_noise(4, 600));
  if (options.revision >= 0x0200) streamed.streams = {udf_file("note", "a note")};
  UdfNode link = udf_file("second", "");
  link.link_to = "small";
  return udf_directory("", {pieces, small, hole, gone, streamed, link, udf_symlink("link", "../small"),
                            udf_directory("folder", {udf_file("a", udf_noise(5, 700)), udf_directory("empty")})});
}

Seeds image_seeds() {
  Seeds all;
  const auto add = [&](std::uint8_t bits, auto&& change) {
    UdfOptions options;
    change(options);
    all.push_back(blocks_of(seed_tree(options), options, bits));
  };
  add(0x30, [](UdfOptions&) {});
  add(0x02, [](UdfOptions& o) { o.revision = 0x0102, o.embedded_directories = true, o.continue_after = 2; });
  add(0x22,
      [](UdfOptions& o) { o.strategy_4096 = true, o.terminal_entries = true, o.space = UdfOptions::Space::kTable; });
  add(0x42, [](UdfOptions& o) {
    o.vat = true, o.anchors = {256, -257}, o.older_generations = {udf_directory("", {udf_file("old", "older")})};
  });
  add(0x42, [](UdfOptions& o) { o.vat = true, o.anchors = {256, -257}, o.revision = 0x0150, o.vat_embedded = true; });
  add(0x20, [](UdfOptions& o) { o.sparable = true, o.relocated_packets = {0}; });
  add(0x20, [](UdfOptions& o) { o.metadata = true, o.revision = 0x0250, o.metadata_unit_blocks = 8; });
  add(0x40, [](UdfOptions& o) { o.older_file_sets = {udf_directory("", {udf_file("old", "older")})}; });
  return all;
}

}  // namespace

std::vector<std::vector<std::uint8_t>> udf_seeds_for(std::string_view target) {
  if (target == "udf_volume_fuzz") return volume_seeds();
  if (target == "udf_file_entry_fuzz") return entry_seeds();
  if (target == "udf_file_identifier_fuzz") return {sample_directory(), fid("\x08note", 0, 7, 13)};
  if (target == "udf_tables_fuzz") return {sample_vat_150(), sample_vat_200(), sample_sparing_table()};
  if (target == "udf_text_fuzz") return text_seeds();
  if (target == "open_udf_fuzz") return image_seeds();
  if (target != "udf_tag_fuzz") return {};
  Seeds all = volume_seeds();
  for (Sample& seed : entry_seeds()) all.push_back(std::move(seed));
  all.push_back({0, 'N', 'S', 'R', '0', '3', 1});
  return all;
}

}  // namespace lacuna::test

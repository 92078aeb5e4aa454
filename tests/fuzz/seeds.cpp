// SPDX-License-Identifier: GPL-3.0-or-later
#include "fuzz/seeds.h"

#include <algorithm>
#include <string>
#include <string_view>

#include "base/bytes.h"
#include "fuzz/layout_seeds.h"
#include "fuzz/udf_seeds.h"
#include "support/iso_builder.h"
#include "support/raw_encoder.h"

namespace lacuna::test {
namespace {

std::string some_text(std::size_t bytes) {
  std::string s;
  while (s.size() < bytes) s += "line " + std::to_string(s.size()) + "\n";
  s.resize(bytes);
  return s;
}

/// A zisofs file of one block that can't be decoded: its pointers are right, its stream is not.
std::string zisofs_content() {
  std::string s("\x37\xe4\x53\x96\xc9\xdb\xd6\x07\x00\x10\x00\x00\x04\x0f\x00\x00", 16);
  s += std::string("\x18\x00\x00\x00\x40\x00\x00\x00", 8);
  return s + "\x78\x9c" + some_text(38);
}

IsoNode with(IsoNode n, std::string_view joliet, std::string system_use) {
  n.joliet_id = ucs2(joliet);
  n.system_use = std::move(system_use);
  return n;
}

IsoNode tree() {
  const std::string file_px = rrip_px(0100644), directory_px = rrip_px(040755, 2);
  IsoNode root = iso_directory("");
  root.self_system_use = susp_sp() + directory_px;
  root.continuation = susp_er();

  IsoNode inner = with(iso_file("INNER.TXT;2", some_text(3000)), "inner ä.txt", file_px + rrip_nm("inner ä.txt"));
  IsoNode directory = with(iso_directory("SUB", {inner}), "sub folder", directory_px + rrip_nm("sub folder"));
  IsoNode linked = with(iso_file("LINK.;1", ""), "link",
                        rrip_px(0120777) + rrip_nm("link") + rrip_sl(std::string("\x08\x00\x04\x00\x00\x03sub", 9)));
  IsoNode interleaved = with(iso_file("INTER.BIN;1", some_text(9000)), "inter.bin", file_px + rrip_nm("inter.bin"));
  interleaved.unit_blocks = 2;
  interleaved.gap_blocks = 1;
  IsoNode extents = with(iso_file("MULTI.BIN;1", some_text(10000)), "multi.bin", file_px + rrip_nm("multi.bin"));
  extents.section_bytes = {4096, 4096, 1808};
  IsoNode attributed = with(iso_file("ATTR.TXT;1", some_text(100)), "attr.txt", file_px);
  attributed.ear_blocks = 1;
  attributed.continuation = rrip_nm(std::string(100, 'n'), 1) + rrip_nm("tail.txt") + rrip_tf_modified({});
  IsoNode shrunk = with(iso_file("ZISO.BIN;1", zisofs_content()), "ziso", file_px + zisofs_zf(4096));
  IsoNode hidden = with(iso_file("HIDDEN.TXT;1", "hidden"), "", xa_record(0x0800));
  hidden.flags = 1;
  IsoNode moved = with(iso_file("MOVED.;1", ""), "", rrip_cl(24) + rrip_nm("moved"));
  IsoNode same = with(iso_file("SAME.TXT;1", some_text(3000)), "same.txt", file_px);
  same.same_extent_as = "SUB/INNER.TXT;2";
  root.children = {directory, linked, interleaved, extents, attributed, shrunk, hidden, moved, same};
  return root;
}

/// A sector map in each of its forms.
std::vector<std::vector<std::uint8_t>> maps() {
  std::vector<std::vector<std::uint8_t>> all;
  for (
      const std::string_view text : {
          "# by hand\n#! default unread\n0 16 good\n0x10 2 bad # scratch\n17 1 suspect\n",
          "#! unit bytes\n0 8192 good\n2100 1 bad\n4096 100 repaired\n",
          "7\n0x8\n3\n",
          R"({"schema":"lacuna/map/1","unit":"512","default":"good","by":{"x":[1]},"runs":[[0,9,"bad"],[4,2,"good"]]})",
          "0,10,good,x\n10;3;bad\n5 1 unread more\n",
          "good 0 4095\n- 4096 4100\n+ 0x2000 0x2fff\n",
      }) {
    all.emplace_back(text.begin(), text.end());
  }
  return all;
}

std::vector<IsoImage> images() {
  std::vector<IsoImage> all;
  all.push_back(build_iso(tree()));
  IsoOptions options;
  options.joliet_escape = "%/E";
  options.optional_path_tables = true;
  options.xa = true;
  // One validation entry (its checksum right) and one entry without emulation.
  options.boot_catalog = std::string("\x01\x00\x00\x00", 4) + std::string(24, '\0') +
                         std::string("\xaa\x55\x55\xaa\x88\x00\x00\x00\x00\x00\x04\x00\x20\x00\x00\x00", 16);
  options.boot_catalog.resize(2048);
  all.push_back(build_iso(tree(), options));
  options = {};
  options.enhanced = true;
  options.block_bytes = 512;
  all.push_back(build_iso(tree(), options));
  return all;
}

/// A raw sector of each form behind its options, whole and with a burst.
std::vector<std::vector<std::uint8_t>> raw_sectors() {
  std::vector<std::vector<std::uint8_t>> all;
  const std::string text = some_text(2336);
  for (const SectorForm form :
       {SectorForm::kMode0, SectorForm::kMode1, SectorForm::kMode2, SectorForm::kForm1, SectorForm::kForm2}) {
    RawSector sector = encode_raw(form, 16, as_bytes(text));
    for (const int options : {0, 2, 6}) {
      std::vector<std::uint8_t> seed = {static_cast<std::uint8_t>(form), static_cast<std::uint8_t>(options), 0, 5};
      seed.insert(seed.end(), sector.begin(), sector.end());
      all.push_back(seed);
      for (std::size_t i = 0; i < 30; ++i) seed[4 + 200 + i] ^= 0xff;
      all.push_back(std::move(seed));
    }
  }
  return all;
}

/// Images of eight sectors, of several sizes, some with a piece missing.
std::vector<std::vector<std::uint8_t>> raw_images() {
  std::vector<std::vector<std::uint8_t>> all;
  for (const SectorForm form : {SectorForm::kMode1, SectorForm::kForm1, SectorForm::kForm2}) {
    for (const std::size_t unit_bytes : {2336U, 2352U, 2448U, 2646U}) {
      std::vector<std::uint8_t> image;
      for (std::int32_t lba = 0; lba < 8; ++lba) {
        const std::string text = some_text(1500 + 60 * static_cast<std::size_t>(lba));
        const RawSector sector = encode_raw(form, lba, as_bytes(text));
        const std::size_t held = std::min<std::size_t>(unit_bytes, kRawSectorBytes);
        image.insert(image.end(), sector.end() - static_cast<std::ptrdiff_t>(held), sector.end());
        image.resize(image.size() + unit_bytes - held);
      }
      all.push_back(image);
      image.erase(image.begin() + 9000, image.begin() + 9100);
      all.push_back(std::move(image));
    }
  }
  return all;
}

}  // namespace

std::vector<std::vector<std::uint8_t>> seeds_for(std::string_view target) {
  if (target == "sector_map_fuzz") return maps();
  if (target == "raw_sector_fuzz") return raw_sectors();
  if (target == "raw_image_fuzz") return raw_images();
  std::vector<std::vector<std::uint8_t>> seeds = layout_seeds_for(target);
  if (seeds.empty()) seeds = udf_seeds_for(target);
  if (!seeds.empty()) return seeds;
  for (IsoImage& image : images()) {
    if (target == "open_image_fuzz") {
      std::vector<std::uint8_t> seed = {0, 0};
      seed.insert(seed.end(), image.bytes.begin() + 16 * 2048, image.bytes.end());
      seeds.push_back(std::move(seed));
      continue;
    }
    const auto add = [&](std::uint64_t address, std::size_t bytes) {
      const auto from = image.at(address);
      const auto piece = from.first(std::min(bytes, from.size()));
      seeds.emplace_back(piece.begin(), piece.end());
    };
    for (const auto& [name, address] : image.structures)
      add(address, name.find("path") == std::string::npos ? 2048 : 200);
    for (const auto* places : {&image.primary, &image.joliet}) {
      for (const auto& [path, place] : *places) {
        const std::uint8_t length = image.at(place.record)[0];
        add(place.record, length);
        add(place.system_use, length - static_cast<std::size_t>(place.system_use - place.record));
        add(place.extent, 2048);
        if (place.continuation != 0) add(place.continuation, 2048);
      }
    }
  }
  // As text: g++ 12 sees a memcmp of absurd length in the comparison of vectors of bytes.
  std::ranges::sort(seeds, {}, [](const std::vector<std::uint8_t>& seed) { return as_text(seed); });
  seeds.erase(std::unique(seeds.begin(), seeds.end()), seeds.end());
  return seeds;
}

}  // namespace lacuna::test

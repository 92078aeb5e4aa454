// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/path_tables.h"

#include <algorithm>
#include <array>

#include "iso9660/decode/path_table.h"
#include "media/stretch.h"

namespace lacuna::iso9660 {
namespace {

struct TablePlace {
  std::uint32_t block = 0;
  bool big_endian = false;
  const char* label = "";
};

std::array<TablePlace, 4> places(const VolumeDescriptor& d) {
  return {{{d.path_table_l, false, "path table L"},
           {d.path_table_m, true, "path table M"},
           {d.optional_path_table_l, false, "optional path table L"},
           {d.optional_path_table_m, true, "optional path table M"}}};
}

struct Record {
  std::uint64_t position = 0;
  std::uint32_t parent = 0;
};

// The records up to the first hole or the first that can't be right.
std::vector<Record> read_table(const Image& image, const VolumeDescriptor& d, const TablePlace& place) {
  const std::uint64_t position = std::uint64_t{place.block} * d.block_bytes();
  if (position >= image.end_byte()) return {};
  const std::uint64_t bytes = std::min<std::uint64_t>(d.path_table_size.value(), image.end_byte() - position);
  const Stretch table = read_stretch(image, position, bytes);
  std::uint64_t readable = bytes;
  if (!table.whole()) {
    const std::uint64_t hole = table.missing_lbas.ranges().front().first * kSectorBytes;
    readable = hole > position ? hole - position : 0;
  }
  std::vector<Record> records;
  PathTableReader reader(table.from(0, readable), place.big_endian);
  while (const auto r = reader.next()) {
    if (r->problems != 0) break;
    records.push_back({(std::uint64_t{r->extent} + r->ear_length) * d.block_bytes(), r->parent_number});
  }
  return records;
}

}  // namespace

std::vector<Structure> path_table_structures(const VolumeDescriptor& d, View view) {
  std::vector<Structure> structures;
  for (const TablePlace& place : places(d)) {
    if (place.block == 0 || d.path_table_size.value() == 0) continue;
    structures.push_back({StructureKind::kPathTable, view, std::uint64_t{place.block} * d.block_bytes(),
                          d.path_table_size.value(), kNoNode, place.label});
  }
  return structures;
}

PathTables::PathTables(const Image& image, const VolumeDescriptor& d) {
  std::vector<Record> best;
  for (const TablePlace& place : places(d)) {
    if (place.block == 0) continue;
    std::vector<Record> records = read_table(image, d, place);
    if (records.size() > best.size()) best = std::move(records);
  }
  if (best.empty()) return;
  // Records are sorted by parent (6.9.1), so all children of a record below the last parent named are in the table.
  std::vector<std::uint64_t> children(best.size());
  for (std::size_t i = 1; i < best.size(); ++i) ++children[best[i].parent - 1];
  for (std::size_t i = 0; i < best.size(); ++i) counts_.emplace(best[i].position, children[i]);
}

std::optional<std::uint64_t> PathTables::subdirectories(std::uint64_t position) const {
  const auto it = counts_.find(position);
  if (it == counts_.end()) return std::nullopt;
  return it->second;
}

}  // namespace lacuna::iso9660

// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/path_tables.h"

#include <algorithm>

#include "iso9660/decode/path_table.h"
#include "media/stretch.h"

namespace lacuna::iso9660 {
namespace {

// No table of 65535 directories (9.4.4: more can't be parents) is longer, and it bounds what a descriptor can claim.
constexpr std::uint64_t kMostTableBytes = std::uint64_t{1} << 24;
// A table whose length is not known is read up to its first record of no bytes.
constexpr std::uint64_t kGuessedTableBytes = std::uint64_t{1} << 22;

constexpr std::size_t kMostCopies = 8;  // four are the standard's

/// One copy of the table.
struct Copy {
  Stretch bytes;
  bool big_endian = false;
};

std::optional<PathTableRecord> record_at(const Copy& copy, std::uint64_t offset) {
  constexpr std::uint64_t kFixedBytes = 8;
  if (!copy.bytes.readable(offset, kFixedBytes)) return {};
  const Bytes rest = copy.bytes.from(offset, copy.bytes.bytes.size());
  const auto r = decode_path_table_record(rest, copy.big_endian);
  if (!r || r->problems != 0 || r->extent == 0) return {};
  if (!copy.bytes.readable(offset, kFixedBytes + r->identifier.size())) return {};
  return r;
}

bool same(const PathTableRecord& a, const PathTableRecord& b) {
  return a.extent + a.ear_length == b.extent + b.ear_length && a.parent_number == b.parent_number &&
         std::ranges::equal(a.identifier, b.identifier);
}

class Merger {
 public:
  Merger(const Image& image, const VolumeBasis& volume) : image_(image), volume_(volume) {}

  void add(std::uint64_t position, bool big_endian) {
    if (position == 0 || position >= image_.end_byte() || copies_.size() == kMostCopies) return;
    const std::uint64_t claimed = volume_.path_table_bytes != 0 ? volume_.path_table_bytes : kGuessedTableBytes;
    const std::uint64_t bytes = std::min({claimed, kMostTableBytes, image_.end_byte() - position});
    copies_.push_back({read_stretch(image_, position, bytes), big_endian});
  }

  /// The record at this byte of the table. Numbers start at 1 (9.4.4); parents never decrease (6.9.1).
  std::optional<PathTableRecord> at(std::uint64_t offset, std::uint32_t number, std::uint16_t last_parent) {
    std::optional<PathTableRecord> best;
    bool stands = false;
    for (const Copy& copy : copies_) {
      const auto r = record_at(copy, offset);
      if (!r || r->parent_number < last_parent) continue;
      const bool root = r->identifier.size() == 1 && r->identifier[0] == 0 && r->parent_number == 1;
      if (number == 1 ? !root : r->parent_number >= number) continue;
      if (!best) {
        best = r;
        continue;
      }
      if (same(*best, *r)) continue;
      if (!differ_lba) differ_lba = (copy.bytes.position + offset) / kSectorBytes;
      if (!stands) stands = directory_stands(*best);
      if (!stands && directory_stands(*r)) {
        best = r;
        stands = true;
      }
    }
    return best;
  }

  std::optional<std::uint64_t> differ_lba;

 private:
  bool directory_stands(const PathTableRecord& r) const {
    const std::uint64_t block = std::uint64_t{r.extent} + r.ear_length;
    const auto self = read_self_record(image_, volume_.at(block));
    return self && std::uint64_t{self->extent.value()} + self->ear_length == block;
  }

  const Image& image_;
  const VolumeBasis& volume_;
  std::vector<Copy> copies_;
};

}  // namespace

std::vector<Structure> path_table_structures(const VolumeBasis& volume, View view) {
  std::vector<Structure> structures;
  for (const VolumeBasis::TablePlace& place : volume.path_tables) {
    if (place.position == 0 || volume.path_table_bytes == 0 || lies_before_disc(place.position)) continue;
    structures.push_back(
        {StructureKind::kPathTable, view, place.position, volume.path_table_bytes, kNoNode, place.label});
  }
  return structures;
}

PathTables::PathTables(const Image& image, const VolumeBasis& volume, const Frames* frames) {
  Merger tables(image, volume);
  for (const VolumeBasis::TablePlace& place : volume.path_tables) tables.add(place.position, place.big_endian);
  std::optional<std::uint64_t> root;
  if (volume.root) root = volume.at(std::uint64_t{volume.root->extent.value()} + volume.root->ear_length);
  if (frames != nullptr && root) {
    for (const FoundPathTable& t : frames->remains().path_tables()) {
      const bool listed =
          std::ranges::any_of(volume.path_tables, [&](const auto& p) { return p.position == t.position; });
      if (t.start && !listed && volume.at(t.root_block) == *root) tables.add(t.position, t.big_endian);
    }
  }
  std::uint16_t last_parent = 0;
  for (std::uint64_t offset = 0;;) {
    const auto number = static_cast<std::uint32_t>(directories_.size() + 1);
    const auto r = tables.at(offset, number, last_parent);
    if (!r) break;
    const std::uint64_t position = volume.at(std::uint64_t{r->extent} + r->ear_length);
    if (number == 1 && root && position != *root) break;  // another volume's
    last_parent = r->parent_number;
    add(position, r->parent_number - 1U, r->identifier);
    offset += 8 + r->identifier.size() + r->identifier.size() % 2;
  }
  differ_lba_ = tables.differ_lba;
  if (frames != nullptr) add_parts(image, volume, *frames);
}

void PathTables::add(std::uint64_t position, std::uint32_t parent, Bytes identifier) {
  const auto index = static_cast<std::uint32_t>(directories_.size());
  const std::uint32_t depth = index == 0 ? 0 : directories_[parent].depth + 1;
  directories_.push_back({position, parent, depth, static_cast<std::uint32_t>(identifiers_.size()),
                          static_cast<std::uint32_t>(identifier.size())});
  identifiers_.insert(identifiers_.end(), identifier.begin(), identifier.end());
  children_.push_back(0);
  if (index != 0) ++children_[parent];
  by_position_.emplace(position, index);
}

/// Sectors from the middle of tables count when they name a directory that stands where they say.
void PathTables::add_parts(const Image& image, const VolumeBasis& volume, const Frames& frames) {
  const Frame* frame = frames.of_shift(volume.shift_bytes);
  if (frame == nullptr) return;
  for (const FoundPathTable& t : frames.remains().path_tables()) {
    if (t.start) continue;
    // Records may run over into the next sector; where that is no path table, what follows is not taken for one.
    const std::uint64_t end = (t.position / kSectorBytes + 1) * kSectorBytes;
    const Stretch sector = read_stretch(image, t.position, end - t.position);
    if (!sector.whole()) continue;
    const std::size_t first = parts_.size();
    bool stands = false;
    for (std::size_t at = 0; at < sector.bytes.size();) {
      const auto r = decode_path_table_record(sector.from(at, sector.bytes.size()), t.big_endian);
      if (!r || r->problems != 0) break;
      const std::uint64_t position = volume.at(std::uint64_t{r->extent} + r->ear_length);
      stands = stands || frame->find(position) != nullptr;
      parts_.push_back({position, 0, 0, static_cast<std::uint32_t>(identifiers_.size()),
                        static_cast<std::uint32_t>(r->identifier.size())});
      identifiers_.insert(identifiers_.end(), r->identifier.begin(), r->identifier.end());
      at += r->length;
    }
    if (!stands) parts_.resize(first);
  }
  for (std::uint32_t i = 0; i < parts_.size(); ++i) part_by_position_.emplace(parts_[i].position, i);
}

Bytes PathTables::identifier_at(std::uint64_t position) const {
  if (const auto it = by_position_.find(position); it != by_position_.end())
    return identifier(directories_[it->second]);
  const auto it = part_by_position_.find(position);
  return it == part_by_position_.end() ? Bytes{} : identifier(parts_[it->second]);
}

std::optional<std::uint64_t> PathTables::subdirectories(std::uint64_t position) const {
  const auto it = by_position_.find(position);
  if (it == by_position_.end()) return std::nullopt;
  return children_[it->second];
}

}  // namespace lacuna::iso9660

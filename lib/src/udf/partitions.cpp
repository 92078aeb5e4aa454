// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/partitions.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "udf/decode/sparing_table.h"

namespace lacuna::udf {
namespace {

constexpr std::size_t kMaxMaps = 64;
constexpr std::uint64_t kMaxSparingBytes = 1 << 20;  // 56 + 8 * 65535 at most
// Extents that translation may make out of what is recorded, on the whole disc.
constexpr std::uint64_t kExtentBudget = std::uint64_t{1} << 24;

std::string_view kind_word(PartitionMapKind kind) {
  constexpr std::array<std::string_view, 5> kWords{"physical", "virtual", "sparable", "metadata", "unknown"};
  return kWords[static_cast<std::size_t>(kind)];
}

bool is_physical(const PartitionMap& m) {
  return m.kind == PartitionMapKind::kPhysical || m.kind == PartitionMapKind::kSparable;
}

std::vector<std::uint64_t> ends_of(const MapFile& file) {
  std::vector<std::uint64_t> ends;
  std::uint64_t sum = 0;
  for (const Extent& e : file.extents) ends.push_back(sum += e.bytes);
  return ends;
}

}  // namespace

Partitions::Partitions(ByteReader& reader, const VolumeDescriptors& volume, const LogicalVolume& logical,
                       Findings& findings)
    : reader_(reader),
      block_bytes_(logical.block_bytes),
      sector_bytes_(volume.sector_bytes),
      extent_budget_(kExtentBudget) {
  const std::uint16_t here = volume.primary ? volume.primary->descriptor.volume_number : std::uint16_t{0};
  PartitionMapReader maps(logical.maps, logical.map_count);
  while (const auto map = maps.next()) {
    if (spaces_.size() == kMaxMaps) break;
    Space space;
    space.map = *map;
    const auto found = volume.partitions.find(map->partition_number);
    const auto reference = static_cast<std::uint16_t>(spaces_.size());
    if (map->kind == PartitionMapKind::kUnknown) {
      space.state = "of a kind that is not known";
      findings.add({Severity::kLoss, "partition-map", fmt::format("partition map {}", reference), std::nullopt,
                    "ECMA-167 3/10.7",
                    fmt::format("a partition map of an unknown kind ({}); what lies there can't be located",
                                map->identifier.identifier())});
    } else if (here != 0 && map->volume_number != 0 && map->volume_number != here) {
      space.state = fmt::format("on volume {} of the set, this is volume {}", map->volume_number, here);
      findings.add({Severity::kLoss, "other-volume", fmt::format("partition map {}", reference), std::nullopt,
                    "ECMA-167 3/10.7", "the partition lies " + space.state});
    } else if (found == volume.partitions.end()) {
      space.state = "its partition descriptor is lost";
      findings.add({Severity::kLoss, "partition-lost", fmt::format("partition {}", map->partition_number), std::nullopt,
                    "ECMA-167 3/10.5",
                    "no descriptor of this partition could be read; what lies there can't be located"});
    } else {
      space.known = true;
      space.doubt = volume.doubt;
      if (volume.weak) space.doubt = "the volume's descriptors are not covered by a CRC";
      const auto start =
          static_cast<std::int64_t>(std::uint64_t{found->second.descriptor.start_sector} * sector_bytes_) +
          volume.shift_bytes;
      space.position = start < 0 ? 0 : static_cast<std::uint64_t>(start);
      space.lacks = start < 0 ? static_cast<std::uint64_t>(-start) : 0;
      space.blocks = std::uint64_t{found->second.descriptor.length_sectors} * sector_bytes_ / block_bytes_;
      if (map->kind == PartitionMapKind::kSparable) read_sparing_tables(volume, space, reference, findings);
    }
    spaces_.push_back(std::move(space));
  }
  if (maps.stop() != PartitionMapReader::Stop::kEnd) {
    findings.add({Severity::kDoubt, "partition-maps", "logical volume descriptor", std::nullopt, "ECMA-167 3/10.6.11",
                  fmt::format("its table holds {} of {} partition maps", spaces_.size(), logical.map_count)});
  }
}

void Partitions::read_sparing_tables(const VolumeDescriptors& volume, Space& space, std::uint16_t reference,
                                     Findings& findings) {
  const PartitionMap& map = space.map;
  std::optional<std::uint32_t> best;
  bool best_whole = false;
  int copies = 0;
  const std::uint64_t bytes = std::clamp<std::uint64_t>(map.sparing_table_bytes, sector_bytes_, kMaxSparingBytes);
  std::vector<std::uint8_t> table(static_cast<std::size_t>(bytes));
  for (std::size_t i = 0; i < map.sparing_tables; ++i) {
    const std::uint32_t sector = map.sparing_table_sector[i];
    const auto there = volume.position_of(sector);
    if (!there) continue;
    const std::uint64_t position = *there;
    structures_.push_back(
        {StructureKind::kSparingTable, View::kUdf, position, bytes, kNoNode, fmt::format("sparing table {}", i + 1)});
    const SectorState state = reader_.read(position, table);
    const auto decoded = decode_sparing_table(table);
    std::string why;
    if (!decoded) {
      why = has_bytes(state) ? "it is not a sparing table" : fmt::format("its sectors are {}", to_string(state));
    } else if (const TagCheck check = check_tag(table, sector, decoded->bytes); !check.proven() || decoded->cut) {
      why = decoded->cut ? "it is longer than recorded" : udf::describe(check);
    }
    if (!why.empty()) {
      findings.add({Severity::kDoubt, "sparing-table", fmt::format("sparing table {}", i + 1), position / kSectorBytes,
                    "UDF 2.2.12", "it does not count: " + why});
      continue;
    }
    ++copies;
    if (best && *best >= decoded->sequence) continue;
    best = decoded->sequence;
    best_whole = true;
    space.moved.clear();
    for (std::size_t k = 0; k < decoded->size(); ++k) {
      const SparingEntry e = (*decoded)[k];
      if (!e.is_moved()) continue;
      space.moved.emplace_back(e.original, volume.position_of(e.mapped_sector).value_or(kNowhere));
    }
  }
  std::sort(space.moved.begin(), space.moved.end());
  if (!best_whole) {
    space.sparing_lost = true;
    space.doubt = "no sparing table could be read: packets that were moved would be found in their old place";
    space.state = "no sparing table could be read";
    findings.add({Severity::kDoubt, "sparing-tables-lost", fmt::format("partition map {}", reference), std::nullopt,
                  "UDF 2.2.12", "no sparing table could be read; every file of the partition is doubtful for it"});
    return;
  }
  // Copies may lag behind each other; one that is lost may have been the newest, with packets moved since.
  if (copies < map.sparing_tables) {
    space.sparing_lost = true;
    space.doubt = "a sparing table that can't be read may have moved packets that this one has in their old place";
  }
  space.state =
      fmt::format("{} of {} sparing tables readable, {} packets moved", copies, map.sparing_tables, space.moved.size());
}

std::optional<std::uint16_t> Partitions::first_of(PartitionMapKind kind) const {
  for (std::size_t i = 0; i < spaces_.size(); ++i) {
    if (spaces_[i].map.kind == kind) return static_cast<std::uint16_t>(i);
  }
  return {};
}

std::optional<std::uint16_t> Partitions::under(std::uint16_t reference) const {
  for (std::size_t i = 0; i < spaces_.size(); ++i) {
    if (is_physical(spaces_[i].map) && spaces_[i].map.partition_number == spaces_[reference].map.partition_number) {
      return static_cast<std::uint16_t>(i);
    }
  }
  return {};
}

void Partitions::set_virtual_table(std::uint16_t reference, std::vector<std::uint32_t> entries) {
  spaces_[reference].table = std::move(entries);
}

void Partitions::set_metadata(std::uint16_t reference, MapFile main, MapFile mirror) {
  Space& space = spaces_[reference];
  space.main = std::move(main);
  space.mirror = std::move(mirror);
  space.main_ends = ends_of(space.main);
  space.mirror_ends = ends_of(space.mirror);
}

void Partitions::set_mirror(std::uint16_t reference, MapFile mirror) {
  Space& space = spaces_[reference];
  space.mirror = std::move(mirror);
  space.mirror_ends = ends_of(space.mirror);
}

void Partitions::set_placed(std::uint16_t reference, MapFile main, MapFile mirror, std::uint64_t doubtful_before,
                            std::set<std::uint32_t> contested, std::string doubt) {
  set_metadata(reference, std::move(main), std::move(mirror));
  Space& space = spaces_[reference];
  space.known = space.placed = true;
  space.doubtful_before = doubtful_before;
  space.contested = std::move(contested);
  space.placed_doubt = std::move(doubt);
}

void Partitions::add_moved(std::uint16_t reference, const std::vector<std::pair<std::uint32_t, std::uint64_t>>& moved) {
  std::vector<std::pair<std::uint32_t, std::uint64_t>>& known = spaces_[reference].moved;
  known.insert(known.end(), moved.begin(), moved.end());
  std::stable_sort(known.begin(), known.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
  known.erase(std::unique(known.begin(), known.end(), [](const auto& a, const auto& b) { return a.first == b.first; }),
              known.end());
}

int Partitions::copies(std::uint16_t reference) const {
  if (reference >= spaces_.size()) return 0;
  const Space& space = spaces_[reference];
  return space.map.kind == PartitionMapKind::kMetadata || (space.placed && !space.mirror.extents.empty()) ? 2 : 1;
}

Partitions::Run Partitions::plain_run(const Space& space, std::uint64_t offset, std::uint64_t bytes) {
  if (offset < space.lacks) return {kNowhere, std::min(bytes, space.lacks - offset)};
  return {space.position + (offset - space.lacks), bytes};
}

Partitions::Run Partitions::physical_run(const Space& space, std::uint64_t offset, std::uint64_t bytes) const {
  const std::uint64_t end = space.blocks * block_bytes_;
  if (offset >= end) return {kNowhere, bytes};
  bytes = std::min(bytes, end - offset);
  if (space.moved.empty() || space.map.packet_blocks == 0) return plain_run(space, offset, bytes);
  const std::uint64_t packet_bytes = std::uint64_t{space.map.packet_blocks} * block_bytes_;
  const auto packet = static_cast<std::uint32_t>(offset / packet_bytes * space.map.packet_blocks);
  const auto at = std::lower_bound(space.moved.begin(), space.moved.end(), std::pair{packet, std::uint64_t{0}});
  const std::uint64_t within = offset % packet_bytes;
  if (at != space.moved.end() && at->first == packet) {
    const std::uint64_t run = std::min(bytes, packet_bytes - within);
    return {at->second == kNowhere ? kNowhere : at->second + within, run};
  }
  // As far as the next packet that was moved.
  const std::uint64_t next = at == space.moved.end() ? end : std::uint64_t{at->first} * block_bytes_;
  return plain_run(space, offset, std::min(bytes, next - offset));
}

Partitions::Run Partitions::run_at(const Space& space, std::uint64_t offset, std::uint64_t bytes, int copy) const {
  const auto nowhere = Run{kNowhere, bytes};
  if (!space.known) return nowhere;
  switch (space.placed ? PartitionMapKind::kMetadata : space.map.kind) {
    case PartitionMapKind::kPhysical:
    case PartitionMapKind::kSparable:
      return physical_run(space, offset, bytes);
    case PartitionMapKind::kVirtual: {
      const std::uint64_t block = offset / block_bytes_;
      const std::uint64_t within = offset % block_bytes_;
      const std::uint64_t piece = std::min(bytes, block_bytes_ - within);
      const auto physical = under(space.map.reference);
      if (!physical || !spaces_[*physical].known || block >= space.table.size() ||
          space.table[block] == ~std::uint32_t{0}) {
        // Beyond the table there is nothing, however much is asked for.
        return {kNowhere, block >= space.table.size() ? bytes : piece};
      }
      return physical_run(spaces_[*physical], std::uint64_t{space.table[block]} * block_bytes_ + within, piece);
    }
    case PartitionMapKind::kMetadata: {
      const MapFile& file = copy == 0 ? space.main : space.mirror;
      const std::vector<std::uint64_t>& ends = copy == 0 ? space.main_ends : space.mirror_ends;
      const auto at = std::upper_bound(ends.begin(), ends.end(), offset);
      if (at == ends.end()) return nowhere;
      const Extent& e = file.extents[static_cast<std::size_t>(at - ends.begin())];
      const std::uint64_t piece = std::min(bytes, *at - offset);
      if (!e.has_place()) return {kNowhere, piece};
      return {e.position + (e.bytes - (*at - offset)), piece};
    }
    case PartitionMapKind::kUnknown:
      break;
  }
  return nowhere;
}

std::optional<std::uint64_t> Partitions::position_of(LbAddr block, int copy) const {
  if (block.partition >= spaces_.size()) return {};
  const Run run = run_at(spaces_[block.partition], std::uint64_t{block.block} * block_bytes_, block_bytes_, copy);
  if (run.position == kNowhere || run.bytes < block_bytes_) return {};
  return run.position;
}

std::optional<LbAddr> Partitions::address_of(std::uint64_t position, std::uint32_t block) const {
  for (std::size_t i = spaces_.size(); i-- > 0;) {  // what lies over others comes behind them
    const LbAddr address{block, static_cast<std::uint16_t>(i)};
    for (int copy = 0; copy < copies(address.partition); ++copy) {
      const auto at = position_of(address, copy);
      if (at && *at <= position && position - *at < block_bytes_) return address;
    }
  }
  return {};
}

bool Partitions::locate(LbAddr first, std::uint64_t bytes, std::vector<Extent>& out) const {
  std::uint64_t offset = std::uint64_t{first.block} * block_bytes_;
  while (bytes != 0) {
    Run run{kNowhere, bytes};
    if (first.partition < spaces_.size()) run = run_at(spaces_[first.partition], offset, bytes, 0);
    if (!out.empty() &&
        (run.position == kNowhere ? out.back().position == kNowhere
                                  : out.back().has_place() && out.back().position + out.back().bytes == run.position)) {
      out.back().bytes += run.bytes;
    } else if (extent_budget_ == 0) {
      out.push_back({kNowhere, bytes, 0, 0});
      return false;
    } else {
      --extent_budget_;
      out.push_back({run.position, run.bytes, 0, 0});
    }
    offset += run.bytes;
    bytes -= run.bytes;
  }
  return true;
}

const std::string& Partitions::doubt(std::uint16_t reference) const {
  static const std::string none;
  if (reference >= spaces_.size()) return none;
  const Space& space = spaces_[reference];
  if (!space.doubt.empty() || is_physical(space.map)) return space.doubt;
  const auto physical = under(reference);
  return physical ? spaces_[*physical].doubt : none;
}

const std::string& Partitions::doubt(LbAddr block, std::uint64_t position) const {
  if (block.partition < spaces_.size()) {
    const Space& space = spaces_[block.partition];
    if (!space.placed_doubt.empty() && (position < space.doubtful_before || space.contested.contains(block.block))) {
      return space.placed_doubt;
    }
  }
  return doubt(block.partition);
}

std::optional<Partitions::Stretch> Partitions::physical(std::uint16_t reference) const {
  if (reference >= spaces_.size() || !spaces_[reference].known) return {};
  const Space& space = spaces_[reference];
  const std::uint64_t bytes = space.blocks * block_bytes_;
  return Stretch{space.position, bytes - std::min(bytes, space.lacks), space.lacks};
}

std::vector<UdfFacts::Map> Partitions::describe() const {
  std::vector<UdfFacts::Map> maps;
  for (const Space& s : spaces_) {
    maps.push_back({std::string(kind_word(s.map.kind)), s.map.partition_number, s.position / kSectorBytes,
                    s.blocks * block_bytes_, s.state});
  }
  return maps;
}

}  // namespace lacuna::udf

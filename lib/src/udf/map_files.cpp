// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/map_files.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <utility>

#include "udf/decode/extended_attributes.h"
#include "udf/decode/read_tag.h"
#include "udf/decode/virtual_table.h"

namespace lacuna::udf {
namespace {

constexpr std::uint64_t kSpareTableBytes = 65536;
constexpr std::size_t kMaxGenerations = 4096;
constexpr std::size_t kMostEntries = std::size_t{1} << 24;  // of all generations together: 64 MiB
constexpr std::uint64_t kScanBytes = std::uint64_t{1} << 20;

bool may_be_table(const FileEntry& e) {
  return e.icb.file_type == file_type::kVirtualTable || e.icb.file_type == file_type::kUnspecified;
}

class TableFinder {
 public:
  TableFinder(ByteReader& reader, const Partitions& partitions, const VirtualTableSearch& search, Findings& findings)
      : reader_(reader),
        partitions_(partitions),
        search_(search),
        findings_(findings),
        entries_(reader, partitions),
        physical_(*partitions.under(search.virtual_reference)),
        stretch_(*partitions.physical(physical_)),
        lacks_blocks_(static_cast<std::uint32_t>(stretch_.lacks / partitions.block_bytes())) {}

  Result<std::vector<VirtualTableState>> run() {
    std::optional<VirtualTableState> newest;
    if (Result<Done> searched = search_back(newest); !searched) return searched.error();
    std::vector<VirtualTableState> tables;
    if (!newest) return tables;
    tables.push_back(std::move(*newest));
    std::set<std::uint32_t> seen{tables.back().block};
    std::size_t entries = tables.back().entries.size();
    while (tables.back().previous && tables.size() < kMaxGenerations) {
      if (entries > kMostEntries) {
        tell("virtual-tables-many", tables.back().block, "the tables before this one are too many to be read");
        break;
      }
      const std::uint32_t block = *tables.back().previous;
      if (!seen.insert(block).second) {
        tell("virtual-table-loop", block, "the chain of earlier tables does not end");
        break;
      }
      std::string why;
      auto table = read_table(block, why);
      if (!table) {
        tell("virtual-table-lost", block, "an earlier table can't be read: " + why);
        break;
      }
      entries += table->entries.size();
      tables.push_back(std::move(*table));
    }
    return tables;
  }

 private:
  void tell(const char* kind, std::uint32_t block, std::string text, Severity severity = Severity::kDoubt) {
    findings_.add({severity, kind, "virtual allocation table",
                   partitions_.position_of({block, physical_}).value_or(0) / kSectorBytes, "UDF 2.2.11",
                   std::move(text)});
  }

  /// UDF 2.2.11: the ICB of the table is in the last block that was written; run-out, and images that are longer than
  /// the disc was written, put others behind it.
  Result<Done> search_back(std::optional<VirtualTableState>& newest) {
    const std::uint32_t block_bytes = partitions_.block_bytes();
    const std::uint64_t end = std::min({search_.end_byte, reader_.end_byte(), stretch_.position + stretch_.bytes});
    std::uint64_t behind = end > stretch_.position ? (end - stretch_.position) / block_bytes : 0;
    std::vector<std::uint8_t> bytes;
    while (behind != 0) {
      const std::uint64_t blocks = std::min<std::uint64_t>(behind, kScanBytes / block_bytes);
      const std::uint64_t first = behind - blocks;
      bytes.resize(static_cast<std::size_t>(blocks * block_bytes));
      RangeSet missing;  // zero in `bytes`, where they hold no tag
      const SectorState worst = reader_.read(stretch_.position + first * block_bytes, bytes, missing);
      for (std::uint64_t i = blocks; i-- > 0;) {
        const Bytes block = Bytes(bytes).subspan(static_cast<std::size_t>(i * block_bytes), block_bytes);
        const std::uint64_t at = stretch_.position + (first + i) * block_bytes;
        const bool lost = !has_bytes(worst) && missing.intersects({at, at + block_bytes});
        // What was lost or written behind a table may have been a newer one.
        const bool behind_it = std::exchange(behind_, behind_ || lost || !all_zero(block));
        const std::uint16_t id = le16(block, 0);
        if (id != tag_id::kFileEntry && id != tag_id::kExtendedFileEntry) continue;
        const auto entry = decode_file_entry(block);
        if (!entry || !may_be_table(*entry)) continue;
        std::string why;
        const auto here = static_cast<std::uint32_t>(first + i) + lacks_blocks_;
        newest = read_table(here, why);
        if (newest) {
          if (behind_it) tell_superseded(*newest);
          return Done{};
        }
        if (entry->icb.file_type == file_type::kVirtualTable) {
          tell("virtual-table-lost", here, "a table does not count, an earlier one is looked for: " + why);
        }
      }
      behind = first;
      if (search_.progress &&
          !search_.progress({"looking for the virtual allocation table", end - stretch_.position - behind * block_bytes,
                             end - stretch_.position})) {
        return Error{ErrorCode::kCancelled, "cancelled while looking for the virtual allocation table"};
      }
    }
    return Done{};
  }

  void tell_superseded(VirtualTableState& table) {
    table.may_be_superseded = true;
    tell("virtual-table-superseded", table.block,
         "behind the newest table that can be read something was written or lost: this may be an earlier state",
         Severity::kLoss);  // what was added since has to be looked for
  }

  std::optional<VirtualTableState> read_table(std::uint32_t block, std::string& why) {
    NoEntry no_entry;
    const auto entry = entries_.read_block({block, physical_}, no_entry);
    if (!entry) {
      why = no_entry.why;
      return {};
    }
    if (!entry->doubts.empty()) {
      why = entry->doubts.front();
      return {};
    }
    if (!may_be_table(entry->entry)) {
      why = "it is another file";
      return {};
    }
    // Each entry was written for a block of its own (UDF 2.2.11): no table is longer than the disc has blocks.
    const std::uint64_t most_bytes = reader_.end_byte() / partitions_.block_bytes() * 4 + kSpareTableBytes;
    if (entry->entry.information_length > most_bytes) {
      why = "it says that it is longer than the disc has blocks";
      return {};
    }
    const Content content = entries_.content(*entry, most_bytes);
    RangeSet missing;
    bool suspect = false;
    const std::vector<std::uint8_t> bytes = entries_.read_content(content, most_bytes, missing, suspect);
    // What the form is told by must be there: the header in front (UDF 2.00), the end of the 1.50 form.
    const bool is_150 = entry->entry.icb.file_type == file_type::kUnspecified;
    const std::uint64_t size = bytes.size();
    const Range form =
        is_150 ? Range{size - std::min<std::uint64_t>(size, 36), size} : Range{0, std::min<std::uint64_t>(size, 152)};
    if (missing.intersects(form)) {
      why = "its head can't be read";
      return {};
    }
    const auto table = decode_virtual_table(bytes, entry->entry.icb.file_type);
    if (!table) {
      why = "its content is no table";
      return {};
    }
    VirtualTableState out;
    out.position = entry->position;
    out.block = block;
    out.previous = table->previous;
    out.files = table->files;
    out.directories = table->directories;
    out.min_read = table->min_read;
    out.recorded = entry->entry.modified;
    take_extension(entry->entry, out);
    out.entries.reserve(table->size());
    const auto base = static_cast<std::uint64_t>(table->entries.data() - bytes.data());
    for (std::size_t i = 0; i < table->size(); ++i) {
      const bool lost = !missing.empty() && missing.intersects({base + i * 4, base + i * 4 + 4});
      out.lost_entries += lost ? 1 : 0;
      out.entries.push_back(lost ? VirtualTable::kUnused : (*table)[i]);
    }
    if (out.lost_entries != 0) {
      findings_.add({Severity::kLoss, "virtual-table-damaged", "virtual allocation table", out.position / kSectorBytes,
                     "UDF 2.2.11",
                     fmt::format("{} of its {} entries can't be read; what they lead to is not located",
                                 out.lost_entries, out.entries.size())});
    }
    out.structures.push_back({StructureKind::kVirtualTable, View::kUdf, out.position, partitions_.block_bytes(),
                              kNoNode, "virtual allocation table"});
    for (const Extent& e : entries_.extents(content)) {
      if (!content.embedded && e.has_place()) {
        out.structures.push_back(
            {StructureKind::kVirtualTable, View::kUdf, e.position, e.bytes, kNoNode, "virtual allocation table"});
      }
    }
    return out;
  }

  /// UDF 1.50 keeps the counts in an attribute of the table's entry.
  static void take_extension(const FileEntry& entry, VirtualTableState& out) {
    AttributeReader attributes(entry.extended_attributes);
    while (const auto a = attributes.next()) {
      const auto use = decode_use_attribute(*a);
      const auto extension = use ? decode_vat_extension(*use) : std::nullopt;
      if (!extension || extension->verification_id != entry.unique_id) continue;
      out.files = extension->files;
      out.directories = extension->directories;
    }
  }

  ByteReader& reader_;
  const Partitions& partitions_;
  const VirtualTableSearch& search_;
  Findings& findings_;
  EntryReader entries_;
  bool behind_ = false;  // whether anything stands behind the block at hand
  std::uint16_t physical_;
  Partitions::Stretch stretch_;
  std::uint32_t lacks_blocks_;  // of the partition, before the image
};

}  // namespace

Result<std::vector<VirtualTableState>> find_virtual_tables(ByteReader& reader, const Partitions& partitions,
                                                           const VirtualTableSearch& search, Findings& findings) {
  const auto physical = partitions.under(search.virtual_reference);
  if (!physical || !partitions.physical(*physical)) return std::vector<VirtualTableState>{};
  return TableFinder(reader, partitions, search, findings).run();
}

int load_metadata(Partitions& partitions, EntryReader& entries, std::uint16_t reference, Findings& findings,
                  std::vector<Structure>& structures) {
  const PartitionMap map = partitions.map(reference);
  const auto physical = partitions.under(reference);
  if (!physical || !partitions.physical(*physical)) return 0;
  std::array<std::optional<MapFile>, 2> files;
  std::array<std::string, 2> why;
  const std::array<std::uint32_t, 2> blocks{map.metadata_block, map.mirror_block};
  for (std::size_t i = 0; i < 2; ++i) {
    if (blocks[i] == PartitionMap::kNoFile) continue;
    NoEntry no_entry;
    LongAd icb;
    icb.length_bytes = partitions.block_bytes();
    icb.location = {blocks[i], *physical};
    auto entry = entries.read(icb, no_entry);
    if (!entry || !entry->doubts.empty()) {
      why[i] = entry ? entry->doubts.front() : no_entry.why;
      findings.add({Severity::kDoubt, "metadata-file", i == 0 ? "metadata file" : "metadata mirror file",
                    no_entry.position ? std::optional(*no_entry.position / kSectorBytes) : std::nullopt, "UDF 2.2.13",
                    why[i] + "; the other one is used"});
      continue;
    }
    const Content content = entries.content(*entry);
    MapFile file;
    file.extents = entries.extents(content);
    for (Extent& e : file.extents) file.bytes += e.bytes;
    files[i] = std::move(file);
  }
  for (Structure& s : entries.take_structures()) {
    s.kind = StructureKind::kMetadataFile;
    s.label = "metadata file's entry";
    structures.push_back(std::move(s));
  }
  const bool mirrored = map.mirror_is_copy();
  std::string state = mirrored ? "with a mirror" : "without a copy of its data";
  if (!files[0] && !files[1]) {
    state = "neither the metadata file nor its mirror can be read";
    findings.add({Severity::kLoss, "metadata-lost", "metadata partition", std::nullopt, "UDF 2.2.13", state});
  } else if (!files[0]) {
    state += "; its own file entry is lost, the mirror's is used";
  } else if (!files[1]) {
    state += "; the mirror's file entry is lost";
  }
  partitions.set_state(reference, state);
  const MapFile main = files[0] ? *files[0] : files[1] ? *files[1] : MapFile{};
  // Without data of its own the mirror's entry names the same extents (UDF 2.2.13.1).
  const MapFile mirror = files[1] && mirrored ? *files[1] : files[0] ? *files[0] : main;
  partitions.set_metadata(reference, main, mirror);
  return (files[0] ? 1 : 0) + (files[1] || (files[0] && !mirrored) ? 1 : 0);
}

}  // namespace lacuna::udf

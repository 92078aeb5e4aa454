// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/reader.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "udf/decode/cs0.h"
#include "udf/file_sets.h"
#include "udf/map_files.h"
#include "udf/tree_reader.h"
#include "udf/volume_facts.h"
#include "udf/volume_search.h"

namespace lacuna::udf {
namespace {

/// All that the states of one volume share.
struct OpenVolume {
  OpenVolume(const Image& image, FoundVolume volume) : reader(image), found(std::move(volume)) {}

  ByteReader reader;
  FoundVolume found;
  std::vector<VirtualTableState> tables;  ///< Newest first; empty: no virtual partition, or none that can be read.
};

/// One state of one volume.
class UdfPart final : public SessionPart {
 public:
  UdfPart(const DiscOptions& options, std::shared_ptr<OpenVolume> volume, std::size_t table, std::size_t file_set_back)
      : options_(options), volume_(std::move(volume)), table_(table), file_set_back_(file_set_back) {
    start_lba = volume_->found.start_lba;
    source = volume_->found.source;
  }

  std::vector<View> views() const override { return {View::kUdf}; }

  /// Finds the root. Gives the number of file sets.
  std::size_t prepare() {
    const Found<LogicalVolume>& logical = logical_volume();
    partitions_.emplace(volume_->reader, volume_->found.descriptors, logical.descriptor, findings_);
    structures_ = partitions_->structures();
    if (const auto reference = partitions_->first_of(PartitionMapKind::kVirtual)) use_table(*reference);
    if (const auto reference = partitions_->first_of(PartitionMapKind::kMetadata)) {
      EntryReader entries(volume_->reader, *partitions_);
      load_metadata(*partitions_, entries, *reference, findings_, structures_);
    }
    file_sets_ = read_file_sets(volume_->reader, *partitions_, logical.descriptor.file_set, findings_, structures_);
    describe();
    return file_sets_.found.size();
  }

  Result<std::unique_ptr<SessionTree>> read() override {
    if (options_.view && *options_.view != View::kUdf) return std::unique_ptr<SessionTree>();
    TreeRequest request;
    request.options = &options_;
    request.write_once = partitions_->first_of(PartitionMapKind::kVirtual).has_value();
    const bool table_superseded = !volume_->tables.empty() && volume_->tables.front().may_be_superseded;
    const bool superseded = (table_superseded && table_ == 0) || (file_sets_.newest_lost && file_set_back_ == 0);
    request.evidence = superseded ? Evidence::kSession : Evidence::kTree;
    if (file_set_back_ < file_sets_.found.size()) {
      const FileSet& set = file_sets_.found[file_sets_.found.size() - 1 - file_set_back_].descriptor;
      request.root = set.root;
      request.system_streams = set.streams;
    }
    TreeCounts counts;
    auto tree = read_tree(volume_->reader, *partitions_, request, counts);
    if (!tree) return tree;
    for (Volume& v : volumes) {
      v.udf->named_streams = counts.named_streams;
      v.udf->deleted_names = counts.deleted_names;
    }
    (*tree)->findings.add(findings_);
    for (Structure& s : structures_) (*tree)->structures.push_back(std::move(s));
    return tree;
  }

  void set_earlier(std::uint64_t number) {
    state = number;
    source = SessionSource::kTable;
  }

 private:
  /// Several logical volumes are possible (3/8.8); UDF 2.2.4 allows one a volume set, so the first counts.
  const Found<LogicalVolume>& logical_volume() const { return volume_->found.descriptors.logical.front(); }

  void use_table(std::uint16_t reference) {
    if (volume_->tables.empty()) {
      partitions_->set_state(reference, "no virtual allocation table could be read");
      findings_.add({Severity::kLoss, "virtual-tables-lost", "virtual allocation table", std::nullopt, "UDF 2.2.11",
                     "no virtual allocation table could be found; what only it locates is not located"});
      return;
    }
    const VirtualTableState& table = volume_->tables[table_];
    partitions_->set_virtual_table(reference, table.entries);
    for (const Structure& s : table.structures) structures_.push_back(s);
    partitions_->set_state(
        reference, fmt::format("table at LBA {} with {} entries{}", table.position / kSectorBytes, table.entries.size(),
                               table.lost_entries != 0 ? fmt::format(", {} of them lost", table.lost_entries) : ""));
  }

  void describe() {
    const Found<LogicalVolume>& logical = logical_volume();
    const auto integrity = read_integrity(volume_->reader, volume_->found.descriptors.sector_bytes,
                                          logical.descriptor.integrity, findings_, structures_);
    Volume v = describe_volume(volume_->found, logical, *partitions_, integrity);
    // The maps are only ever looked at for structures when the integrity descriptor has the number.
    const auto free = free_by_space_map(volume_->reader, volume_->found, *partitions_, structures_);
    if (!v.udf->free_bytes) v.udf->free_bytes = free;
    if (!volume_->tables.empty()) {
      const VirtualTableState& table = volume_->tables[table_];
      v.udf->table_generation = static_cast<std::uint32_t>(volume_->tables.size() - table_);
      if (table.files) v.udf->files = table.files;
      if (table.directories) v.udf->directories = table.directories;
      if (table.recorded.known) v.modified = table.recorded;
      // UDF 2.2.11: on these the table stands for the integrity descriptor, which can't be written again.
      v.udf->closed.reset();
      v.udf->free_bytes.reset();
      if (table_ != 0) v.descriptor_lba = table.position / kSectorBytes;
    }
    volumes.push_back(std::move(v));
  }

  const DiscOptions& options_;
  std::shared_ptr<OpenVolume> volume_;
  std::size_t table_;          // index into tables
  std::size_t file_set_back_;  // how many before the one that counts
  std::optional<Partitions> partitions_;
  FileSets file_sets_;
  std::vector<Structure> structures_;
  Findings findings_;
};

/// The tables of a volume's session, which ends where the next one starts.
Result<Done> find_tables(DiscBuilder& builder, const DiscOptions& options, OpenVolume& volume, std::uint64_t end_lba) {
  const LogicalVolume& logical = volume.found.descriptors.logical.front().descriptor;
  Findings quiet;  // what the partitions have to say is said when a state is opened
  const Partitions partitions(volume.reader, volume.found.descriptors, logical, quiet);
  const auto reference = partitions.first_of(PartitionMapKind::kVirtual);
  if (!reference) return Done{};
  auto tables = find_virtual_tables(volume.reader, partitions, {*reference, end_lba * kSectorBytes, options.progress},
                                    builder.findings());
  if (!tables) return tables.error();
  volume.tables = std::move(*tables);
  return Done{};
}

}  // namespace

Result<SessionParts> find_udf(DiscBuilder& builder, const DiscOptions& options,
                              std::vector<std::uint64_t> session_starts, const Remains* remains) {
  static_cast<void>(remains);
  ByteReader reader(builder.image());
  auto volumes = find_volumes(reader, {std::move(session_starts), options.progress}, builder.findings());
  if (!volumes) return volumes.error();
  SessionParts parts;
  for (std::size_t i = 0; i < volumes->size(); ++i) {
    const std::uint64_t end_lba =
        i + 1 < volumes->size() ? (*volumes)[i + 1].start_lba : (reader.end_byte() + kSectorBytes - 1) / kSectorBytes;
    const auto volume = std::make_shared<OpenVolume>(builder.image(), std::move((*volumes)[i]));
    for (const Structure& s : volume->found.descriptors.structures) builder.structures().push_back(s);
    if (Result<Done> found = find_tables(builder, options, *volume, end_lba); !found) return found.error();
    std::uint64_t earlier = 0;
    for (std::size_t t = volume->tables.size(); t-- > 1;) {
      auto part = std::make_unique<UdfPart>(options, volume, t, 0);
      part->prepare();
      part->set_earlier(earlier++);
      parts.push_back(std::move(part));
    }
    auto current = std::make_unique<UdfPart>(options, volume, 0, 0);
    for (std::size_t back = current->prepare(); back-- > 1;) {
      auto part = std::make_unique<UdfPart>(options, volume, 0, back);
      part->prepare();
      part->set_earlier(earlier++);
      parts.push_back(std::move(part));
    }
    parts.push_back(std::move(current));
  }
  return parts;
}

}  // namespace lacuna::udf

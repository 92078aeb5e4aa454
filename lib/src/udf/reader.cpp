// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/reader.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "udf/decode/cs0.h"
#include "udf/file_sets.h"
#include "udf/map_files.h"
#include "udf/placing.h"
#include "udf/rebuild.h"
#include "udf/tree_reader.h"
#include "udf/volume_facts.h"
#include "udf/volume_search.h"
#include "udf/votes.h"

namespace lacuna::udf {
namespace {

/// All that the states of one volume share.
struct OpenVolume {
  OpenVolume(const Image& image, FoundVolume volume, const Remains* all_remains)
      : reader(image), found(std::move(volume)), remains(all_remains) {}

  ByteReader reader;
  FoundVolume found;
  const Remains* remains;                 ///< Null: nothing was looked for.
  std::uint64_t end_lba = 0;              ///< Behind its session.
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
    if (const auto reference = partitions_->first_of(PartitionMapKind::kSparable);
        reference && volume_->remains != nullptr && partitions_->lacks_sparing_table(*reference)) {
      static_cast<void>(place_moved(*partitions_, *reference, *volume_->remains, findings_));
    }
    if (const auto reference = partitions_->first_of(PartitionMapKind::kVirtual)) use_table(*reference);
    if (const auto reference = partitions_->first_of(PartitionMapKind::kMetadata)) use_metadata(*reference);
    file_sets_ = read_file_sets(volume_->reader, *partitions_, logical.descriptor.file_set, findings_, structures_);
    if (volume_->remains != nullptr) {
      add_scanned_file_sets(volume_->reader, *partitions_, *volume_->remains, file_sets_, findings_);
      if (file_sets_.found.empty() || file_sets_.newest_lost) find_lost_root();
    }
    describe();
    return file_sets_.found.size();
  }

  bool is_placed() const { return placed_; }
  /// By the newest table that can be read, though it may not be the newest that was written.
  void keep_to_table() { may_rebuild_ = false; }
  /// Whether the file set of a state before this one was found by scanning only.
  bool is_scanned(std::size_t file_set_back) const {
    return file_sets_.found[file_sets_.found.size() - 1 - file_set_back].scanned;
  }

  Result<std::unique_ptr<SessionTree>> read() override {
    if (options_.view && *options_.view != View::kUdf) return std::unique_ptr<SessionTree>();
    TreeRequest request;
    request.options = &options_;
    request.write_once = partitions_->first_of(PartitionMapKind::kVirtual).has_value();
    const bool table_superseded = !volume_->tables.empty() && volume_->tables.front().may_be_superseded;
    const bool superseded =
        (table_superseded && table_ == 0 && !placed_) || (file_sets_.newest_lost && file_set_back_ == 0);
    request.evidence = superseded ? Evidence::kSession : placed_ ? Evidence::kScan : Evidence::kTree;
    if (file_set_back_ < file_sets_.found.size()) {
      const FoundFileSet& set = file_sets_.found[file_sets_.found.size() - 1 - file_set_back_];
      request.root = set.descriptor.root;
      request.system_streams = set.descriptor.streams;
      if (set.scanned) request.evidence = Evidence::kScan;
    }
    if (volume_->found.descriptors.rebuilt) request.evidence = Evidence::kScan;
    std::optional<SpaceUse> space_use;
    if (is_current_ && volume_->remains != nullptr) {
      space_use.emplace(volume_->reader, volume_->found, *partitions_, *volume_->remains);
      request.adoption = {volume_->remains, &*space_use, {}};
      for (const FoundFileSet& set : file_sets_.found) {
        if (!(set.descriptor.root.location == request.root.location)) {
          request.adoption.other_roots.push_back(set.descriptor.root.location);
        }
      }
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

  void set_earlier(std::uint64_t number, SessionSource how = SessionSource::kTable) {
    state = number;
    source = how;
    is_current_ = false;
  }

 private:
  /// Several logical volumes are possible (3/8.8); UDF 2.2.4 allows one a volume set, so the first counts.
  const Found<LogicalVolume>& logical_volume() const { return volume_->found.descriptors.logical.front(); }

  void use_table(std::uint16_t reference) {
    if (table_ == 0 && may_rebuild_ && volume_->remains != nullptr) {
      placed_ = place_virtual(
          volume_->reader, *partitions_, reference, volume_->tables.empty() ? nullptr : &volume_->tables.front(),
          volume_->found.start_lba * kSectorBytes,
          std::min(volume_->end_lba * kSectorBytes, volume_->reader.end_byte()), *volume_->remains, findings_);
      if (placed_) return;
    }
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

  /// In place of the file set that counts, when it is lost.
  void find_lost_root() {
    std::vector<LbAddr> older;
    for (const FoundFileSet& set : file_sets_.found) older.push_back(set.descriptor.root.location);
    FoundFileSet made;
    made.descriptor.root = find_root(*partitions_, *volume_->remains, older);
    made.scanned = true;
    if (made.descriptor.root.none()) return;
    if (!older.empty()) {
      // What is not older than the newest file set that is left.
      EntryReader entries(volume_->reader, *partitions_);
      NoEntry why;
      const auto found = entries.read(made.descriptor.root, why);
      const auto known = entries.read(file_sets_.found.back().descriptor.root, why);
      if (!found || found->entry.unique_id != 0) return;
      if (known && found->entry.modified.seconds < known->entry.modified.seconds) return;
    }
    file_sets_.newest_lost = false;
    file_sets_.found.push_back(std::move(made));
  }

  void use_metadata(std::uint16_t reference) {
    EntryReader entries(volume_->reader, *partitions_);
    const int copies = load_metadata(*partitions_, entries, reference, findings_, structures_);
    if (volume_->remains == nullptr || copies == 2) return;
    if (copies == 1) {
      static_cast<void>(place_mirror(*partitions_, reference, *volume_->remains, findings_));
    } else {
      placed_ = place_metadata(volume_->reader, *partitions_, reference, *volume_->remains, findings_) || placed_;
    }
  }

  void describe() {
    const Found<LogicalVolume>& logical = logical_volume();
    const auto integrity = read_integrity(volume_->reader, volume_->found.descriptors, logical.descriptor.integrity,
                                          findings_, structures_);
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
  bool placed_ = false;  // a table was rebuilt from what it leads to
  bool is_current_ = true, may_rebuild_ = true;
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
  // Where the partition starts is beyond doubt when its table leads to structures that say they are what it says.
  if (volume.remains != nullptr && !volume.tables.empty() && !volume.found.descriptors.doubt.empty()) {
    const auto physical = partitions.under(*reference);
    const std::vector<std::uint32_t>& entries = volume.tables.front().entries;
    std::size_t agree = 0;
    for (const TaggedBlock& b : tagged_blocks(*volume.remains, partitions.block_bytes())) {
      agree +=
          physical && b.block < entries.size() && partitions.position_of({entries[b.block], *physical}) == b.position;
    }
    if (agree >= 2) volume.found.descriptors.doubt.clear();
  }
  return Done{};
}

}  // namespace

Result<SessionParts> find_udf(DiscBuilder& builder, const DiscOptions& options,
                              std::vector<std::uint64_t> session_starts, const Remains* remains) {
  ByteReader reader(builder.image());
  const bool has_others = !session_starts.empty();
  if (options.session_starts.empty()) {
    for (const std::uint64_t start : data_track_starts(builder.image())) session_starts.push_back(start);
  }
  auto volumes = find_volumes(reader, {std::move(session_starts), options.progress}, builder.findings());
  if (!volumes) return volumes.error();
  if (volumes->empty() && remains != nullptr && !remains->empty()) {
    Findings findings;
    auto rebuilt = rebuild_volume(reader, *remains, findings);
    if (rebuilt && has_others && rebuilt->descriptors.shift_bytes > 0) {
      builder.findings().add({Severity::kNote, "stored-image", "UDF volume",
                              static_cast<std::uint64_t>(rebuilt->descriptors.shift_bytes) / kSectorBytes,
                              "ECMA-167 3/7.2.8",
                              "descriptors count their sectors from here, behind the start of another volume: an image "
                              "stored on the disc, not part of it"});
    } else if (rebuilt) {
      builder.findings().add(findings);
      volumes->push_back(std::move(*rebuilt));
    }
  }
  SessionParts parts;
  for (std::size_t i = 0; i < volumes->size(); ++i) {
    const std::uint64_t end_lba =
        i + 1 < volumes->size() ? (*volumes)[i + 1].start_lba : (reader.end_byte() + kSectorBytes - 1) / kSectorBytes;
    const auto volume = std::make_shared<OpenVolume>(builder.image(), std::move((*volumes)[i]), remains);
    volume->end_lba = end_lba;
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
    const std::size_t sets = current->prepare();
    if (current->is_placed() && !volume->tables.empty() && volume->tables.front().may_be_superseded) {
      auto part = std::make_unique<UdfPart>(options, volume, 0, 0);
      part->keep_to_table();
      part->prepare();
      part->set_earlier(earlier++);
      parts.push_back(std::move(part));
    }
    for (std::size_t back = sets; back-- > 1;) {
      auto part = std::make_unique<UdfPart>(options, volume, 0, back);
      part->prepare();
      part->set_earlier(earlier++, current->is_scanned(back) ? SessionSource::kScan : SessionSource::kTable);
      parts.push_back(std::move(part));
    }
    parts.push_back(std::move(current));
  }
  return parts;
}

}  // namespace lacuna::udf

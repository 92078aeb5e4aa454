// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/reader.h"

#include <fmt/format.h>

#include <algorithm>
#include <future>

#include "base/text.h"
#include "disc/unite.h"
#include "iso9660/boot_entries.h"
#include "iso9660/decode/directory_record.h"
#include "iso9660/descriptor_sets.h"
#include "iso9660/path_tables.h"
#include "iso9660/tree_reader.h"

namespace lacuna::iso9660 {
namespace {

View view_of(const VolumeDescriptor& d) {
  if (is_enhanced(d)) return View::kEnhanced;
  return joliet_level(d) != 0 ? View::kJoliet : View::kIso9660;
}

Volume describe_volume(const VolumeDescriptor& d, std::uint64_t lba) {
  Volume v;
  v.view = view_of(d);
  v.descriptor_lba = lba;
  const auto text = v.view == View::kJoliet ? field_text_ucs2 : field_text;
  v.system_id = text(d.system_id);
  v.volume_id = text(d.volume_id);
  v.volume_set_id = text(d.volume_set_id);
  v.publisher_id = text(d.publisher_id);
  v.preparer_id = text(d.data_preparer_id);
  v.application_id = text(d.application_id);
  v.copyright_file = text(d.copyright_file_id);
  v.abstract_file = text(d.abstract_file_id);
  v.bibliographic_file = text(d.bibliographic_file_id);
  v.logical_block_bytes = d.block_bytes();
  v.space_bytes = std::uint64_t{d.space_size.value()} * d.block_bytes();
  v.set_size = d.set_size.value();
  v.sequence_number = d.sequence_number.value();
  v.joliet_level = joliet_level(d);
  v.xa = d.xa_marker;
  v.created = d.created;
  v.modified = d.modified;
  v.expires = d.expires;
  v.effective = d.effective;
  return v;
}

/// The descriptors of one session that trees hang on.
struct Views {
  std::optional<VolumeDescriptor> primary, joliet, enhanced;
};

class IsoPart final : public SessionPart {
 public:
  IsoPart(DiscBuilder& builder, const DiscOptions& options, DescriptorSet set)
      : builder_(builder), options_(options), set_(std::move(set)) {
    start_lba = set_.start_lba;
    source = set_.source;
    describe();
    choose_descriptors();
  }

  std::vector<View> views() const override {
    std::vector<View> views;
    if (views_.primary) views.push_back(View::kIso9660);
    if (views_.joliet) views.push_back(View::kJoliet);
    if (views_.enhanced) views.push_back(View::kEnhanced);
    return views;
  }

  /// Reads and unites the session's views.
  Result<std::unique_ptr<SessionTree>> read() override {
    auto out = std::make_unique<SessionTree>();
    std::vector<TreeRequest> requests = requests_for_views();
    if (requests.empty()) return std::unique_ptr<SessionTree>();
    std::vector<ReadTree> trees;
    for (Result<ReadTree>& read : read_all(requests)) {
      if (!read) return read.error();
      trees.push_back(std::move(*read));
    }
    ReadTree& base = trees.front();
    if (options_.view == View::kRockRidge && !base.rock_ridge) return std::unique_ptr<SessionTree>();
    out->best = requests.front().view;
    if (base.rock_ridge && out->best == View::kIso9660) out->best = View::kRockRidge;
    for (const TreeRequest& r : requests) out->best = std::min(out->best, r.view);
    mark_rock_ridge(base.rock_ridge);

    std::vector<bool> agreed(base.tree.size());
    for (std::size_t i = 1; i < trees.size(); ++i) unite_view(base, trees[i], agreed);
    for (auto& [id, doubt] : base.tentative_doubts) {
      if (!agreed[id]) base.tree.add_doubt(id, std::move(doubt));
    }
    choose_views(base.tree, out->best);
    count_elsewhere(base);
    out->findings.add(base.findings);
    out->structures = std::move(base.structures);
    add_path_tables(out->structures);
    out->lost_directories = std::move(base.lost_directories);
    out->tree = std::move(base.tree);
    add_boot_entries(builder_, set_, out->tree, kRoot);
    return out;
  }

 private:
  void describe() {
    for (const FoundDescriptor& f : set_.descriptors) {
      builder_.structures().push_back(
          {StructureKind::kVolumeDescriptor, View::kIso9660, f.lba * kSectorBytes, kSectorBytes, kNoNode, label_of(f)});
      if (f.state == SectorState::kSuspect) {
        finding(Severity::kDoubt, "descriptor-suspect", f.lba, "ECMA-119 8", "a volume descriptor in a suspect sector");
      }
      if (const auto d = decode_volume_descriptor(f.sector)) {
        volumes.push_back(describe_volume(*d, f.lba));
        check(*d, f);
      }
    }
  }

  static std::string label_of(const FoundDescriptor& f) {
    switch (f.header.type) {
      case descriptor_type::kBootRecord:
        return "boot record";
      case descriptor_type::kPrimary:
        return "primary volume descriptor";
      case descriptor_type::kSupplementary:
        return f.header.version == 2 ? "enhanced volume descriptor" : "supplementary volume descriptor";
      case descriptor_type::kPartition:
        return "volume partition descriptor";
      default:
        return "volume descriptor set terminator";
    }
  }

  void finding(Severity severity, const char* kind, std::uint64_t lba, const char* clause, std::string text) {
    builder_.findings().add({severity, kind, "volume descriptor", lba, clause, std::move(text)});
  }

  void check(const VolumeDescriptor& d, const FoundDescriptor& f) {
    using namespace descriptor_problem;
    if ((d.problems &
         (kSpaceSizeHalves | kSetSizeHalves | kSequenceHalves | kPathTableSizeHalves | kBlockSizeHalves)) != 0) {
      finding(Severity::kDoubt, "both-endian", f.lba, "ECMA-119 8.4",
              "halves of a number in " + label_of(f) + " disagree");
    }
    if ((d.problems & kBlockSize) != 0) {
      finding(Severity::kDoubt, "block-size", f.lba, "ECMA-119 8.4.12",
              "the logical block size is none of 512, 1024, 2048; 2048 is taken");
    }
    if ((d.problems & kRootRecord) != 0) {
      finding(Severity::kDoubt, "root-record", f.lba, "ECMA-119 8.4.18",
              "the root directory record is not as it should be");
    }
    if ((d.problems & (kCreationDate | kModificationDate | kExpirationDate | kEffectiveDate)) != 0) {
      finding(Severity::kNote, "volume-date", f.lba, "ECMA-119 8.4.26.1",
              "a date of " + label_of(f) + " is not a date");
    }
  }

  // A descriptor of the same kind that is recorded again is a copy (ECMA-119 6.7.1.1): the first whose root record can
  // be one counts, and one that differs from it is shown.
  void choose(std::optional<VolumeDescriptor>& chosen, const VolumeDescriptor& d, std::uint64_t lba) {
    if (chosen && (chosen->problems & descriptor_problem::kRootRecord) == 0) {
      if (root_position(*chosen) != root_position(d) && (d.problems & descriptor_problem::kRootRecord) == 0) {
        finding(Severity::kDoubt, "descriptors-differ", lba, "ECMA-119 6.7.1.1",
                "a second descriptor of the same kind names another root directory; the first is used");
      }
      return;
    }
    chosen = d;
  }

  void choose_descriptors() {
    for (const FoundDescriptor& f : set_.descriptors) {
      const auto d = decode_volume_descriptor(f.sector);
      if (!d) continue;
      if (d->type == descriptor_type::kPrimary) {
        choose(views_.primary, *d, f.lba);
      } else if (is_enhanced(*d)) {
        choose(views_.enhanced, *d, f.lba);
      } else if (joliet_level(*d) != 0) {
        choose(views_.joliet, *d, f.lba);
      } else {
        finding(Severity::kNote, "escape-sequences", f.lba, "ECMA-119 8.5.6",
                "a supplementary volume descriptor whose character set is not one of Joliet's; its tree is not read");
      }
    }
  }

  TreeRequest request(const VolumeDescriptor& d, View view, bool susp) const {
    return {&d, view, susp, options_.names_charset, {}};
  }

  std::vector<TreeRequest> requests_for_views() const {
    std::vector<TreeRequest> requests;
    const auto wants = [this](View v) { return !options_.view || *options_.view == v; };
    const bool primary = wants(View::kIso9660) || wants(View::kRockRidge);
    if (views_.primary && primary) {
      requests.push_back(request(*views_.primary, View::kIso9660, options_.view != View::kIso9660));
    }
    if (views_.joliet && wants(View::kJoliet)) requests.push_back(request(*views_.joliet, View::kJoliet, false));
    // Most enhanced descriptors name the primary's own root directory: the same records, nothing to unite.
    if (views_.enhanced && wants(View::kEnhanced)) {
      const bool same = views_.primary && root_position(*views_.primary) == root_position(*views_.enhanced);
      if (!same || requests.empty()) requests.push_back(request(*views_.enhanced, View::kEnhanced, false));
    }
    return requests;
  }

  /// Each tree on a thread of its own: they share nothing but the image.
  std::vector<Result<ReadTree>> read_all(std::vector<TreeRequest>& requests) const {
    requests.front().progress = options_.progress;  // called from one thread only
    std::vector<std::future<Result<ReadTree>>> others;
    for (std::size_t i = 1; i < requests.size(); ++i) {
      others.push_back(
          std::async(std::launch::async, [this, &r = requests[i]] { return read_tree(builder_.image(), r); }));
    }
    std::vector<Result<ReadTree>> trees;
    trees.push_back(read_tree(builder_.image(), requests.front()));
    for (auto& other : others) trees.push_back(other.get());
    return trees;
  }

  void mark_rock_ridge(bool rock_ridge) {
    for (Volume& v : volumes) {
      if (rock_ridge && v.view == View::kIso9660) v.view = View::kRockRidge;
    }
  }

  /// Joins `other` to base; a doubt about lost sections goes when the other view knows the file with the same length.
  void unite_view(ReadTree& base, ReadTree& other, std::vector<bool>& agreed) {
    const UniteResult united = unite(base.tree, other.tree, base.findings);
    agreed.resize(base.tree.size());
    for (NodeId id = 0; id < agreed.size(); ++id) agreed[id] = agreed[id] || united.agreed[id];
    for (auto& [id, doubt] : other.tentative_doubts) {
      const NodeId at = united.base_ids[id];
      if (at != kNoNode && !united.agreed[at]) base.tree.add_doubt(at, std::move(doubt));
    }
    take_over(base.structures, other.structures, united.base_ids);
    take_over(base.lost_directories, other.lost_directories, united.base_ids);
    base.findings.add(other.findings);
  }

  /// How many entries of each hurt directory the united tree has all the same.
  static void count_elsewhere(ReadTree& base) {
    if (base.lost_directories.empty()) return;
    std::vector<std::uint64_t> children(base.tree.size());
    for (NodeId id = 1; id < base.tree.size(); ++id) {
      const Node& n = base.tree.node(id);
      if (n.parent != kNoNode) ++children[n.parent];
    }
    for (LostDirectory& lost : base.lost_directories) {
      if (lost.node != kNoNode && !base.tree.node(lost.node).has(node_flag::kUnread)) {
        lost.entries_elsewhere = children[lost.node];
      }
    }
  }

  void add_path_tables(std::vector<Structure>& structures) const {
    for (const auto& [descriptor, view] :
         {std::pair{&views_.primary, View::kIso9660}, std::pair{&views_.joliet, View::kJoliet},
          std::pair{&views_.enhanced, View::kEnhanced}}) {
      if (!*descriptor) continue;
      for (Structure& s : path_table_structures(**descriptor, view)) structures.push_back(std::move(s));
    }
  }

  DiscBuilder& builder_;
  const DiscOptions& options_;
  const DescriptorSet set_;
  Views views_;
};

}  // namespace

Result<SessionParts> find_iso9660(DiscBuilder& builder, const DiscOptions& options, const Remains* /*remains*/) {
  const bool everywhere = options.all_sessions || options.session.has_value();
  auto sets =
      find_descriptor_sets(builder.image(), {options.session_starts, everywhere, options.progress}, builder.findings());
  if (!sets) return sets.error();
  SessionParts parts;
  for (DescriptorSet& set : *sets) parts.push_back(std::make_unique<IsoPart>(builder, options, std::move(set)));
  return parts;
}

}  // namespace lacuna::iso9660

// SPDX-License-Identifier: GPL-3.0-or-later
// Strategy: a queue of directories. The content of each is read whole, block by block from whichever copy can be read;
// then identifier after identifier is taken, each proven by its own tag. Behind one that is not, the next proven one is
// looked for (identifiers start at multiples of 4 bytes), so that damage costs its own names only.
#include "udf/tree_reader.h"

#include <fmt/format.h>

#include <algorithm>
#include <deque>
#include <unordered_set>

#include "udf/adopt.h"
#include "udf/decode/cs0.h"
#include "udf/decode/file_identifier.h"
#include "udf/directory_places.h"
#include "udf/icb_index.h"
#include "udf/mirrored_content.h"
#include "udf/node_maker.h"
#include "udf/stream_names.h"

namespace lacuna::udf {
namespace {

constexpr std::uint16_t kMaxDepth = 1024;
constexpr std::uint64_t kBudgetImages = 2;  // directories may cost this many times the image

struct Directory {
  NodeId node = kRoot;
  LongAd icb;
  LbAddr parent_icb;
  std::uint16_t depth = 0;
  bool deleted = false;
  bool doubted = false;  ///< Its own entry, or that of a directory above it, is not proven.
};

class TreeReader : private TreeHands {
 public:
  TreeReader(ByteReader& reader, const Partitions& partitions, const TreeRequest& request, TreeCounts& counts)
      : reader_(reader),
        image_(reader.image()),
        partitions_(partitions),
        request_(request),
        counts_(counts),
        out_(std::make_unique<SessionTree>()),
        entries_(reader, partitions),
        maker_(*out_, entries_, partitions, request.evidence, request.write_once),
        budget_bytes_(kBudgetImages * (reader.end_byte() - image_.first_lba() * kSectorBytes) + (1 << 20)) {}

  Result<std::unique_ptr<SessionTree>> run() {
    out_->best = View::kUdf;
    out_->tree.edit(kRoot).view = View::kUdf;
    out_->tree.edit(kRoot).evidence = request_.evidence;
    begin_root();
    if (!request_.system_streams.none()) add_streams(kRoot, "", request_.system_streams, true);
    if (Result<Done> done = read_added(); !done) return done.error();
    if (request_.adoption.remains != nullptr) {
      maker_.set_evidence(Evidence::kScan);
      const Result<Done> done = adopt(reader_, partitions_, entries_, request_.adoption, *out_, *this);
      if (!done) return done.error();
    }
    return std::move(out_);
  }

 private:
  // ---- what adoption asks for

  const IcbIndex& icbs() const override { return icbs_; }
  void take(NodeId directory, LbAddr icb, const FileIdentifier& fid, const TagCheck& check) override {
    places_ = DirectoryPlaces();
    LongAd own;
    own.location = icb;
    take(Directory{directory, own, icb, depth_of(directory), false, false}, fid, check);
  }
  NodeId add(NodeId parent, LbAddr parent_icb, const std::string& name, const LongAd& icb,
             std::uint16_t flags) override {
    NameFacts facts;
    facts.name = name;
    NoEntry why;
    const auto entry = entries_.read(icb, why);
    facts.directory = entry && entry->entry.is_directory();
    const NodeId id = entry ? maker_.add(parent, facts, *entry) : maker_.add_lost(parent, facts, why);
    out_->tree.edit(id).flags |= flags;
    keep_structures(id);
    reach(icb.location, id);
    if (facts.directory) enter({id, icb, parent_icb, depth_of(id), false, false}, *entry);
    return id;
  }
  NodeId add_lost(NodeId parent, const std::string& name, std::optional<LbAddr> icb) override {
    NameFacts facts;
    facts.name = name;
    facts.directory = true;
    NoEntry why{"its file entry is lost", icb ? partitions_.position_of(*icb) : std::nullopt};
    const NodeId id = maker_.add_lost(parent, facts, why);
    if (icb) reach(*icb, id);
    Directory d;
    d.node = id;
    lose_all(d, why);
    return id;
  }
  Result<Done> read_added() override {
    while (!queue_.empty()) {
      const Directory directory = queue_.front();
      queue_.pop_front();
      read(directory);
      if (request_.options->progress && ++directories_ % 64 == 0 &&
          !request_.options->progress({"reading directories", 0, 0})) {
        return Error{ErrorCode::kCancelled, "cancelled while reading directories"};
      }
    }
    return Done{};
  }

  void reach(LbAddr icb, NodeId id) {
    if (request_.adoption.remains == nullptr) return;
    if (id != kNoNode && out_->tree.node(id).is_directory()) {
      icbs_.reach_directory(icb, id);
    } else {
      icbs_.reach(icb);
    }
  }
  std::uint16_t depth_of(NodeId id) const {
    std::uint16_t depth = 0;
    while (id != kRoot && id != kNoNode && depth <= kMaxDepth) {
      id = out_->tree.node(id).parent;
      ++depth;
    }
    return depth;
  }

  void begin_root() {
    NoEntry why;
    if (!request_.root.none()) reach(request_.root.location, kRoot);
    auto entry = entries_.read(request_.root, why);
    keep_structures(kRoot);
    if (!entry || !entry->entry.is_directory()) {
      if (entry) why.why = "its file entry is not a directory's";
      lose_all({kRoot, request_.root, request_.root.location, 0, false, false}, why);
      return;
    }
    maker_.describe(kRoot, *entry);
    add_streams(kRoot, "", entry->entry.streams_icb, false);
    enter({kRoot, request_.root, request_.root.location, 0, false, !entry->doubts.empty()}, *entry);
  }

  // ---- one directory

  void enter(const Directory& d, const Entry& entry) {
    const std::uint64_t key = std::uint64_t{d.icb.location.partition} << 32 | d.icb.location.block;
    if (!started_.insert(key).second) {
      hurt(d.node, node_flag::kUnread);
      note(Severity::kDoubt, "directory-again", d.node, entry.position, "ECMA-167 4/8.6",
           "a directory that is already in the tree under another path; not entered a second time");
    } else if (d.depth > kMaxDepth) {
      hurt(d.node, node_flag::kUnread);
      note(Severity::kLoss, "directory-too-deep", d.node, entry.position, "UDF 2.3.4",
           fmt::format("more than {} levels of directories; not entered", kMaxDepth));
    } else {
      queue_.push_back(d);
    }
  }

  void read(const Directory& d) {
    // Read once more, so that those that wait take no memory.
    NoEntry why;
    const std::optional<Entry> again = entries_.read(d.icb, why);
    static_cast<void>(entries_.take_structures());
    if (!again) return lose_all(d, why);
    const Entry& entry = *again;
    const Content content = entries_.content(entry, budget_bytes_);
    keep_structures(d.node);
    places_ = DirectoryPlaces(content, entry, entries_.extents(content), partitions_.block_bytes());
    RangeSet missing;
    bool suspect = false;
    std::vector<std::uint8_t> bytes = entries_.read_content(content, budget_bytes_, missing, suspect);
    for (const std::string& doubt : content.doubts) out_->tree.add_doubt(d.node, doubt);
    if (bytes.size() < content.bytes) missing.add({bytes.size(), content.bytes});
    if (content.bytes > budget_bytes_) {
      note(Severity::kLoss, "directories-overlap", d.node, entry.position, "ECMA-167 4/8.6",
           "the directories claim more than twice the image; the rest is not read");
    }
    budget_bytes_ -= std::min<std::uint64_t>(budget_bytes_, bytes.size());
    for (const Extent& e : places_.extents()) {
      if (e.has_place() && !content.embedded) {
        out_->structures.push_back({StructureKind::kDirectory, View::kUdf, e.position, e.bytes, d.node, {}});
      }
    }
    if (suspect) {
      note(Severity::kDoubt, "directory-suspect", d.node, entry.position, "ECMA-167 4/8.6",
           "part of the directory stands in suspect sectors; each name in it proves itself");
    }
    lost_ = RangeSet{};
    misplaced_ = false;
    const std::uint64_t names = take_identifiers(d, content, bytes, missing);
    lost_ = lost_.united(missing);
    if (!lost_.empty() && !d.deleted) close_damaged(d, entry, content, names);
  }

  std::uint64_t take_identifiers(const Directory& d, const Content& content, std::vector<std::uint8_t>& bytes,
                                 const RangeSet& missing) {
    MirroredContent mirrored(entries_, partitions_, content, bytes);
    FidReader fids(bytes);
    std::uint64_t names = 0;
    for (;;) {
      const std::size_t at = fids.offset();
      const auto fid = fids.next();
      std::string why;
      if (fid && !(!missing.empty() && missing.intersects({at, fids.offset()}))) {
        const TagCheck check = check_tag(fid->raw, places_.block_of(at), fid->bytes);
        using namespace tag_problem;
        if ((check.problems & (kTooShort | kBlank | kChecksum | kCrc | kCrcBeyond)) == 0) {
          take(d, *fid, check);
          ++names;
          continue;
        }
        why = describe(check);
      }
      if (!fid && fids.stop() == FidReader::Stop::kEnd) break;
      // Never trust the length of what is not proven.
      const auto next = find_next_fid(bytes, at + 4);
      const Range stretch{at, next.value_or(bytes.size())};
      if (mirrored.mend(stretch)) {
        note(
            Severity::kDoubt, "identifier", d.node, places_.position_at(at), "UDF 2.2.13",
            fmt::format("{} bytes of the directory hold no file identifiers that count; the metadata mirror's are used",
                        stretch.length()));
        fids.resume_at(at);
        continue;
      }
      if (!fid && fids.stop() == FidReader::Stop::kZeros) {
        take_zeros(d, at, bytes.size(), missing);
        break;
      }
      if (!why.empty()) {
        note(Severity::kLoss, "identifier", d.node, places_.position_at(at), "ECMA-167 4/14.4",
             fmt::format("a file identifier at byte {} of the directory does not count: {}", at, why));
      }
      lost_.add(stretch);
      if (!next) break;
      fids.resume_at(*next);
    }
    return names;
  }

  /// Zeros where identifiers should follow: a writer's padding, or a hole.
  void take_zeros(const Directory& d, std::size_t at, std::size_t end, const RangeSet& missing) {
    if (!missing.empty() && missing.intersects({at, end})) return lost_.add({at, end});
    note(Severity::kDoubt, "directory-zeros", d.node, places_.position_at(at), "ECMA-167 4/8.6",
         fmt::format("the last {} bytes of the directory are zeros instead of file identifiers", end - at));
    if (!image_.has_map()) lost_.add({at, end});
  }

  void take(const Directory& d, const FileIdentifier& fid, const TagCheck& check) {
    if (fid.is_parent()) {
      if (!(fid.icb.location == d.parent_icb) && !d.deleted) {
        note(Severity::kDoubt, "directory-parent", d.node, places_.position_at(0), "ECMA-167 4/14.4.3",
             fmt::format("it names block {} as its parent's, not {}", fid.icb.location.block, d.parent_icb.block));
      }
      return;
    }
    NameFacts name;
    name.deleted = fid.is_deleted() || d.deleted;
    if (name.deleted) ++counts_.deleted_names;
    if (name.deleted && request_.adoption.remains != nullptr && !fid.icb.none()) {
      icbs_.reach_deleted(fid.icb.location);
    }
    if (name.deleted && !request_.options->deleted) return;
    append_cs0_name(name.name, fid.name);
    name.directory = fid.is_directory();
    name.hidden = fid.is_hidden();
    doubt_identifier(d, fid, check, name);
    if (name.name.empty()) {
      note(Severity::kDoubt, "identifier-unnamed", d.node, places_.position_at(0), "ECMA-167 4/8.6",
           "a file identifier without a name");
      name.name = fmt::format("unnamed-{}", fid.icb.location.block);
    }
    add(d, fid, name);
  }

  void doubt_identifier(const Directory& d, const FileIdentifier& fid, const TagCheck& check, NameFacts& name) {
    using namespace tag_problem;
    if (d.doubted) name.doubts.push_back("the file entry of a directory above it is not proven");
    if ((check.problems & kLocation) != 0) {
      name.doubts.push_back("its name's descriptor says that it belongs to another block");
      if (!misplaced_) {
        misplaced_ = true;
        note(Severity::kDoubt, "identifier-misplaced", d.node, places_.position_at(0), "ECMA-167 3/7.2.8",
             "file identifiers that say they stand elsewhere: " + describe(check));
      }
    }
    if ((check.problems & (kCrcNone | kCrcShort)) != 0 && !image_.has_map()) {
      name.doubts.push_back("its name's descriptor is not covered by a CRC");
    }
    if ((fid.problems & fid_problem::kCompression) != 0) {
      name.doubts.push_back("its name is in no form that UDF has");
    }
  }

  void add(const Directory& d, const FileIdentifier& fid, NameFacts& name) {
    NoEntry why;
    std::optional<Entry> entry;
    if (fid.icb.none()) {
      why.why = "its name leads to no file entry";
    } else {
      entry = entries_.read(fid.icb, why);
    }
    // From 2.00 on the identifier repeats part of the entry's unique id: of a deleted name's entry, whether it is still
    // its.
    if (entry && name.deleted && fid.icb.unique_id != 0 &&
        fid.icb.unique_id != static_cast<std::uint32_t>(entry->entry.unique_id)) {
      entry.reset();
      why.why = "its file entry now belongs to another file";
    } else if (entry && name.deleted && fid.icb.unique_id == 0) {
      name.doubts.push_back("deleted: nothing proves that its file entry is still its own");
    }
    if (!entry && name.deleted && name.directory) {
      // Nothing is left of it to be had: no loss.
      keep_structures(kNoNode);
      note(Severity::kNote, "deleted-directory", d.node, why.position, "ECMA-167 4/14.4.3",
           fmt::format("the deleted directory {} is gone: {}", name.name, why.why));
      return;
    }
    if (!entry) {
      const NodeId id = maker_.add_lost(d.node, name, why);
      if (!fid.icb.none()) reach(fid.icb.location, id);
      keep_structures(id);
      lose(d, fid, name, id, why);
      return;
    }
    const NodeId id = maker_.add(d.node, name, *entry);
    reach(fid.icb.location, id);
    keep_structures(id);
    if (entry->entry.is_extended) add_streams(d.node, name.name, entry->entry.streams_icb, false);
    if (out_->tree.node(id).is_directory()) {
      enter({id, fid.icb, d.icb.location, static_cast<std::uint16_t>(d.depth + 1), name.deleted,
             d.doubted || !entry->doubts.empty()},
            *entry);
    }
  }

  // ---- streams

  /// ECMA-167 4/9.2, UDF 3.3.5: a stream directory is one without a parent entry of its own.
  void add_streams(NodeId parent, const std::string& of, const LongAd& icb, bool system) {
    if (icb.none()) return;
    reach(icb.location, kNoNode);
    const std::string what = of.empty() ? "system stream directory" : "stream directory of " + of;
    NoEntry why;
    const auto entry = entries_.read(icb, why);
    if (!entry || !entry->entry.is_directory()) {
      keep_structures(kNoNode);
      out_->findings.add({Severity::kLoss, "streams-lost", what,
                          why.position ? std::optional(*why.position / kSectorBytes) : std::nullopt, "ECMA-167 4/9.2",
                          entry ? "its file entry is not a directory's" : "it can't be read: " + why.why});
      return;
    }
    const StreamNames streams = read_stream_names(entries_, partitions_, *entry, budget_bytes_);
    keep_structures(kNoNode);
    counts_.named_streams += streams.identifiers.size();
    for (const auto& raw : streams.identifiers) {
      const auto fid = decode_fid(raw);
      if (!fid) continue;
      reach(fid->icb.location, kNoNode);
      if (!request_.options->streams) continue;
      NameFacts name;
      name.name = of + ":";
      append_cs0_name(name.name, fid->name);
      name.stream = true;
      name.system = system || fid->has(fid_flag::kMetadata);
      NoEntry lost;
      const auto stream = entries_.read(fid->icb, lost);
      keep_structures(stream ? maker_.add(parent, name, *stream) : maker_.add_lost(parent, name, lost));
    }
    if (streams.damaged) {
      out_->findings.add({Severity::kLoss, "streams-lost", what, entry->position / kSectorBytes, "ECMA-167 4/9.2",
                          "part of it can't be read; streams may be missing"});
    }
  }

  // ---- losses

  void hurt(NodeId id, std::uint16_t flag) { out_->tree.edit(id).flags |= flag; }

  void keep_structures(NodeId id) {
    for (Structure& s : entries_.take_structures()) {
      s.node = id;
      out_->structures.push_back(std::move(s));
    }
  }

  void lose(const Directory& d, const FileIdentifier& fid, const NameFacts& name, NodeId id, const NoEntry& why) {
    note(name.deleted ? Severity::kNote : Severity::kLoss, "file-entry-lost", id, why.position, "ECMA-167 4/14.9",
         "its name is known, but " + why.why);
    if (!name.directory) return;
    lose_all({id, fid.icb, d.icb.location, static_cast<std::uint16_t>(d.depth + 1), name.deleted, false}, why);
  }

  /// A directory of which there is nothing but its name.
  void lose_all(const Directory& d, const NoEntry& why) {
    hurt(d.node, node_flag::kUnread);
    icbs_.lose_content(d.node);
    LostDirectory lost;
    lost.node = d.node;
    lost.view = View::kUdf;
    if (why.position) {
      lost.position = *why.position;
      lost.bytes = partitions_.block_bytes();
      lost.missing_lbas.add({lost.position / kSectorBytes, (lost.position + lost.bytes - 1) / kSectorBytes + 1});
    }
    lost.icb_position = why.position;
    out_->lost_directories.push_back(std::move(lost));
    if (d.node == kRoot) {
      note(Severity::kLoss, "root-lost", d.node, why.position, "ECMA-167 4/14.1.15",
           "the root directory can't be read: " + why.why);
    }
  }

  void close_damaged(const Directory& d, const Entry& entry, const Content& content, std::uint64_t names) {
    hurt(d.node, names == 0 ? node_flag::kUnread : node_flag::kIncomplete);
    if (content.cut) icbs_.lose_content(d.node);
    LostDirectory lost;
    lost.node = d.node;
    lost.view = View::kUdf;
    lost.position = places_.position_at(0).value_or(entry.position);
    lost.bytes = content.bytes;
    lost.icb_position = entry.position;
    lost.missing_lbas = places_.lbas_of(lost_);
    std::optional<std::uint64_t> first_lost;
    if (!lost.missing_lbas.empty()) first_lost = lost.missing_lbas.ranges().front().first * kSectorBytes;
    note(Severity::kLoss, "directory-unreadable", d.node, first_lost, "ECMA-167 4/8.6",
         fmt::format("{} of its {} bytes can't be read; names may be missing", lost_.total(), content.bytes));
    out_->lost_directories.push_back(std::move(lost));
  }

  void note(Severity severity, const char* kind, NodeId node, std::optional<std::uint64_t> position, const char* clause,
            std::string text) {
    std::string path;
    if (!out_->findings.full(kind)) path = node == kRoot ? "root directory" : out_->tree.path(node);
    std::optional<std::uint64_t> lba;
    if (position) lba = *position / kSectorBytes;
    out_->findings.add({severity, kind, std::move(path), lba, clause, std::move(text)});
  }

  ByteReader& reader_;
  const Image& image_;
  const Partitions& partitions_;
  const TreeRequest& request_;
  TreeCounts& counts_;
  std::unique_ptr<SessionTree> out_;
  EntryReader entries_;
  NodeMaker maker_;
  std::uint64_t budget_bytes_;
  std::uint64_t directories_ = 0;
  std::deque<Directory> queue_;
  std::unordered_set<std::uint64_t> started_;

  // The directory at hand.
  DirectoryPlaces places_;
  RangeSet lost_;  // bytes of its content
  bool misplaced_ = false;

  IcbIndex icbs_;  // for adoption only
};

}  // namespace

Result<std::unique_ptr<SessionTree>> read_tree(ByteReader& reader, const Partitions& partitions,
                                               const TreeRequest& request, TreeCounts& counts) {
  return TreeReader(reader, partitions, request, counts).run();
}

}  // namespace lacuna::udf

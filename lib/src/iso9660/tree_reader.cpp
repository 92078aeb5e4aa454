// SPDX-License-Identifier: GPL-3.0-or-later
// Strategy: a queue of directories, each read sector by sector. No record crosses a sector (ECMA-119 6.8.1.1), so a
// sector that is lost or garbled costs its own records only. A relocated directory (RRIP 4.1.5) is read from the place
// that its CL entry names; the records marked RE are put off until the end, and only those that no CL named are then
// read where they stand. When the queue is empty, what a scan found is adopted (see adoption.h), and read in turn.
#include "iso9660/tree_reader.h"

#include <fmt/format.h>

#include <algorithm>
#include <deque>
#include <optional>
#include <unordered_map>

#include "iso9660/node_maker.h"
#include "iso9660/path_tables.h"
#include "iso9660/record_checks.h"
#include "media/stretch.h"

namespace lacuna::iso9660 {
namespace {

constexpr std::uint64_t kChunkSectors = 32;
constexpr std::uint16_t kMaxDepth = 1024;  // ECMA-119 6.8.2.1 allows 8; Joliet and Rock Ridge any
// A directory that claims more than it has runs into other data: after so many sectors without a record it is over.
constexpr int kMaxBarrenSectors = 4;
// Distinct directories may claim overlapping extents; all together they may cost this many times the image.
constexpr std::uint64_t kBudgetImages = 2;

constexpr const char* kStrayDoubt =
    "its directory was found by scanning and no path table names it: it may be of an earlier use of the disc";

class TreeReader {
 public:
  TreeReader(const Image& image, const TreeRequest& request, NameDecoder names)
      : image_(image),
        request_(request),
        volume_(request.volume),
        context_{request.view,          volume_.block_bytes,
                 volume_.shift_bytes,   std::max(volume_.space_bytes, image.end_byte()),
                 volume_.set_size,      volume_.sequence_number,
                 image.raw() != nullptr},
        maker_(out_.tree, context_, std::move(names), out_.findings),
        attributes_(image, context_.block_bytes, context_.shift_bytes),
        sectors_(kChunkSectors * kSectorBytes),
        states_(kChunkSectors),
        budget_bytes_(kBudgetImages * (image.end_byte() - image.first_lba() * kSectorBytes) + (1 << 20)) {}

  Result<ReadTree> run() {
    out_.tree.edit(kRoot).view = request_.view;
    if (volume_.root) {
      const NodeMaker::Located where = maker_.locate(*volume_.root);
      out_.tree.edit(kRoot).modified = volume_.root->recorded;
      PendingDirectory root{kRoot, where.position, where.bytes};
      if (volume_.found) root.evidence = Evidence::kScan;
      queue_.push_back(root);
    } else {
      hurt(kRoot, node_flag::kUnread);
      root_start_lost_ = true;
    }
    do {
      while (!queue_.empty()) {
        const PendingDirectory directory = queue_.front();
        queue_.pop_front();
        if (!read(directory)) return Error{ErrorCode::kCancelled, "cancelled while reading directories"};
      }
      take_unclaimed_moved();
      if (queue_.empty()) adopt();
    } while (!queue_.empty());
    finish();
    return std::move(out_);
  }

 private:
  // ---- one directory

  bool read(PendingDirectory directory) {
    if (const auto moved = moved_bytes_.find(directory.position); moved != moved_bytes_.end()) {
      directory.bytes = std::max(directory.bytes, moved->second);  // a CL entry gives no length
    }
    if (!started_.add(directory.position, directory.node)) {
      hurt(directory.node, node_flag::kUnread);
      note(Severity::kDoubt, "directory-again", directory, "ECMA-119 6.8.2",
           "a directory that is already in the tree under another path; not entered a second time");
      return true;
    }
    if (directory.depth > kMaxDepth) {
      hurt(directory.node, node_flag::kUnread);
      note(Severity::kLoss, "directory-too-deep", directory, "ECMA-119 6.8.2.1",
           fmt::format("more than {} levels of directories; not entered", kMaxDepth));
      return true;
    }
    at_ = directory;
    missing_ = RangeSet{};
    before_disc_ = false;
    records_here_ = 0;
    barren_sectors_ = 0;
    after_gap_ = false;
    over_ = false;

    const std::uint64_t image_first = image_.first_lba() * kSectorBytes;
    std::uint64_t position = directory.position;
    if (lies_before_disc(position)) position = lies_before_disc(end_of(at_)) ? end_of(at_) : 0;
    if (position < image_first) position = std::min(image_first, position + directory.bytes);
    if (position != directory.position) lose(directory.position, position);
    while (!over_ && position < end_of(at_)) {
      const std::uint64_t end = std::min(end_of(at_), image_.end_byte());
      if (position >= end) {
        lose(position, end_of(at_));
        break;
      }
      position = read_chunk(position, end);
      if (!progress()) return false;
    }
    maker_.end_of_run(is_hurt());
    close(directory);
    return true;
  }

  bool is_hurt() const { return before_disc_ || !missing_.empty(); }
  static std::uint64_t end_of(const PendingDirectory& d) { return d.position + d.bytes; }

  /// Handles sectors from `position` on; gives where to go on.
  std::uint64_t read_chunk(std::uint64_t position, std::uint64_t end) {
    const std::uint64_t first_lba = position / kSectorBytes;
    const std::uint64_t count = std::min(kChunkSectors, (end - 1) / kSectorBytes + 1 - first_lba);
    if (count * kSectorBytes > budget_bytes_) {
      note(Severity::kLoss, "directories-overlap", at_, "ECMA-119 6.8",
           "the directories claim more than twice the image; the rest is not read");
      lose(position, end_of(at_));
      over_ = true;
      return end;
    }
    budget_bytes_ -= count * kSectorBytes;
    image_.read(first_lba, std::span(sectors_).first(count * kSectorBytes), std::span(states_).first(count));
    for (std::uint64_t i = 0; i < count && !over_; ++i) {
      const std::uint64_t sector_at = (first_lba + i) * kSectorBytes;
      const std::uint64_t from = std::max(position, sector_at);
      const std::uint64_t to = std::min({end_of(at_), sector_at + kSectorBytes, image_.end_byte()});
      if (to <= from) break;
      if (!has_bytes(states_[i])) {
        lose(from, to);
        continue;
      }
      read_sector(Bytes(sectors_).subspan(i * kSectorBytes + (from - sector_at), to - from), first_lba + i,
                  states_[i] == SectorState::kSuspect);
    }
    return (first_lba + count) * kSectorBytes;
  }

  void read_sector(Bytes sector, std::uint64_t lba, bool suspect) {
    const bool first = lba == at_.position / kSectorBytes && !at_.headless;
    if (sector[0] == 0 && records_here_ > 0) {
      // No record at all in a sector. Without a map that is also how a hole filled with zeros looks.
      if (!image_.has_map()) {
        note(Severity::kDoubt, "directory-blank-sector", at_, "ECMA-119 6.8.1.1",
             "a sector of the directory holds no record; without a map it may be a hole");
        lose(lba * kSectorBytes, (lba + 1) * kSectorBytes);
      }
      barren();
      return;
    }
    std::uint64_t records = 0;
    for (std::size_t at = 0; at < sector.size() && sector[at] != 0;) {
      const auto r = decode_directory_record(sector.subspan(at));
      if (!r || is_garbage(*r)) {
        const std::size_t next = next_record(sector, at);
        note(Severity::kLoss, "record-unreadable", at_, "ECMA-119 9.1",
             fmt::format("what stands at byte {} of LBA {} is not a directory record; {}", at, lba,
                         next < sector.size() ? "records begin again behind it" : "the rest of the sector is lost"));
        lose(lba * kSectorBytes, (lba + 1) * kSectorBytes);
        at = next;
        continue;
      }
      if (first && at == 0) {
        if (!begin(*r, lba)) return;
      } else if (r->is_self() && at == 0) {
        note(Severity::kDoubt, "directory-too-long", at_, "ECMA-119 9.1.4",
             fmt::format("another directory starts at LBA {}, inside this one's recorded length", lba));
        over_ = true;
        return;
      } else if (!r->is_parent() && !r->is_self()) {
        take(*r, lba, suspect);
      }
      ++records;
      after_gap_ = false;
      at += r->length;
    }
    records_here_ += records;
    if (records == 0) {
      if (first) {
        note(Severity::kLoss, "directory-blank", at_, "ECMA-119 6.8.2.2", "no directory record where it starts");
        lose(lba * kSectorBytes, (lba + 1) * kSectorBytes);
      }
      barren();
    } else {
      barren_sectors_ = 0;
    }
  }

  /// The first record of a directory, its own "." (ECMA-119 6.8.2.2). Gives false when this is no directory.
  bool begin(const DirectoryRecord& r, std::uint64_t lba) {
    if (!r.is_self()) {
      note(Severity::kLoss, "directory-not-here", at_, "ECMA-119 6.8.2.2",
           fmt::format("what stands at LBA {} is not the start of a directory", lba));
      lose(at_.position, std::min(end_of(at_), image_.end_byte()));
      over_ = true;
      return false;
    }
    const NodeMaker::Located self = maker_.locate(r);
    if (self.position != at_.position) {
      note(Severity::kDoubt, "directory-self", at_, "ECMA-119 6.8.2.2",
           fmt::format("its own record says that it lies at LBA {}", self.position / kSectorBytes));
      out_.tree.add_doubt(at_.node, "its own record names another place");
    } else if (self.bytes > at_.bytes && self.bytes <= context_.limit_bytes) {
      note(Severity::kDoubt, "directory-length", at_, "ECMA-119 9.1.4",
           fmt::format("its own record says {} bytes, its parent's {}; the longer is read", self.bytes, at_.bytes));
      at_.bytes = self.bytes;
    }
    if (at_.node == kRoot) {
      begin_root(r);
    } else if (out_.rock_ridge && out_.tree.node(at_.node).has(node_flag::kRelocated)) {
      attributes_.read(r.system_use, false, record_);
      maker_.take_attributes(at_.node, r, record_);
    }
    return true;
  }

  /// The root's "." tells whether the volume uses SUSP, and Rock Ridge (SUSP 5.3, 5.5).
  void begin_root(const DirectoryRecord& r) {
    if (request_.view != View::kIso9660 || !request_.susp) return;
    attributes_.set_susp(true);
    attributes_.read(r.system_use, true, record_);
    if (!record_.skip && record_.xa) {
      // On XA discs the attributes come first, though SUSP 5.3 wants SP at the very start.
      attributes_.set_skip(kXaBytes);
      attributes_.read(r.system_use, false, record_);
    }
    susp_known_ = true;
    out_.rock_ridge = record_.rock_ridge;
    if (record_.skip) {
      attributes_.set_skip(*record_.skip);
    } else if (record_.rock_ridge) {
      note(Severity::kNote, "susp-unmarked", at_, "IEEE P1281 5.3", "Rock Ridge without its SP entry");
    } else {
      attributes_.set_susp(false);
    }
    out_.tree.edit(kRoot).details = 0;
    if (record_.rock_ridge && record_.posix) out_.tree.edit_details(kRoot).mode = record_.posix->mode.value();
  }

  void take(const DirectoryRecord& r, std::uint64_t lba, bool suspect) {
    if (!susp_known_) infer_susp(r);
    attributes_.read(r.system_use, false, record_);
    if (record_.rock_ridge) out_.rock_ridge = true;
    const RecordPlace place{at_.node, lba, suspect, after_gap_, at_.evidence};
    const NodeId id = maker_.add(r, record_, place);
    if (r.ear_length != 0) add_ear(id, r);
    if (!out_.tree.node(id).is_directory()) {
      if (at_.doubt != nullptr) maker_.tentative_doubts().emplace_back(id, at_.doubt);
      if (at_.stray) maker_.tentative_doubts().emplace_back(id, kStrayDoubt);
      return;
    }
    const NodeMaker::Located where = locate_directory(r, id);
    PendingDirectory d{id, where.position, where.bytes, static_cast<std::uint16_t>(at_.depth + 1)};
    d.stray = at_.stray;
    d.evidence = at_.evidence;
    if (record_.child_link) {
      out_.tree.edit(id).flags |= node_flag::kRelocated;
      d.position = volume_.at(*record_.child_link);
      d.bytes = kSectorBytes;  // its own "." has the length
      queue_.push_back(d);
    } else if (record_.relocated) {
      moved_.push_back(d);
      moved_bytes_.emplace(d.position, d.bytes);
    } else {
      queue_.push_back(d);
    }
  }

  NodeMaker::Located locate_directory(const DirectoryRecord& r, NodeId id) {
    NodeMaker::Located where = maker_.locate(r);
    if (r.extent.agree() || where.one_sided) return where;
    const auto proven = proven_extent(image_, volume_, tables(), r);
    if (!proven) return where;
    where.position = volume_.at(std::uint64_t{*proven} + r.ear_length);
    const auto self = read_self_record(image_, where.position);
    if (self && !r.data_length.agree()) where.bytes = self->data_length.value();
    note(Severity::kNote, "extent-repaired", {id, where.position, where.bytes}, "ECMA-119 9.1.3",
         fmt::format("halves of its record disagree, block {} and {}; the directory stands at {}", r.extent.little,
                     r.extent.big, *proven));
    return where;
  }

  /// When the root's "." is lost, the records themselves tell whether they carry Rock Ridge.
  void infer_susp(const DirectoryRecord& r) {
    if (request_.view != View::kIso9660 || !request_.susp || !root_start_lost_) return;
    const auto skip = infer_skip(r.system_use);
    if (!skip) return;
    attributes_.set_susp(true);
    attributes_.set_skip(*skip);
    susp_known_ = true;
    note(Severity::kDoubt, "susp-inferred", at_, "IEEE P1281 5.3",
         "the root's own record is lost; Rock Ridge is taken from the other records");
  }

  void add_ear(NodeId id, const DirectoryRecord& r) {
    out_.structures.push_back({StructureKind::kExtendedAttributes,
                               request_.view,
                               std::uint64_t{r.extent.value()} * context_.block_bytes,
                               std::uint64_t{r.ear_length} * context_.block_bytes,
                               id,
                               {}});
  }

  // ---- losses

  void lose(std::uint64_t from, std::uint64_t to) {
    after_gap_ = true;
    maker_.end_of_run(true);
    if (lies_before_disc(from)) {
      from = 0;
      before_disc_ = true;
      if (lies_before_disc(to)) return;
    }
    if (from < to) missing_.add({from / kSectorBytes, (to - 1) / kSectorBytes + 1});
    if (at_.node == kRoot && from / kSectorBytes == at_.position / kSectorBytes) root_start_lost_ = true;
  }

  void barren() {
    if (++barren_sectors_ < kMaxBarrenSectors || end_of(at_) <= image_.end_byte()) return;
    over_ = true;  // a length beyond the image and nothing but other data: the length is wrong
  }

  void hurt(NodeId id, std::uint16_t flag) { out_.tree.edit(id).flags |= flag; }

  void close(const PendingDirectory& directory) {
    out_.directories.push_back(directory.position);
    if (!lies_before_disc(directory.position)) {
      out_.structures.push_back(
          {StructureKind::kDirectory, request_.view, directory.position, at_.bytes, directory.node, {}});
    }
    if (!is_hurt()) return;
    hurt(directory.node, records_here_ == 0 ? node_flag::kUnread : node_flag::kIncomplete);
    if (missing_.empty()) {
      note(Severity::kLoss, "directory-before-image", directory, "ECMA-119 6.8", "it lies before the image's start");
      return;
    }
    LostDirectory lost;
    lost.node = directory.node;
    lost.view = request_.view;
    lost.position = directory.position;
    lost.bytes = at_.bytes;
    lost.missing_lbas = missing_;
    out_.lost_directories.push_back(std::move(lost));
    note(Severity::kLoss, "directory-unreadable", directory, "ECMA-119 6.8",
         fmt::format("{} of its {} sectors can't be read", missing_.total(), (at_.bytes - 1) / kSectorBytes + 1));
  }

  void note(Severity severity, const char* kind, const PendingDirectory& d, const char* clause, std::string text) {
    std::string path;
    if (!out_.findings.full(kind)) path = d.node == kRoot ? "root directory" : out_.tree.path(d.node);
    std::optional<std::uint64_t> lba;
    if (!lies_before_disc(d.position)) lba = d.position / kSectorBytes;
    out_.findings.add({severity, kind, std::move(path), lba, clause, std::move(text)});
  }

  bool progress() {
    if (!request_.progress || ++directories_ % 64 != 0) return true;
    return request_.progress({"reading directories", 0, 0});
  }

  const PathTables& tables() {
    if (!tables_) tables_.emplace(image_, volume_, request_.scope.frames);
    return *tables_;
  }

  // ---- what a scan found

  void adopt() {
    if (request_.scope.frames == nullptr) return;
    if (!adoption_) {
      adoption_.emplace(image_, volume_, context_, request_.scope, tables(), out_.tree, maker_, out_.findings);
    }
    for (const PendingDirectory& d : adoption_->next(started_, out_.structures)) queue_.push_back(d);
  }

  // ---- the end

  void take_unclaimed_moved() {
    for (const PendingDirectory& d : moved_) {
      if (started_.at(d.position) == kNoNode) {
        queue_.push_back(d);
        unclaimed_.push_back(d);
      } else {
        out_.tree.unlink(d.node);
      }
    }
    moved_.clear();
  }

  void finish() {
    if (adoption_) adoption_->rehome(started_);
    // The directory that collects moved ones is marked RE itself by some writers: empty, it is not worth showing.
    std::vector<bool> has_children(out_.tree.size());
    for (NodeId id = 1; id < out_.tree.size(); ++id) {
      if (const NodeId parent = out_.tree.node(id).parent; parent != kNoNode) has_children[parent] = true;
    }
    for (const PendingDirectory& d : unclaimed_) {
      if (out_.tree.node(d.node).has(node_flag::kRelocated)) continue;
      if (!has_children[d.node] && !out_.tree.node(d.node).has(node_flag::kUnread | node_flag::kIncomplete)) {
        out_.tree.unlink(d.node);
      } else {
        note(Severity::kDoubt, "moved-unclaimed", d, "IEEE P1282 4.1.5",
             "a moved directory that no CL entry leads to; shown where it was moved to");
      }
    }
    maker_.doubt_one_sided();
    add_continuation_areas();
    if (!out_.lost_directories.empty()) {
      for (LostDirectory& lost : out_.lost_directories) lost.subdirectories = tables().subdirectories(lost.position);
    }
    out_.tentative_doubts = std::move(maker_.tentative_doubts());
  }

  void add_continuation_areas() {
    const RangeSet areas = attributes_.areas();
    for (const Range& r : areas.ranges()) {
      out_.structures.push_back(
          {StructureKind::kContinuationArea, View::kRockRidge, r.first, r.length(), kNoNode, "continuation area"});
    }
  }

  const Image& image_;
  const TreeRequest& request_;
  const VolumeBasis& volume_;
  TreeContext context_;
  ReadTree out_;
  NodeMaker maker_;
  AttributeReader attributes_;
  RecordAttributes record_;  // of the record at hand; kept for its memory
  bool susp_known_ = false;
  bool root_start_lost_ = false;

  std::deque<PendingDirectory> queue_;
  std::vector<PendingDirectory> moved_;                           // marked RE, not entered yet
  std::unordered_map<std::uint64_t, std::uint64_t> moved_bytes_;  // recorded lengths of those, by position
  std::vector<PendingDirectory> unclaimed_;                       // of those, the ones that no CL named
  StartedDirectories started_;
  std::optional<PathTables> tables_;
  std::optional<Adoption> adoption_;

  // The directory at hand.
  PendingDirectory at_;
  RangeSet missing_;          // LBAs
  bool before_disc_ = false;  // part of it would lie before the disc's first sector
  std::uint64_t records_here_ = 0;
  int barren_sectors_ = 0;
  bool after_gap_ = false;
  bool over_ = false;

  std::vector<std::uint8_t> sectors_;
  std::vector<SectorState> states_;
  std::uint64_t budget_bytes_;
  std::uint64_t directories_ = 0;
};

}  // namespace

Result<ReadTree> read_tree(const Image& image, const TreeRequest& request) {
  auto names = NameDecoder::open(request.names_charset);
  if (!names) return names.error();
  return TreeReader(image, request, std::move(*names)).run();
}

}  // namespace lacuna::iso9660

// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/node_maker.h"

#include <fmt/format.h>

#include <array>

#include "disc/orphans.h"
#include "iso9660/decode/identifier.h"
#include "iso9660/volume_basis.h"

namespace lacuna::iso9660 {
namespace {

// POSIX file types as RRIP 4.1.1 records them, octal.
constexpr std::uint32_t kTypeMask = 0170000;

NodeKind kind_of(const DirectoryRecord& r, const RecordAttributes& a) {
  if (r.is_directory() || a.child_link) return NodeKind::kDirectory;
  if (!a.posix) return a.symlink.empty() ? NodeKind::kFile : NodeKind::kSymlink;
  switch (a.posix->mode.value() & kTypeMask) {
    case 0140000:
      return NodeKind::kSocket;
    case 0120000:
      return NodeKind::kSymlink;
    case 0060000:
      return NodeKind::kBlockDevice;
    case 0020000:
      return NodeKind::kCharDevice;
    case 0010000:
      return NodeKind::kFifo;
    default:
      return NodeKind::kFile;
  }
}

/// "." and ".." as names would lead elsewhere in every path that holds them.
void escape_dots(std::string& name) {
  if (name == ".") name = "%2E";
  if (name == "..") name = "%2E%2E";
}

}  // namespace

void NodeMaker::note(Severity severity, const char* kind, NodeId id, std::uint64_t lba, const char* clause,
                     std::string text) {
  findings_.add({severity, kind, findings_.full(kind) ? std::string{} : tree_.path(id), lba, clause, std::move(text)});
}

NodeMaker::Located NodeMaker::locate(const DirectoryRecord& r) const {
  const std::uint64_t ear = std::uint64_t{r.ear_length} * context_.block_bytes;
  const auto at = [&](std::uint32_t block) {
    return std::uint64_t{block} * context_.block_bytes + ear + static_cast<std::uint64_t>(context_.shift_bytes);
  };
  Located where{at(r.extent.value()), r.data_length.value(), {}, false};
  if (r.extent.agree() && r.data_length.agree()) return where;
  const bool extent_one_sided = r.extent.little == 0 || r.extent.big == 0;
  const bool length_one_sided = r.data_length.little == 0 || r.data_length.big == 0;
  where.one_sided = (r.extent.agree() || extent_one_sided) && (r.data_length.agree() || length_one_sided);
  if (where.one_sided) return where;
  // Facts that disagree: take the halves that lie inside the disc, the little one first, and say so.
  const auto fits = [&](std::uint32_t block, std::uint32_t bytes) {
    return lies_before_disc(at(block)) || at(block) + bytes <= context_.limit_bytes;
  };
  for (const std::uint32_t block : {r.extent.value(), r.extent.big}) {
    for (const std::uint32_t bytes : {r.data_length.value(), r.data_length.big}) {
      if (!fits(block, bytes)) continue;
      where.position = at(block);
      where.bytes = bytes;
      where.doubt = fmt::format("the two halves of its directory record disagree: block {} and {}, {} and {} bytes",
                                r.extent.little, r.extent.big, r.data_length.little, r.data_length.big);
      return where;
    }
  }
  where.doubt = "the two halves of its directory record disagree and neither lies inside the disc";
  return where;
}

void NodeMaker::add_identifier(Node& n, Bytes id) {
  buffer_.clear();
  if (context_.view == View::kJoliet) {
    append_name_ucs2(buffer_, id);
  } else {
    names_.append(buffer_, id);
  }
  if (buffer_.empty()) buffer_ = "%00";  // an identifier of no bytes; 00 is what no other name can hold
  escape_dots(buffer_);
  n.names[static_cast<std::size_t>(context_.view)] = tree_.add_text(buffer_);
  n.view = context_.view;
}

NodeId NodeMaker::add_directory(NodeId parent, Bytes identifier, std::uint64_t position, std::uint64_t bytes,
                                Evidence evidence) {
  Node n;
  n.kind = NodeKind::kDirectory;
  n.size = bytes;
  n.evidence = evidence;
  if (identifier.empty()) {
    // By its own address, which is the same however much of the disc the image holds.
    const std::uint64_t own = position - static_cast<std::uint64_t>(context_.shift_bytes);
    n.names[static_cast<std::size_t>(context_.view)] = tree_.add_text(orphan_name(n.kind, own));
    n.view = context_.view;
    n.flags |= node_flag::kNameMade;
  } else {
    add_identifier(n, identifier);
  }
  return tree_.add_child(parent, n);
}

void NodeMaker::add_name(Node& n, const DirectoryRecord& r, const RecordAttributes& a) {
  Bytes id = r.identifier;
  // ISO 9660:1999 identifiers have no version, and directories have none anywhere (ECMA-119 7.6).
  if (!r.is_directory() && context_.view != View::kEnhanced) {
    const FileIdentifier parts = context_.view == View::kJoliet ? split_identifier_ucs2(id) : split_identifier(id);
    id = parts.base;
    n.version = parts.version;
  }
  add_identifier(n, id);
  if (context_.view != View::kIso9660 || !a.rock_ridge) return;
  TextRef& name = n.names[static_cast<std::size_t>(View::kRockRidge)];
  if (a.name.is_self() || a.name.is_parent() || a.name.text().empty()) {
    // Without NM the identifier is the name (RRIP 4.1.4); but a lost continuation area may have held it.
    if (a.lost_part) return;
    name = n.names[static_cast<std::size_t>(View::kIso9660)];
  } else {
    buffer_.clear();
    names_.append(buffer_, a.name.text());
    escape_dots(buffer_);
    name = tree_.add_text(buffer_);
  }
  n.view = View::kRockRidge;
}

NodeId NodeMaker::add(const DirectoryRecord& r, const RecordAttributes& a, const RecordPlace& place) {
  ++records_;
  const Located where = locate(r);
  if (open_ != kNoNode) {
    if (as_text(r.identifier) == open_identifier_ && !r.is_directory()) {
      const NodeId id = open_;
      add_section(id, r, where);
      doubt_record(id, r, a, place);
      if (!r.is_multi_extent()) open_ = kNoNode;
      return id;
    }
    end_of_run(false);
  }

  Node n;
  n.kind = kind_of(r, a);
  n.evidence = place.evidence;
  n.modified = r.recorded;
  if (a.times.stamps[FileTimes::kModified].known) n.modified = a.times.stamps[FileTimes::kModified];
  if ((r.flags & file_flag::kHidden) != 0) n.flags |= node_flag::kHidden;
  if ((r.flags & file_flag::kAssociated) != 0) n.flags |= node_flag::kAssociated;
  add_name(n, r, a);
  const NodeId id = tree_.add_child(place.directory, n);
  add_section(id, r, where);
  add_details(id, a);
  doubt_record(id, r, a, place);
  if (where.one_sided) one_sided_.push_back(id);
  if (r.is_multi_extent() && !r.is_directory()) {
    open_ = id;
    open_identifier_ = as_text(r.identifier);
  }
  return id;
}

void NodeMaker::end_of_run(bool because_lost) {
  if (open_ == kNoNode) return;
  tree_.add_doubt(open_, because_lost
                             ? "records behind its last known section are lost: further sections may be missing"
                             : "its last section is not marked as the last: further sections may be missing");
  note(Severity::kDoubt, "sections-open", open_, 0, "ECMA-119 9.1.6", "a multi-extent file without a final section");
  open_ = kNoNode;
}

void NodeMaker::add_section(NodeId id, const DirectoryRecord& r, const Located& where) {
  Node& n = tree_.edit(id);
  if (n.is_directory()) {
    n.size = where.bytes;
    return;
  }
  // Another view that has the file at this very place with this length proves which halves are right.
  if (!where.doubt.empty() && where.bytes != 0) tentative_.emplace_back(id, where.doubt);
  if (n.kind != NodeKind::kFile) return;  // links and devices have no content (RRIP 4.1); their extent is a dummy
  if (n.details != 0 && tree_.details(n).zisofs) {
    tree_.add_doubt(id, "stored compressed in several sections, which the format does not provide for");
  } else {
    n.size += where.bytes;
  }
  if (where.bytes == 0) return;
  Extent e{where.position, where.bytes, 0, 0};
  if (r.unit_size != 0 && r.gap_size != 0) {
    e.unit_bytes = r.unit_size * context_.block_bytes;
    e.gap_bytes = r.gap_size * context_.block_bytes;
    // In an interleaved file the EAR fills the first unit, and the data starts behind the gap (ECMA-119 6.4.3).
    if (r.ear_length != 0) {
      e.position = where.position - std::uint64_t{r.ear_length} * context_.block_bytes + e.unit_bytes + e.gap_bytes;
    }
  }
  add_extent(id, e);
}

/// What a shift puts before the disc's first byte is nowhere.
void NodeMaker::add_extent(NodeId id, Extent e) {
  if (lies_before_disc(e.position)) {
    const std::uint64_t before = 0 - e.position;
    const bool all = before >= e.bytes || e.unit_bytes != 0;
    const Extent nowhere{kNowhere, all ? e.bytes : before, 0, 0};
    tree_.add_extents(id, {&nowhere, 1});
    if (all) return;
    e = {0, e.bytes - before, 0, 0};
  }
  tree_.add_extents(id, {&e, 1});
}

void NodeMaker::add_details(NodeId id, const RecordAttributes& a) {
  if (a.xa) {
    NodeDetails& d = tree_.edit_details(id);
    d.xa_attributes = a.xa->attributes;
    d.xa_group = a.xa->group;
    d.xa_user = a.xa->user;
    d.xa_file_number = a.xa->file_number;
    if (context_.whole_sectors) {
      // settle_raw_files() looks at the sectors themselves.
    } else if ((a.xa->attributes & xa_attribute::kCdAudio) != 0) {
      tree_.add_doubt(id, "recorded as CD audio (XA): its data lies in an audio track, which this image may not hold");
    } else if ((a.xa->attributes & xa_attribute::kForm2) != 0) {
      tree_.add_doubt(id, "recorded in XA form 2 sectors of 2324 bytes, of which a plain image holds 2048");
    }
  }
  if (!a.rock_ridge) return;
  NodeDetails& d = tree_.edit_details(id);
  if (a.posix) {
    d.mode = a.posix->mode.value();
    d.links = a.posix->links.value();
    d.user = a.posix->user.value();
    d.group = a.posix->group.value();
    if (a.posix->serial) d.serial = a.posix->serial->value();
  }
  if (a.device) d.device = std::uint64_t{a.device->high.value()} << 32 | a.device->low.value();
  d.created = a.times.stamps[FileTimes::kCreated];
  d.accessed = a.times.stamps[FileTimes::kAccessed];
  d.attributes_changed = a.times.stamps[FileTimes::kAttributesChanged];
  if (tree_.node(id).kind == NodeKind::kSymlink) add_symlink(id, a);
  if (a.zisofs && tree_.node(id).kind == NodeKind::kFile) add_zisofs(id, a);
  if (a.sparse && a.sparse->plain_bytes != tree_.node(id).size) {
    tree_.add_doubt(id, fmt::format("recorded as a sparse file of {} bytes (RRIP SF); kept as stored, not expanded",
                                    a.sparse->plain_bytes));
  }
}

void NodeMaker::add_symlink(NodeId id, const RecordAttributes& a) {
  std::string target;
  const std::string_view raw = as_text(a.symlink.text());
  for (std::size_t at = 0; at <= raw.size();) {
    const std::size_t slash = std::min(raw.find('/', at), raw.size());
    names_.append(target, as_bytes(raw.substr(at, slash - at)));
    if (slash < raw.size()) target += '/';
    at = slash + 1;
  }
  tree_.edit(id).size = 0;
  const TextRef text = tree_.add_text(target);
  tree_.edit_details(id).symlink_target = text;
  if (!a.symlink.complete() || a.symlink.problems() != 0) tree_.add_doubt(id, "its link target is not complete");
}

void NodeMaker::add_zisofs(NodeId id, const RecordAttributes& a) {
  const Zisofs& z = a.zisofs->zisofs;
  if (z.algorithm != zisofs_algorithm::kZlib) {
    tree_.add_doubt(id, "stored compressed in a way that is not decoded here; kept as stored");
    return;
  }
  if (!a.zisofs->size_agrees) tree_.add_doubt(id, "the two halves of its decoded size disagree");
  tree_.edit_details(id).zisofs = z;
  tree_.edit(id).size = z.plain_bytes;
}

void NodeMaker::doubt_record(NodeId id, const DirectoryRecord& r, const RecordAttributes& a, const RecordPlace& place) {
  if (!r.extent.agree() || !r.data_length.agree()) {
    note(Severity::kDoubt, "both-endian", id, place.lba, r.extent.agree() ? "ECMA-119 9.1.4" : "ECMA-119 9.1.3",
         fmt::format("halves of a directory record disagree: block {} and {}, {} and {} bytes", r.extent.little,
                     r.extent.big, r.data_length.little, r.data_length.big));
  }
  if (!r.date_valid) {
    note(Severity::kNote, "record-date", id, place.lba, "ECMA-119 9.1.5", "the recording date is not a date");
  }
  if (place.suspect)
    tree_.add_doubt(id, fmt::format("its directory record lies in a suspect sector, LBA {}", place.lba));
  if (place.after_gap && !r.is_directory()) {
    tentative_.emplace_back(id, "the records before it are lost: earlier sections of it may be missing");
  }
  if (a.lost_part) {
    tree_.add_doubt(id, "attributes of it in a continuation area are lost");
    note(Severity::kLoss, "attributes-lost", id, place.lba, "IEEE P1281 5.1", "a continuation area can't be read");
  }
  if (a.malformed) {
    note(Severity::kDoubt, "attributes-malformed", id, place.lba, "IEEE P1281 4.1",
         "system use entries of a length that can't be, or a loop of continuation areas");
  }
  if (context_.set_size > 1 && r.data_length.value() != 0 && !r.is_directory()) {
    const std::uint16_t volume = r.sequence.value();
    if (volume != context_.sequence_number && volume >= 1 && volume <= context_.set_size) {
      tree_.edit(id).flags |= node_flag::kUnlocated;
      tree_.add_doubt(
          id, fmt::format("it lies on volume {} of its set; this is volume {}", volume, context_.sequence_number));
    }
  }
}

void NodeMaker::doubt_one_sided() {
  const std::uint64_t count = one_sided_.size();
  if (count == 0) return;
  const bool habit = count * 10 >= records_ * 9 && records_ > 1;
  findings_.add({habit ? Severity::kNote : Severity::kDoubt, "one-sided", std::string(to_string(context_.view)),
                 std::nullopt, "ECMA-119 7.3.3",
                 fmt::format("{} of {} directory records fill in one half of their both-endian numbers only{}", count,
                             records_, habit ? ": this writer's habit" : "")});
  if (habit) return;
  for (const NodeId id : one_sided_) {
    tree_.add_doubt(id, "its directory record has its place or length in one byte order only");
  }
}

void NodeMaker::take_attributes(NodeId id, const DirectoryRecord& r, const RecordAttributes& a) {
  Node& n = tree_.edit(id);
  n.modified = a.times.stamps[FileTimes::kModified].known ? a.times.stamps[FileTimes::kModified] : r.recorded;
  n.size = r.data_length.value();
  add_details(id, a);
}

}  // namespace lacuna::iso9660

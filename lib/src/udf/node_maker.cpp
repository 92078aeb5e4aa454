// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/node_maker.h"

#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>

#include "udf/decode/extended_attributes.h"
#include "udf/decode/path_components.h"

namespace lacuna::udf {
namespace {

constexpr std::uint64_t kMaxSymlinkBytes = 65536;
constexpr std::uint64_t kMaxAttributeBytes = std::uint64_t{1} << 20;

struct Kind {
  NodeKind kind;
  std::uint32_t mode;
};

/// 4/14.6.6, UDF 2.3.5.2.
Kind kind_of(std::uint8_t type) {
  switch (type) {
    case file_type::kDirectory:
    case file_type::kStreamDirectory:
      return {NodeKind::kDirectory, S_IFDIR};
    case file_type::kBlockDevice:
      return {NodeKind::kBlockDevice, S_IFBLK};
    case file_type::kCharacterDevice:
      return {NodeKind::kCharDevice, S_IFCHR};
    case file_type::kFifo:
      return {NodeKind::kFifo, S_IFIFO};
    case file_type::kSocket:
      return {NodeKind::kSocket, S_IFSOCK};
    case file_type::kSymbolicLink:
      return {NodeKind::kSymlink, S_IFLNK};
    default:
      return {NodeKind::kFile, S_IFREG};
  }
}

bool is_user_type(std::uint8_t type) {
  return type == file_type::kUnspecified || (type >= file_type::kDirectory && type <= file_type::kCharacterDevice) ||
         type == file_type::kFifo || type == file_type::kSocket || type == file_type::kSymbolicLink ||
         type == file_type::kStreamDirectory || type == file_type::kRealTime;
}

}  // namespace

NodeId NodeMaker::add_node(NodeId parent, const NameFacts& name, Node n) {
  n.view = View::kUdf;
  n.evidence = evidence_;
  n.names[static_cast<std::size_t>(View::kUdf)] = out_.tree.add_text(name.name);
  if (name.hidden) n.flags |= node_flag::kHidden;
  if (name.deleted) n.flags |= node_flag::kDeleted;
  if (name.stream) n.flags |= node_flag::kStream;
  if (name.system) n.flags |= node_flag::kSystem;
  const NodeId id = out_.tree.add_child(parent, n);
  for (const std::string& doubt : name.doubts) out_.tree.add_doubt(id, doubt);
  return id;
}

NodeId NodeMaker::add_lost(NodeId parent, const NameFacts& name, const NoEntry& why) {
  Node n;
  n.kind = name.directory ? NodeKind::kDirectory : NodeKind::kFile;
  n.flags = name.directory ? node_flag::kUnread : node_flag::kUnlocated;
  const NodeId id = add_node(parent, name, n);
  out_.tree.add_doubt(id, why.why);
  return id;
}

NodeId NodeMaker::add(NodeId parent, const NameFacts& name, const Entry& entry) {
  Node n;
  n.kind = kind_of(entry.entry.icb.file_type).kind;
  const NodeId id = add_node(parent, name, n);
  describe(id, entry);
  if ((n.kind == NodeKind::kDirectory) != name.directory && !name.stream) {
    out_.tree.add_doubt(id, "its name and its file entry disagree on whether it is a directory");
  }
  if (!is_user_type(entry.entry.icb.file_type)) {
    out_.tree.add_doubt(
        id, fmt::format("its file entry is of type {}, which is none of a file's", entry.entry.icb.file_type));
  }
  // Wherever blocks can be written again, those of a deleted file may have been.
  if (name.deleted && !write_once_) {
    out_.tree.add_doubt(id, "deleted: its blocks may have been used again");
  }
  if (n.kind != NodeKind::kDirectory) take_content(id, entry);
  return id;
}

void NodeMaker::describe(NodeId id, const Entry& entry) {
  const FileEntry& e = entry.entry;
  Node& n = out_.tree.edit(id);
  n.size = e.information_length;
  n.modified = e.modified;
  if (e.icb.has(icb_flag::kSystem)) n.flags |= node_flag::kSystem;
  NodeDetails& details = out_.tree.edit_details(id);
  details.mode = kind_of(e.icb.file_type).mode | posix_mode(e);
  details.links = e.link_count;
  details.user = e.uid == FileEntry::kNoId ? 0 : e.uid;
  details.group = e.gid == FileEntry::kNoId ? 0 : e.gid;
  details.serial = e.unique_id;
  details.created = e.created;
  details.accessed = e.accessed;
  details.attributes_changed = e.attributes_changed;
  take_attributes(entry, details);
  for (const std::string& doubt : entry.doubts) out_.tree.add_doubt(id, doubt);
  if (entry.suspect) out_.tree.add_doubt(id, "its file entry stands in a suspect sector");
}

void NodeMaker::take_attributes(const Entry& entry, NodeDetails& details) {
  take_attribute_space(entry.entry.extended_attributes, details);
  if (entry.entry.attributes_icb.none()) return;
  NoEntry why_not;
  const auto outside = entries_.read(entry.entry.attributes_icb, why_not);
  if (!outside) {
    out_.findings.add({Severity::kNote, "attributes-lost", "extended attributes",
                       why_not.position ? std::optional(*why_not.position / kSectorBytes) : std::nullopt,
                       "ECMA-167 4/9.1", "extended attributes can't be read: " + why_not.why});
    return;
  }
  RangeSet missing;
  bool suspect = false;
  const auto space =
      entries_.read_content(entries_.content(*outside, kMaxAttributeBytes), kMaxAttributeBytes, missing, suspect);
  if (missing.empty()) take_attribute_space(space, details);
}

void NodeMaker::take_attribute_space(Bytes space, NodeDetails& details) {
  AttributeReader attributes(space);
  while (const auto a = attributes.next()) {
    if (const auto times = decode_file_times(*a); times && times->created.known && !details.created.known) {
      details.created = times->created;
    } else if (const auto device = decode_device_specification(*a)) {
      details.device = std::uint64_t{device->major_number} << 32 | device->minor_number;
    }
  }
}

void NodeMaker::take_content(NodeId id, const Entry& entry) {
  const Content content = entries_.content(entry);
  for (const std::string& doubt : content.doubts) out_.tree.add_doubt(id, doubt);
  if (out_.tree.node(id).kind == NodeKind::kSymlink) return take_symlink(id, content);
  if (out_.tree.node(id).kind != NodeKind::kFile) return;
  const std::string& partition_doubt = partitions_.doubt(entry.address, entry.position);
  if (!partition_doubt.empty()) out_.tree.add_doubt(id, partition_doubt);
  if (entry.entry.icb.has(icb_flag::kTransformed)) {
    out_.tree.add_doubt(id, "its content was transformed when it was recorded, in a way that is not known");
  }
  const std::vector<Extent> extents = entries_.extents(content);
  out_.tree.add_extents(id, extents);
}

void NodeMaker::take_symlink(NodeId id, const Content& content) {
  RangeSet missing;
  bool suspect = false;
  const auto path = entries_.read_content(content, kMaxSymlinkBytes, missing, suspect);
  if (!missing.empty() || content.bytes > kMaxSymlinkBytes) {
    out_.tree.edit(id).flags |= node_flag::kUnlocated;
    out_.tree.add_doubt(id, "where the symbolic link leads to can't be read");
    return;
  }
  const SymlinkTarget target = decode_symlink_target(path);
  out_.tree.edit_details(id).symlink_target = out_.tree.add_text(target.path);
  using namespace path_problem;
  if ((target.problems & (kOverrun | kReserved | kRootInside | kEmptyName | kCompression | kEmpty)) != 0) {
    out_.tree.add_doubt(id, "the target of the symbolic link is not recorded as it should be");
  }
  if (suspect) out_.tree.add_doubt(id, "the target of the symbolic link stands in a suspect sector");
}

}  // namespace lacuna::udf

// SPDX-License-Identifier: GPL-3.0-or-later
#include "mounted_disc.h"

#include <fmt/format.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <limits>
#include <utility>

namespace lacuna::tool {
namespace {

constexpr std::size_t kLongestName = 255;            // Bytes; NAME_MAX of Linux.
constexpr std::size_t kLongestAttribute = 60 << 10;  // Bytes; Linux takes 64 KiB of one (XATTR_SIZE_MAX).

// Rights as people want them in a copy; that nobody can write here, the kernel sees to.
mode_t mode_of(NodeKind kind) {
  switch (kind) {
    case NodeKind::kDirectory:
      return S_IFDIR | 0755;
    case NodeKind::kFile:
      return S_IFREG | 0644;
    case NodeKind::kSymlink:
      return S_IFLNK | 0777;
    case NodeKind::kBlockDevice:
      return S_IFBLK | 0644;
    case NodeKind::kCharDevice:
      return S_IFCHR | 0644;
    case NodeKind::kFifo:
      return S_IFIFO | 0644;
    case NodeKind::kSocket:
      return S_IFSOCK | 0644;
  }
  return S_IFREG | 0644;
}

timespec spec_of(const Timestamp& t) {
  timespec out{};
  if (t.known) {
    out.tv_sec = static_cast<time_t>(t.seconds);
    out.tv_nsec = t.nanoseconds;
  }
  return out;
}

/// Lines of an attribute. A list that is too long ends in a line that says so.
class Lines {
 public:
  bool add(std::string_view line) {
    if (full_) return false;
    full_ = text_.size() + line.size() > kLongestAttribute;
    if (!text_.empty()) text_ += '\n';
    text_ += full_ ? "..." : line;
    return !full_;
  }
  std::string text() && { return std::move(text_); }

 private:
  std::string text_;
  bool full_ = false;
};

// What is known of a node, by the name of the attribute. An empty text: the node has no such attribute.
struct Facts {
  const Disc& disc;
  const Verdicts& verdicts;
  NodeId id;

  const Node& node() const { return disc.tree().node(id); }
  const Verdict& verdict() const { return verdicts.of(id); }
};

std::string state(const Facts& f) { return std::string(to_string(f.verdict().state)); }
std::string basis(const Facts& f) { return f.node().is_directory() ? "" : std::string(to_string(f.verdict().basis)); }
std::string evidence(const Facts& f) { return f.id == kRoot ? "" : std::string(to_string(f.node().evidence)); }
std::string view(const Facts& f) { return f.id == kRoot ? "" : std::string(to_string(f.node().view)); }
std::string path(const Facts& f) { return f.disc.tree().path(f.id); }
std::string missing_bytes(const Facts& f) {
  return f.node().is_directory() ? "" : std::to_string(f.verdict().missing_bytes);
}
std::string gaps(const Facts& f) {
  Lines lines;
  for (const Gap& gap : f.verdicts.gaps(f.verdict())) {
    if (!lines.add(fmt::format("{} {} {}", gap.offset, gap.length, to_string(gap.state)))) break;
  }
  return std::move(lines).text();
}
std::string extents(const Facts& f) {
  Lines lines;
  if (f.node().has(node_flag::kUnlocated)) return {};
  for (const Extent& e : f.disc.tree().extents(f.node())) {
    const std::string place = e.has_place()            ? std::to_string(e.position / kSectorBytes)
                              : e.position == kNowhere ? "nowhere"
                                                       : "zeros";
    if (!lines.add(fmt::format("{} {}", place, e.bytes))) break;
  }
  return std::move(lines).text();
}
std::string doubts(const Facts& f) {
  Lines lines;
  if (f.node().is_directory()) return {};
  for (const std::string& doubt : f.verdicts.doubts(f.disc, f.id)) {
    if (!lines.add(doubt)) break;
  }
  return std::move(lines).text();
}
/// Of the whole disc: how many files have which state.
std::string files(const Facts& f) {
  Lines lines;
  if (f.id != kRoot) return {};
  for (std::size_t state = 0; state < kFileStateCount; ++state) {
    const std::uint64_t count = f.verdicts.counts()[state].files;
    if (count != 0) lines.add(fmt::format("{} {}", to_string(static_cast<FileState>(state)), count));
  }
  return std::move(lines).text();
}
std::string volume_id(const Facts& f) {
  const Volume* volume = f.id == kRoot ? f.disc.main_volume() : nullptr;
  return volume == nullptr ? "" : volume->volume_id;
}
std::string image(const Facts& f) { return f.id == kRoot ? f.disc.image().name() : ""; }

struct NamedFact {
  std::string_view name;
  std::string (*text)(const Facts&);
};
constexpr std::array<NamedFact, 12> kFacts{{{"user.lacuna.state", state},
                                            {"user.lacuna.basis", basis},
                                            {"user.lacuna.evidence", evidence},
                                            {"user.lacuna.view", view},
                                            {"user.lacuna.path", path},
                                            {"user.lacuna.missing_bytes", missing_bytes},
                                            {"user.lacuna.gaps", gaps},
                                            {"user.lacuna.extents", extents},
                                            {"user.lacuna.doubts", doubts},
                                            {"user.lacuna.files", files},
                                            {"user.lacuna.volume_id", volume_id},
                                            {"user.lacuna.image", image}}};

}  // namespace

MountedFile::MountedFile(const Disc& disc, NodeId file, FileState state)
    : reader_(disc, file), nothing_is_there_(state == FileState::kLost || state == FileState::kUnlocated) {}

MountedFile::Got MountedFile::read(std::uint64_t offset, std::span<std::uint8_t> out, bool all_or_none) {
  const std::lock_guard lock(turn_);
  if (offset >= reader_.size() || out.empty()) return {};
  if (nothing_is_there_) return {0, EIO};
  gaps_.clear();
  const std::size_t got = reader_.read(offset, out, gaps_);
  const auto missing = std::ranges::find_if(gaps_, [](const Gap& gap) { return !has_bytes(gap.state); });
  if (missing == gaps_.end()) return {got, 0};
  if (all_or_none || missing->offset <= offset) return {0, EIO};
  return {static_cast<std::size_t>(missing->offset - offset), 0};
}

MountedDisc::MountedDisc(const Disc& disc, const Verdicts& verdicts)
    : disc_(disc), verdicts_(verdicts), user_(::getuid()), group_(::getgid()) {
  const Tree& tree = disc.tree();
  children_.reserve(tree.size());
  first_child_.reserve(tree.size() + 1);
  for (NodeId id = 0; id < tree.size(); ++id) {
    const auto first = static_cast<std::ptrdiff_t>(children_.size());
    first_child_.push_back(static_cast<std::uint32_t>(first));
    for (NodeId child = tree.node(id).first_child; child != kNoNode; child = tree.node(child).next_sibling) {
      children_.push_back(child);
      if (const std::string_view full = tree.name(tree.node(child)); full.size() > kLongestName) {
        std::string mark = fmt::format("~{}", child);
        std::size_t cut = kLongestName - mark.size();
        while (cut != 0 && (static_cast<unsigned char>(full[cut]) & 0xC0U) == 0x80U) --cut;  // Not within a character.
        short_names_.emplace(child, std::string(full.substr(0, cut)) + mark);
      }
    }
    std::sort(children_.begin() + first, children_.end(), [&](NodeId a, NodeId b) { return name(a) < name(b); });
  }
  first_child_.push_back(static_cast<std::uint32_t>(children_.size()));
}

std::span<const NodeId> MountedDisc::children(NodeId folder) const {
  return std::span(children_).subspan(first_child_[folder], first_child_[folder + 1] - first_child_[folder]);
}

std::optional<NodeId> MountedDisc::child(NodeId folder, std::string_view name) const {
  const std::span<const NodeId> all = children(folder);
  const auto at = std::ranges::lower_bound(all, name, {}, [&](NodeId id) { return this->name(id); });
  if (at == all.end() || this->name(*at) != name) return std::nullopt;
  return *at;
}

std::string_view MountedDisc::name(NodeId id) const {
  if (!short_names_.empty()) {
    if (const auto at = short_names_.find(id); at != short_names_.end()) return at->second;
  }
  return disc_.tree().name(node(id));
}

struct stat MountedDisc::attributes(NodeId id) const {
  const Node& n = node(id);
  struct stat out {};
  out.st_ino = ino_t{id} + 1;
  out.st_mode = mode_of(n.kind);
  out.st_nlink = 1;  // What says "not counted" of a folder.
  out.st_uid = user_;
  out.st_gid = group_;
  out.st_blksize = kSectorBytes;
  if (n.kind == NodeKind::kFile) {
    out.st_size = static_cast<off_t>(std::min<std::uint64_t>(n.size, std::numeric_limits<off_t>::max()));
    out.st_blocks = static_cast<blkcnt_t>(static_cast<std::uint64_t>(out.st_size) / 512 + (out.st_size % 512 != 0));
  } else if (n.kind == NodeKind::kSymlink) {
    out.st_size = static_cast<off_t>(symlink_target(id).size());
  }
  const NodeDetails& details = disc_.tree().details(n);
  if (n.kind == NodeKind::kBlockDevice || n.kind == NodeKind::kCharDevice) {
    out.st_rdev = ::makedev(static_cast<unsigned>(details.device >> 32), static_cast<unsigned>(details.device));
  }
  out.st_mtim = spec_of(n.modified);
  out.st_atim = details.accessed.known ? spec_of(details.accessed) : out.st_mtim;
  out.st_ctim = details.attributes_changed.known ? spec_of(details.attributes_changed) : out.st_mtim;
  return out;
}

std::string MountedDisc::symlink_target(NodeId id) const {
  return std::string(disc_.tree().text(disc_.tree().details(node(id)).symlink_target));
}

std::vector<std::string_view> MountedDisc::attribute_names(NodeId id) const {
  std::vector<std::string_view> names;
  for (const NamedFact& fact : kFacts) {
    if (!fact.text({disc_, verdicts_, id}).empty()) names.push_back(fact.name);
  }
  return names;
}

std::optional<std::string> MountedDisc::attribute(NodeId id, std::string_view name) const {
  const auto fact = std::ranges::find(kFacts, name, &NamedFact::name);
  if (fact == kFacts.end()) return std::nullopt;
  std::string text = fact->text({disc_, verdicts_, id});
  if (text.empty()) return std::nullopt;
  return text;
}

}  // namespace lacuna::tool

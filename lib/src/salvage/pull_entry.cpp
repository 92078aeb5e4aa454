// SPDX-License-Identifier: GPL-3.0-or-later
// What the manifest says of a file that was pulled or left, and the list of the gaps of a damaged one.
#include <fmt/format.h>

#include <cerrno>

#include "base/bytes.h"
#include "salvage/pull_file.h"

namespace lacuna {
namespace {

std::string gap_list_text(std::string_view path, const PullItem& item, std::uint64_t size) {
  std::string out = fmt::format(
      "# {} of the {} bytes of \"{}\" could not be read from the disc.\n"
      "# In the file beside this list these bytes are zero, which is not what the disc held. \"suspect\" bytes are as\n"
      "# read, but something speaks against them. One stretch a line: first byte (counted from 0), length, state.\n",
      item.missing_bytes, size, path);
  for (const Gap& g : item.gaps) out += fmt::format("{} {} {}\n", g.offset, g.length, to_string(g.state));
  return out;
}

}  // namespace

ManifestEntry make_entry(const Disc& disc, const Verdicts& verdicts, const PullItem& item) {
  const Tree& tree = disc.tree();
  const Node& node = tree.node(item.node);
  const NodeDetails& details = tree.details(node);
  const Verdict& verdict = verdicts.of(item.node);
  ManifestEntry e;
  e.path = tree.path(item.node);
  e.target = item.target;
  for (int v = 0; v < kViewCount; ++v) {
    const std::string_view name = tree.text(node.names[static_cast<std::size_t>(v)]);
    if (!name.empty() && name != tree.name(node)) e.names.emplace_back(to_string(static_cast<View>(v)), name);
  }
  e.kind = to_string(node.kind);
  e.size = node.size;
  e.target_bytes = item.target_bytes;
  e.state = item.state;
  e.basis = to_string(item.completion != nullptr ? item.completion->basis : verdict.basis);
  e.evidence = to_string(item.completion != nullptr ? Evidence::kTwin : node.evidence);
  if (item.completion != nullptr) e.donors = item.completion->donors;
  e.outcome = item.recorded;
  e.why = item.why;
  e.missing_bytes = item.missing_bytes;
  e.gaps = item.gaps;
  e.sums = item.sums;
  e.modified = to_iso8601(node.modified);
  e.created = to_iso8601(details.created);
  e.doubts = item.completion != nullptr ? item.completion->doubts : verdicts.doubts(disc, item.node);
  if (const FileState before = item.completion != nullptr ? item.completion->state : verdict.state;
      item.state != before) {
    e.doubts.push_back(
        fmt::format("found {} while it was pulled, judged {} before", to_string(item.state), to_string(before)));
  }
  e.symlink = tree.text(details.symlink_target);
  e.link = item.link;
  e.gap_list = item.gap_list;
  e.gap_list_sha256 = item.gap_list_sha256;
  e.deleted = node.has(node_flag::kDeleted);
  e.stream = node.has(node_flag::kStream);
  e.shared = item.shared;
  return e;
}

/// Writes the list of gaps beside a damaged file. Gives false, and settles the item, when it can't.
bool FilePuller::put_gap_list(PullItem& item, const Directory& dir, const std::string& target) {
  const std::string path = gap_list_path(target);
  const std::string_view name = split_path(path).second;
  const std::string text =
      gap_list_text(work_.disc.tree().path(item.node), item, work_.disc.tree().node(item.node).size);
  hasher_.start();
  hasher_.add(as_bytes(text));
  item.gap_list = path;
  item.gap_list_sha256 = hasher_.finish().sha256;

  std::optional<struct stat> there;
  int error = look_at(dir->get(), name, there);
  bool replace = work_.options.replace;
  if (error == 0 && there && S_ISREG(there->st_mode)) {
    Fd file;
    std::vector<std::uint8_t> old(text.size() + 1);
    std::size_t got = 0;
    if (open_at(dir->get(), name, O_RDONLY | O_NONBLOCK, file) == 0 && read_fully_at(file.get(), 0, old, got) == 0 &&
        as_text(Bytes(old).first(got)) == text) {
      return true;
    }
    const ManifestEntry* e = work_.record.earlier(target);
    replace = replace || (e != nullptr && e->gap_list == path);
  }
  PartFile part;
  if (error == 0) error = there && !S_ISREG(there->st_mode) ? EEXIST : part.create(dir, work_.record.part_name());
  if (error == 0) error = part.write_at(0, as_bytes(text));
  if (error == 0) error = part.publish(name, replace);
  if (error == 0) return true;
  item.gap_list.clear();
  item.gap_list_sha256.clear();
  settle_error(item, path, error);
  return false;
}

}  // namespace lacuna

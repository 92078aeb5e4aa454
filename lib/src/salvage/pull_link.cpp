// SPDX-License-Identifier: GPL-3.0-or-later
// Pulling a symbolic link: made only where it stays inside the folder.
#include <fmt/format.h>

#include <algorithm>
#include <cerrno>

#include "salvage/pull_file.h"

namespace lacuna {

std::optional<std::string> link_inside(std::string_view symlink, std::size_t depth, bool portable, std::string& why) {
  if (symlink.empty()) {
    why = "a symbolic link whose target the disc does not tell";
    return std::nullopt;
  }
  if (symlink.starts_with('/')) {
    why = fmt::format("a symbolic link to '{}', which is no place on the disc", symlink);
    return std::nullopt;
  }
  std::string out;
  bool named = false;
  for (std::size_t at = 0; at <= symlink.size();) {
    const std::size_t end = std::min(symlink.find('/', at), symlink.size());
    const std::string_view part = symlink.substr(at, end - at);
    at = end + 1;
    if (part.empty() || part == ".") continue;
    if (part == "..") {
      if (named || depth == 0) {
        why = fmt::format("a symbolic link to '{}', which may lead outside the folder", symlink);
        return std::nullopt;
      }
      --depth;
    } else {
      named = true;
    }
    if (!out.empty()) out += '/';
    out += part == ".." ? std::string(part) : clean_name(part, portable);
  }
  return out.empty() ? "." : out;
}

void FilePuller::pull_link(PullItem& item) {
  const Tree& tree = work_.disc.tree();
  const Node& node = tree.node(item.node);
  if (const std::string_view why_not = work_.layout.no_links(); !why_not.empty()) {
    return settle(item, PullOutcome::kLeftSpecial, {}, std::string(why_not));
  }
  const std::string target = work_.layout.path(item.node);
  const auto depth = static_cast<std::size_t>(std::count(target.begin(), target.end(), '/'));
  std::string why;
  const auto link = link_inside(tree.text(tree.details(node).symlink_target), depth, work_.options.portable_names, why);
  if (!link) return settle(item, PullOutcome::kLeftSpecial, {}, why);

  const auto [parent, name] = split_path(target);
  Directory dir;
  std::optional<struct stat> there;
  int error = directories_.open(parent, true, dir);
  if (error == 0) error = look_at(dir->get(), name, there);
  if (error == 0 && there) {
    std::string old;
    if (S_ISLNK(there->st_mode) && read_link_at(dir->get(), name, old) == 0 && old == *link) {
      item.link = *link;
      settle(item, PullOutcome::kAlreadyThere, target);
      return;
    }
    if (!S_ISLNK(there->st_mode) || !work_.options.replace) error = EEXIST;
  }
  const std::string part = work_.record.part_name();
  const std::string text = *link;
  if (error == 0 && ::symlinkat(text.c_str(), dir->get(), part.c_str()) != 0) error = errno;
  if (error != 0) return settle_error(item, target, error);
  if (node.modified.known) static_cast<void>(set_dates(dir->get(), part, node.modified, {}));
  if (error = rename_at(dir->get(), part, name, there.has_value()); error != 0) {
    ::unlinkat(dir->get(), part.c_str(), 0);
    return settle_error(item, target, error);
  }
  item.link = text;
  settle(item, PullOutcome::kPulled, target);
}

}  // namespace lacuna

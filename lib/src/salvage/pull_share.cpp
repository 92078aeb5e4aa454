// SPDX-License-Identifier: GPL-3.0-or-later
// Storing equal files once. A file is read once, into a file without a name, and summed on the way. Only when a stored
// file has its size and its checksum are the two compared, byte by byte; if they are equal, that one stands for both.
// Files of one size end in the order in which they are read, so that it is always the same one that is stored.
#include <fmt/format.h>

#include <cerrno>
#include <cstring>

#include "salvage/pull_file.h"

namespace lacuna {

/// Whole ones only. Of empty files nothing is saved, and their names may be all that they say.
bool FilePuller::may_share(const PullItem& item) const {
  return work_.options.once && item.state == FileState::kWhole && work_.disc.tree().node(item.node).size != 0;
}

/// What the date of a file in the folder should be: of one that stands for several paths, the oldest of theirs.
Timestamp FilePuller::date_in_folder(const std::string& target, const Timestamp& modified) const {
  if (!work_.options.once) return modified;
  return work_.record.stored().modified(target).value_or(modified);
}

void FilePuller::settle_shared(PullItem& item, PullOutcome outcome, const std::string& path) {
  item.shared = true;
  work_.shared_bytes += work_.disc.tree().node(item.node).size;
  settle(item, outcome, path);
}

/// A path whose bytes an earlier pull found stored under another one, where that file is as it was: no need to read.
bool FilePuller::carry_over_shared(PullItem& item) {
  const Node& node = work_.disc.tree().node(item.node);
  const ManifestEntry* e = work_.record.earlier_shared(work_.disc.tree().path(item.node));
  if (e == nullptr || e->size != node.size || e->state != item.state || e->modified != to_iso8601(node.modified) ||
      e->donors != (item.completion != nullptr ? item.completion->donors : std::vector<Donation>{}) ||
      e->target_bytes.has_value() != becomes_flac(item)) {
    return false;
  }
  const auto [parent, name] = split_path(e->target);
  Directory dir;
  std::optional<struct stat> there;
  if (directories_.open(parent, false, dir) != 0 || look_at(dir->get(), name, there) != 0 || !there ||
      !S_ISREG(there->st_mode) || static_cast<std::uint64_t>(there->st_size) != e->bytes_in_folder() ||
      !dates_agree(date_in_folder(e->target, node.modified), *there)) {
    return false;
  }
  item.sums = e->sums;
  item.target_bytes = e->target_bytes;
  settle_shared(item, PullOutcome::kAlreadyThere, e->target);
  work_.done_bytes += node.size;
  return true;
}

/// Whether a stored file has the bytes of one that was made.
bool FilePuller::is_stored_as(const PullItem& item, const PartFile& part, const std::string& path) {
  const auto [parent, name] = split_path(path);
  Directory dir;
  std::optional<struct stat> there;
  if (directories_.open(parent, false, dir) != 0 || look_at(dir->get(), name, there) != 0 || !there ||
      !S_ISREG(there->st_mode)) {
    return false;  // gone: verify() says so
  }
  if (is_same(part, dir, name)) return true;
  work_.add_finding({Severity::kDoubt, "stored-file-differs", path, std::nullopt, "",
                     fmt::format("is recorded with size and checksum of '{}', but holds other bytes: it was changed, "
                                 "or its record was; what was pulled now is stored by itself",
                                 work_.disc.tree().path(item.node))});
  return false;
}

/// Settles a file that is made and whose bytes are stored already.
bool FilePuller::share(PullItem& item, const PartFile& part) {
  const Node& node = work_.disc.tree().node(item.node);
  for (const std::string& path : work_.record.stored().of_content(item.sums, item.target_bytes.value_or(node.size))) {
    if (!is_stored_as(item, part, path)) continue;
    if (work_.record.stored().lower_date(path, node.modified)) {
      const auto [parent, name] = split_path(path);
      Directory dir;
      if (directories_.open(parent, false, dir) == 0) {
        static_cast<void>(set_dates(dir->get(), name, node.modified, {}));
      }
    }
    settle_shared(item, PullOutcome::kPulled, path);
    return true;
  }
  return false;
}

}  // namespace lacuna

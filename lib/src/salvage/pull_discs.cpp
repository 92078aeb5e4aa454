// SPDX-License-Identifier: GPL-3.0-or-later
// Of a folder with files of several discs: their manifests, and the end of a pull that was killed.
#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <unordered_set>

#include "salvage/disc_manifests.h"
#include "salvage/pull_record.h"
#include "salvage/target_names.h"

namespace lacuna {
void PullRecord::for_each_foreign(const std::function<void(std::string_view)>& f) const {
  stored_.for_each([&](const StoredFiles::File& file) {
    if (file.is_foreign && !file.is_own) f(file.path);
  });
}

void PullRecord::for_each_own(const std::function<void(std::string_view, std::string_view)>& f) const {
  for (const ManifestEntry& e : earlier_) {
    if (e.in_folder() && !e.shared) f(e.path, e.target);
  }
}

Result<std::vector<std::string>> PullRecord::list_manifests() const {
  std::vector<std::string> out;
  const int error = list_disc_manifests(root_, out);
  // In a folder for one disc it is none of ours.
  if (error != 0 && header_.layout.is_collection()) {
    return error == ENOTDIR || error == ELOOP ? in_the_way(kDiscsFolder, "is no folder")
                                              : cannot_write(kDiscsFolder, error);
  }
  return out;
}

Result<Done> PullRecord::read_discs() {
  const auto paths = list_manifests();
  if (!paths) return paths.error();
  std::unordered_set<std::string> taken;
  for (const std::string& path : *paths) {
    taken.insert(fold_key(disc_of_manifest(path)));
    const auto read = read_manifest(path, [&](const ManifestHeader& h) -> Result<TakeEntry> {
      if (disc_name_.empty() && same_disc(h.image, header_.image)) {
        disc_name_ = disc_of_manifest(path);
        return TakeEntry([&](ManifestEntry e) { remember(std::move(e)); });
      }
      manifests_.push_back(path);
      return TakeEntry([&](const ManifestEntry& e) {
        foreign_not_whole_ += e.state != FileState::kWhole;
        stored_.add(e, true);
      });
    });
    if (!read) return read.error();
  }
  if (disc_name_.empty()) disc_name_ = name_disc(header_.image, taken);
  record_path_ = disc_manifest_path(disc_name_);
  return Done{};
}

/// Ends the pull of another disc that was killed: what its journal tells becomes part of that disc's manifest.
Result<Done> PullRecord::adopt(Interrupted& interrupted) {
  const ManifestHeader& header = interrupted.headers.back();
  if (!is_disc_manifest_path(header.record)) return in_the_way(kWorkName, "was not written by Lacuna");
  PullRecord other(root_, header, shown_);
  other.record_path_ = header.record;
  other.disc_name_ = disc_of_manifest(header.record);
  const auto paths = list_manifests();
  if (!paths) return paths.error();
  if (std::binary_search(paths->begin(), paths->end(), header.record)) {
    if (const auto read = other.read_own_manifest(); !read) return read.error();
  }
  for (ManifestEntry& e : interrupted.entries) other.remember(std::move(e));
  interrupted.entries.clear();
  std::vector<Brief> briefs;
  if (const auto written = other.write_manifest(briefs, {}, false); !written) return written.error();
  return ::ftruncate(journal_.get(), 0) == 0 ? Result<Done>(Done{}) : cannot_write(kWorkName, errno);
}

}  // namespace lacuna

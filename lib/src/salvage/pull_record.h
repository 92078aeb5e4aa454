// SPDX-License-Identifier: GPL-3.0-or-later
// Pull record: what earlier pulls left in a folder, the journal of the one at work, and the manifest at its end.
#pragma once

#include <atomic>
#include <functional>
#include <memory>
#include <mutex>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "lacuna/result.h"
#include "salvage/manifest.h"
#include "salvage/output_folder.h"

namespace lacuna {

class PullRecord {
 public:
  /// Reads the folder's manifest and the journal of a pull that was killed, removes what that left half-written, and
  /// begins a journal. `header` tells of this pull. Errors: kUsage when the folder holds files of another disc,
  /// kBadInput for a broken manifest, kCannotWrite when something that is not ours bears our names, when another pull
  /// is at work in the folder, or when nothing can be written there. `shown` is the folder's name in messages.
  static Result<std::unique_ptr<PullRecord>> open(Directory root, ManifestHeader header, std::string shown);

  /// What an earlier pull recorded for a target; null when nothing.
  const ManifestEntry* earlier(std::string_view target) const;
  /// A name for the next file under construction. Thread-safe.
  std::string part_name();
  /// Appends to the journal. A journal that can't be written is no error: all it saves is reading files again.
  /// Thread-safe.
  void add(const ManifestEntry& entry);

  /// What finish() needs to know of an entry before it is made.
  struct Brief {
    std::string path;
    std::string_view target;
    FileState state;
    PullOutcome outcome;
    std::string_view sha256, gap_list, gap_list_sha256;
    std::size_t index;
  };
  /// Writes manifest and checksums of this pull's entries and of the earlier ones that still hold, then ends the
  /// journal. `make` makes the entry of a Brief by its index.
  Result<Done> finish(std::vector<Brief> briefs, const std::function<ManifestEntry(std::size_t)>& make, bool complete);

 private:
  /// Briefs from here on stand for earlier_[index - kEarlier].
  static constexpr std::size_t kEarlier = ~std::size_t{0} / 2;

  PullRecord(Directory root, ManifestHeader header, std::string shown)
      : root_(std::move(root)), header_(std::move(header)), shown_(std::move(shown)) {}

  Result<Done> read_manifest();
  Result<Done> open_journal();
  Result<Done> read_journal(std::vector<std::string>& runs);
  void remove_parts_of(const std::vector<std::string>& runs);
  void remember(ManifestEntry entry);
  void merge(std::vector<Brief>& briefs);
  using TextSink = std::function<void(std::string_view)>;
  Result<Done> publish_text(const std::function<void(const TextSink&)>& produce, std::string_view name,
                            std::string* sha256);
  Error cannot_write(std::string_view name, int error) const;
  Error in_the_way(std::string_view name, std::string_view what) const;

  Directory root_;
  ManifestHeader header_;
  std::string shown_;
  std::vector<ManifestEntry> earlier_;
  std::unordered_map<std::string, std::size_t> by_key_;  // by target, or "\n" and path when there is none
  Fd journal_;
  std::mutex mutex_;  // of the journal
  std::atomic<std::uint64_t> parts_{0};
};

}  // namespace lacuna

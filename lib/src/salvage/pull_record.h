// SPDX-License-Identifier: GPL-3.0-or-later
// Pull record: what earlier pulls left in a folder, the journal of the one at work, and at its end the manifest, the
// checksums and, of a bag, its tag files. A folder with files of several discs has a manifest for each in
// `lacuna-discs/`; what they say of files is in StoredFiles.
#pragma once

#include <atomic>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>
#include <vector>

#include "lacuna/result.h"
#include "salvage/manifest.h"
#include "salvage/output_folder.h"
#include "salvage/pull_layout.h"
#include "salvage/stored_files.h"

namespace lacuna {

class PullRecord final : public LayoutRecord {
 public:
  /// Reads the folder's manifests and the journal of a pull that was killed, removes what that left half-written, and
  /// begins a journal. `header` tells of this pull. A bag loses its bagit.txt: it is not complete any more. Errors:
  /// kUsage when the folder holds files of another disc and is not for several, or was begun with another layout,
  /// kBadInput for a broken manifest, kCannotWrite when something that is not ours bears our names, when another pull
  /// is at work in the folder, or when nothing can be written there. `shown` is the folder's name in messages.
  static Result<std::unique_ptr<PullRecord>> open(Directory root, ManifestHeader header, std::string shown);

  std::string_view disc_name() const override { return disc_name_; }
  void for_each_foreign(const std::function<void(std::string_view)>& f) const override;
  void for_each_own(const std::function<void(std::string_view, std::string_view)>& f) const override;

  /// What an earlier pull of this disc recorded for a target; null when nothing.
  const ManifestEntry* earlier(std::string_view target) const;
  /// What it recorded for a path whose bytes are stored as those of another; null when nothing.
  const ManifestEntry* earlier_shared(std::string_view path) const;
  /// Files that stand in the folder, of all discs. Empty of a folder for one disc.
  StoredFiles& stored() noexcept { return stored_; }
  bool is_collection() const noexcept { return header_.layout.is_collection(); }

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
    bool shared;
    std::string_view sha256, gap_list, gap_list_sha256;
    std::uint64_t bytes;  ///< Of the file in the folder.
    std::size_t index;
  };
  using MakeEntry = std::function<ManifestEntry(std::size_t)>;
  struct Finished {
    bool bag_closed = false;
    Findings findings;
  };
  /// Writes manifest and checksums of this pull's entries and of the earlier ones that still hold, and the tag files of
  /// a bag that is complete; then ends the journal. `make` makes the entry of a Brief by its index. `info` goes into
  /// bag-info.txt.
  Result<Finished> finish(std::vector<Brief> briefs, const MakeEntry& make, bool complete,
                          const std::vector<BagElement>& info);

 private:
  /// Briefs from here on stand for earlier_[index - kEarlier].
  static constexpr std::size_t kEarlier = ~std::size_t{0} / 2;

  /// A file in the folder and its checksum.
  struct Sum {
    std::string_view path, sha256;
    const StoredFiles::File* stored = nullptr;  // instead of the checksum
    std::optional<std::uint64_t> bytes;

    std::string digits() const { return stored != nullptr ? to_hex(stored->sha256) : std::string(sha256); }
  };
  /// What the journal of a killed pull holds.
  struct Interrupted {
    std::vector<ManifestHeader> headers;
    std::vector<ManifestEntry> entries;
  };
  using TakeEntry = std::function<void(ManifestEntry)>;
  using TextSink = std::function<void(std::string_view)>;

  PullRecord(Directory root, ManifestHeader header, std::string shown)
      : root_(std::move(root)), header_(std::move(header)), shown_(std::move(shown)) {}

  Result<Done> open_all();
  Result<Done> look_at_names();
  Result<Done> lock_journal(bool& fresh);
  Result<Done> read_journal(Interrupted& out);
  Result<Done> take_up_interrupted(Interrupted& interrupted);
  Result<Done> begin_journal();
  void remove_parts_of(const std::vector<ManifestHeader>& headers);
  /// Reads a manifest. What takes its entries is asked for with its header.
  Result<Done> read_manifest(const std::string& path,
                             const std::function<Result<TakeEntry>(const ManifestHeader&)>& begin);
  Result<Done> read_own_manifest();
  void remember(ManifestEntry entry);
  void merge(std::vector<Brief>& briefs);
  Result<Done> write_manifest(std::vector<Brief>& briefs, const MakeEntry& make, bool complete);
  std::vector<Sum> sums(const std::vector<Brief>& briefs) const;
  /// The manifests of the folder and their checksums, which are reckoned anew.
  Result<std::vector<std::pair<std::string, std::string>>> sum_manifests() const;
  Result<Done> publish_text(const std::function<void(const TextSink&)>& produce, std::string_view path,
                            std::string* sha256);
  Error cannot_write(std::string_view name, int error) const;
  Error in_the_way(std::string_view name, std::string_view what) const;
  Error other_layout(const FolderLayout& there) const;
  Error other_disc(const ManifestHeader& there) const;

  // Of folders with files of several discs: pull_discs.cpp.
  Result<std::vector<std::string>> list_manifests() const;
  Result<Done> read_discs();
  Result<Done> adopt(Interrupted& interrupted);

  // Of bags: pull_bag.cpp.
  Result<Done> look_at_bag(bool ours);
  Result<Done> open_bag();
  Result<Done> write_tag_files(const std::vector<Sum>& sums, std::vector<std::pair<std::string, std::string>> tags,
                               const std::vector<BagElement>& info, std::uint64_t not_whole, Finished& finished);
  std::optional<std::string> not_closed(const std::vector<Sum>& sums, std::uint64_t& files, std::uint64_t& bytes) const;

  Directory root_;
  ManifestHeader header_;
  std::string shown_;
  std::string disc_name_;
  std::string record_path_{kManifestName};
  std::vector<std::string> manifests_;  // of other discs
  std::uint64_t foreign_not_whole_ = 0;
  std::vector<BagElement> bag_info_;  // as found
  StoredFiles stored_;
  std::vector<ManifestEntry> earlier_;
  std::unordered_map<std::string, std::size_t> by_key_;  // see key_of()
  Fd journal_;
  std::mutex mutex_;  // of the journal
  std::atomic<std::uint64_t> parts_{0};
};

}  // namespace lacuna

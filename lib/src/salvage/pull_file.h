// SPDX-License-Identifier: GPL-3.0-or-later
// Pulling one file: looked up in the folder, read once, checked and summed while it is read, and given its name when it
// is complete.
#pragma once

#include <atomic>
#include <cstdint>
#include <functional>
#include <mutex>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/pull.h"
#include "salvage/checksums.h"
#include "salvage/output_folder.h"
#include "salvage/pull_layout.h"
#include "salvage/pull_record.h"
#include "salvage/target_names.h"
#include "salvage/turns.h"

namespace lacuna {

/// One file of the disc that was asked for, and what became of it.
struct PullItem {
  NodeId node = kNoNode;
  bool settled = false;
  FileState state = FileState::kWhole;  ///< As judged, or worse when reading showed it.
  PullOutcome outcome = PullOutcome::kPulled;
  /// As the manifest says it: a file that an earlier pull got and that is still there counts as pulled.
  PullOutcome recorded = PullOutcome::kPulled;
  std::uint64_t missing_bytes = 0;
  std::vector<Gap> gaps;
  const Completion* completion = nullptr;     ///< Of a file that is complete only with what others hold.
  std::string target;                         ///< In the folder; empty when nothing is there.
  std::optional<std::uint64_t> target_bytes;  ///< When not the size of the content.
  Checksums sums;
  std::string link;
  std::string gap_list, gap_list_sha256;
  std::string why;
  bool shared = false;  ///< The target is the file of another path that has the same bytes.
  /// Of a pull that stores equal files once: its place in the order of reading, and that of the file before it of the
  /// same size.
  std::size_t turn = 0, before = Turns::kNone;
};

/// What all threads of one pull share.
struct PullWork {
  const Disc& disc;
  const Verdicts& verdicts;
  const PullOptions& options;
  const PullLayout& layout;
  Directory root;
  PullRecord& record;

  std::atomic<bool> stop{false};
  std::atomic<std::uint64_t> done_bytes{0};
  std::atomic<std::uint64_t> written_bytes{0};
  std::atomic<std::uint64_t> shared_bytes{0};
  Turns turns{};

  std::mutex mutex{};  // of what follows
  std::optional<Error> error{};
  Findings findings{};

  /// Ends the pull: the target can't be written any more.
  void fail(std::string_view target, int error_number);
  void add_finding(Finding finding);
};

ManifestEntry make_entry(const Disc& disc, const Verdicts& verdicts, const PullItem& item);

/// Whether a file in the folder has the date of a file on the disc.
bool dates_agree(const Timestamp& t, const struct stat& st);

/// The text of a symbolic link as it may stand in the folder, or nothing when it would lead outside (`why` says so).
/// `depth` is the number of directories above the link. ".." is only taken at the start: behind a name, which may be
/// a link itself, it would lead anywhere.
std::optional<std::string> link_inside(std::string_view symlink, std::size_t depth, bool portable, std::string& why);

/// For one thread.
class FilePuller {
 public:
  explicit FilePuller(PullWork& work);
  /// Settles a file, unless the pull is stopped.
  void pull(PullItem& item);
  /// Settles a symbolic link.
  void pull_link(PullItem& item);

 private:
  enum class Reading { kRead, kWorse, kProgram, kStopped, kRefused };

  bool attempt(PullItem& item);
  bool carry_over(PullItem& item, const std::string& target, const struct stat& there) const;
  bool is_ours(const PullItem& item, const std::string& target, const struct stat& there) const;
  Timestamp date_in_folder(const std::string& target, const Timestamp& modified) const;
  bool may_share(const PullItem& item) const;
  bool carry_over_shared(PullItem& item);
  bool share(PullItem& item, const PartFile& part);
  bool is_stored_as(const PullItem& item, const PartFile& part, const std::string& path);
  void settle_shared(PullItem& item, PullOutcome outcome, const std::string& path);
  Reading compare(PullItem& item, const Directory& dir, std::string_view name);
  Reading copy(PullItem& item, PartFile& part, const Directory& dir);
  Reading encode(PullItem& item, PartFile& part, const Directory& dir);
  bool becomes_flac(const PullItem& item) const;
  bool is_same(const PartFile& part, const Directory& dir, std::string_view name);
  using Take = std::function<int(std::uint64_t offset, std::span<const std::uint8_t> bytes)>;
  Reading read(PullItem& item, const Take& take);
  void give_up_completion(PullItem& item) const;
  bool put_gap_list(PullItem& item, const Directory& dir, const std::string& target);
  void settle(PullItem& item, PullOutcome outcome, std::string target, std::string why = {});
  void settle_error(PullItem& item, std::string_view target, int error);

  PullWork& work_;
  DirectoryCache directories_;
  Hasher hasher_;
  std::vector<std::uint8_t> buffer_, other_;
  std::vector<Gap> gaps_;
  int refusal_ = 0;  // errno of the last Reading::kRefused
};

}  // namespace lacuna

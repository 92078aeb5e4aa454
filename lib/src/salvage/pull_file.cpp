// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/pull_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

#include "base/bytes.h"
#include "disc/raw_content.h"
#include "salvage/completed_reader.h"
#include "salvage/gaps.h"

namespace lacuna {
namespace {

constexpr std::size_t kChunkBytes = 1 << 18;
std::uint64_t missing_in(const std::vector<Gap>& gaps) {
  std::uint64_t bytes = 0;
  for (const Gap& g : gaps) {
    if (!has_bytes(g.state)) bytes = saturating_add(bytes, g.length);
  }
  return bytes;
}

/// "a/b.flac" of "a/b.wav".
std::string flac_path(std::string path) {
  if (path.ends_with(".wav")) path.resize(path.size() - 4);
  return path + ".flac";
}

}  // namespace

void PullWork::fail(std::string_view target, int error_number) {
  stop = true;
  const std::lock_guard lock(mutex);
  if (error) return;
  const bool full = error_number == ENOSPC || error_number == EDQUOT;
  error =
      Error{ErrorCode::kCannotWrite, fmt::format("cannot write '{}': {}; {}pull again to go on, what is there is kept",
                                                 (options.to / std::string(target)).string(), errno_text(error_number),
                                                 full ? "make room, then " : "")};
}

void PullWork::add_finding(Finding finding) {
  const std::lock_guard lock(mutex);
  findings.add(std::move(finding));
}

bool dates_agree(const Timestamp& t, const struct stat& st) {
  // A FAT target keeps dates to 2 seconds (common practice, no source).
  constexpr std::int64_t kDateTolerance = 1;
  const std::int64_t apart = t.seconds - st.st_mtim.tv_sec;
  return t.known && apart >= -kDateTolerance && apart <= kDateTolerance;
}

FilePuller::FilePuller(PullWork& work) : work_(work), directories_(work.root), buffer_(kChunkBytes) {}

void FilePuller::settle(PullItem& item, PullOutcome outcome, std::string target, std::string why) {
  item.settled = true;
  item.outcome = item.recorded = outcome;
  if (outcome == PullOutcome::kAlreadyThere) {
    // In the folder it counts as what made it: an earlier pull, mostly.
    const ManifestEntry* e =
        item.shared ? work_.record.earlier_shared(work_.disc.tree().path(item.node)) : work_.record.earlier(target);
    if (e != nullptr && e->sums == item.sums && e->link == item.link) item.recorded = e->outcome;
  }
  item.target = std::move(target);
  item.why = std::move(why);
  if (item.target.empty()) {
    item.sums = {};
    item.target_bytes.reset();
    return;
  }
  const ManifestEntry entry = make_entry(work_.disc, work_.verdicts, item);
  if (work_.record.is_collection() && !item.shared) work_.record.stored().store(entry);
  work_.record.add(entry);
}

void FilePuller::settle_error(PullItem& item, std::string_view target, int error) {
  if (error == EEXIST || error == ENOTDIR || error == ELOOP || error == EISDIR) {
    const auto [parent, name] = split_path(target);
    return settle(item, PullOutcome::kBlocked, {},
                  error == EEXIST || error == EISDIR
                      ? fmt::format("'{}' is already there", target)
                      : fmt::format("something that is no directory is in the way of '{}'", parent));
  }
  if (stops_all_writing(error)) return work_.fail(target, error);
  settle(item, PullOutcome::kFailed, {}, fmt::format("cannot write '{}': {}", target, errno_text(error)));
}

void FilePuller::pull(PullItem& item) {
  // Anew when reading shows the file to be worse than thought: damaged, or lost after all. So thrice at most.
  while (!work_.stop) {
    if (item.state > FileState::kDoubtful && (!work_.options.damaged || item.state > FileState::kDamaged)) {
      settle(item, PullOutcome::kLeftDamaged, {}, fmt::format("{} bytes are missing", item.missing_bytes));
      break;
    }
    if (attempt(item)) break;
  }
  if (work_.options.once && work_.turns.wait(item.before, work_.stop)) work_.turns.done(item.turn);
}

/// Gives false when the file is now known to be worse than it was taken for and is to be handled anew.
bool FilePuller::attempt(PullItem& item) {
  const bool damaged = item.state > FileState::kDoubtful;
  const bool flac = becomes_flac(item);
  const std::string path = work_.layout.path(item.node);
  const std::string ordinary = flac ? flac_path(path) : path;
  item.target_bytes.reset();
  const std::string target = damaged ? work_.layout.damaged(ordinary) : ordinary;
  const auto [parent, name] = split_path(target);
  if (may_share(item) && carry_over_shared(item)) return true;
  Directory dir;  // null: a file that may turn out to be stored already needs none
  std::optional<struct stat> there;
  int error = directories_.open(parent, !may_share(item), dir);
  if (may_share(item) && error == ENOENT) error = 0;
  if (error == 0 && dir != nullptr) error = look_at(dir->get(), name, there);
  if (error != 0) {
    settle_error(item, target, error);
    return true;
  }

  bool replace = work_.options.replace;
  if (there && carry_over(item, target, *there)) {
    if (damaged && !put_gap_list(item, dir, target)) return true;
    settle(item, PullOutcome::kAlreadyThere, target);
    work_.done_bytes += work_.disc.tree().node(item.node).size;
    return true;
  }
  const auto end_unless_read = [&](Reading reading) {
    if (reading == Reading::kProgram) settle(item, PullOutcome::kLeftProgram, {}, "a program by its first bytes");
    if (reading == Reading::kRefused) settle_error(item, target, refusal_);
    return reading != Reading::kWorse;
  };
  const auto in_the_way = [&] {
    if (!there) return false;
    replace = S_ISREG(there->st_mode) && (replace || is_ours(item, target, *there));
    return !replace;
  };
  if (there && !flac) {
    if (S_ISREG(there->st_mode) &&
        static_cast<std::uint64_t>(there->st_size) == work_.disc.tree().node(item.node).size) {
      const Reading reading = compare(item, dir, name);
      if (reading == Reading::kRead) {
        if (!damaged || put_gap_list(item, dir, target)) settle(item, PullOutcome::kAlreadyThere, target);
        return true;
      }
      if (reading != Reading::kRefused) return end_unless_read(reading);
    }
    if (in_the_way() && !may_share(item)) {
      settle_error(item, target, EEXIST);
      return true;
    }
  }

  PartFile part;
  const Directory& made_in = dir != nullptr ? dir : work_.root;
  const Reading reading = flac ? encode(item, part, made_in) : copy(item, part, made_in);
  if (reading != Reading::kRead) return end_unless_read(reading);
  if (may_share(item)) {
    if (!work_.turns.wait(item.before, work_.stop)) return true;
    if (share(item, part)) return true;
  }
  if (dir == nullptr) {
    error = directories_.open(parent, true, dir);
    if (error == 0) error = part.move_to(dir);
    if (error != 0) {
      settle_error(item, target, error);
      return true;
    }
  }
  if (there && flac && S_ISREG(there->st_mode) && is_same(part, dir, name)) {
    settle(item, PullOutcome::kAlreadyThere, target);
    return true;
  }
  if (in_the_way()) {
    settle_error(item, target, EEXIST);
    return true;
  }
  // First the list, so that no damaged file is ever seen without it.
  if (damaged && !put_gap_list(item, dir, target)) return true;
  if (error = part.publish(name, replace); error != 0) {
    settle_error(item, target, error);
    return true;
  }
  work_.written_bytes += item.target_bytes.value_or(work_.disc.tree().node(item.node).size);
  settle(item, PullOutcome::kPulled, target);
  return true;
}

/// An earlier pull's file, as its record describes it, of a file that is judged as it was then: no need to read.
bool FilePuller::carry_over(PullItem& item, const std::string& target, const struct stat& there) const {
  const ManifestEntry* e = work_.record.earlier(target);
  const Node& node = work_.disc.tree().node(item.node);
  if (e == nullptr || !S_ISREG(there.st_mode) || e->size != node.size || e->state != item.state ||
      e->missing_bytes != item.missing_bytes || e->gaps != item.gaps || e->modified != to_iso8601(node.modified) ||
      static_cast<std::uint64_t>(there.st_size) != e->bytes_in_folder() ||
      !dates_agree(date_in_folder(target, node.modified), there) || e->path != work_.disc.tree().path(item.node) ||
      e->donors != (item.completion != nullptr ? item.completion->donors : std::vector<Donation>{})) {
    return false;
  }
  item.sums = e->sums;
  item.target_bytes = e->target_bytes;
  return true;
}

/// An earlier pull's file, untouched since, that this one knows at least as much of: it may be replaced.
bool FilePuller::is_ours(const PullItem& item, const std::string& target, const struct stat& there) const {
  const ManifestEntry* e = work_.record.earlier(target);
  // Other paths may rest on one that was whole.
  if (e != nullptr && work_.options.once && e->state == FileState::kWhole) return false;
  return e != nullptr && e->path == work_.disc.tree().path(item.node) &&
         static_cast<std::uint64_t>(there.st_size) == e->bytes_in_folder() &&
         dates_agree(date_in_folder(target, work_.disc.tree().node(item.node).modified), there) &&
         item.state <= e->state && item.missing_bytes <= e->missing_bytes;
}

/// Hands the file to take(offset, bytes), which gives an errno, and sums it. What reading shows of it is held against
/// what is known of it, and the worse is kept.
FilePuller::Reading FilePuller::read(PullItem& item, const Take& take) {
  const Node& node = work_.disc.tree().node(item.node);
  CompletedReader reader(work_.disc, item.node, item.completion != nullptr ? work_.options.completions : nullptr);
  gaps_.clear();
  hasher_.start();
  std::uint64_t offset = 0;
  const auto give_back = [&](Reading reading) {  // of progress, when the file will be read once more
    work_.done_bytes -= offset;
    return reading;
  };
  while (offset < node.size) {
    if (work_.stop) return Reading::kStopped;
    const auto wanted = static_cast<std::size_t>(std::min<std::uint64_t>(kChunkBytes, node.size - offset));
    const std::span<std::uint8_t> chunk = std::span(buffer_).first(wanted);
    const std::size_t got = reader.read(offset, chunk, gaps_);
    if (got < wanted) {  // the reader takes the file to be shorter: what it doesn't give is missing
      std::fill(chunk.begin() + static_cast<std::ptrdiff_t>(got), chunk.end(), std::uint8_t{0});
      append_gap(gaps_, offset + got, wanted - got, SectorState::kAbsent);
    }
    if (offset == 0 && work_.options.skip_programs && is_program(work_.disc.tree().name(node), chunk)) {
      work_.done_bytes += node.size;
      return Reading::kProgram;
    }
    hasher_.add(chunk);
    if (refusal_ = take(offset, chunk); refusal_ != 0) return give_back(Reading::kRefused);
    offset += wanted;
    work_.done_bytes += wanted;
  }

  const std::uint64_t missing = missing_in(gaps_);
  FileState found = missing != 0     ? (missing >= disc_bytes(node) ? FileState::kLost : FileState::kDamaged)
                    : !gaps_.empty() ? FileState::kDoubtful
                                     : FileState::kWhole;
  const bool worse = found > std::max(item.state, FileState::kDoubtful);
  if (missing >= item.missing_bytes && !gaps_.empty()) {
    item.gaps = gaps_;
    item.missing_bytes = missing;
  }
  if (found > item.state) {
    item.state = found;
    const auto gap =
        std::find_if(gaps_.begin(), gaps_.end(), [&](const Gap& g) { return missing == 0 || !has_bytes(g.state); });
    work_.add_finding({missing != 0 ? Severity::kLoss : Severity::kDoubt, "worse-when-pulled",
                       work_.disc.tree().path(item.node), std::nullopt, "",
                       fmt::format("found {} while it was pulled: from byte {} on, {} bytes are {}", to_string(found),
                                   gap->offset, gap->length, to_string(gap->state))});
  }
  if (worse) {
    give_up_completion(item);
    return give_back(Reading::kWorse);
  }
  item.sums = hasher_.finish();
  if (item.sums.sha256.empty()) {
    refusal_ = EOPNOTSUPP;
    return Reading::kRefused;
  }
  return Reading::kRead;
}

/// What a completion can't give any more is taken from it as a whole: the file is again what it is by itself.
void FilePuller::give_up_completion(PullItem& item) const {
  if (item.completion == nullptr) return;
  const Verdict& verdict = work_.verdicts.of(item.node);
  const auto gaps = work_.verdicts.gaps(verdict);
  item.completion = nullptr;
  item.state = verdict.state;
  item.missing_bytes = verdict.missing_bytes;
  item.gaps.assign(gaps.begin(), gaps.end());
}

/// Reading::kRefused: the contents differ, or the file there can't be read.
FilePuller::Reading FilePuller::compare(PullItem& item, const Directory& dir, std::string_view name) {
  Fd file;
  if (refusal_ = open_at(dir->get(), name, O_RDONLY | O_NONBLOCK, file); refusal_ != 0) return Reading::kRefused;
  other_.resize(kChunkBytes);
  return read(item, [&](std::uint64_t offset, std::span<const std::uint8_t> bytes) {
    std::size_t got = 0;
    const int error = read_fully_at(file.get(), offset, std::span(other_).first(bytes.size()), got);
    if (error != 0) return error;
    return got == bytes.size() && std::memcmp(other_.data(), bytes.data(), got) == 0 ? 0 : EEXIST;
  });
}

FilePuller::Reading FilePuller::copy(PullItem& item, PartFile& part, const Directory& dir) {
  const Node& node = work_.disc.tree().node(item.node);
  const auto create = [&] { return part.create(dir, work_.record.part_name()); };
  const Reading reading = read(item, [&](std::uint64_t offset, std::span<const std::uint8_t> bytes) {
    const int error = offset == 0 ? create() : 0;
    return error != 0 ? error : part.write_sparse_at(offset, bytes);
  });
  if (reading != Reading::kRead) return reading;
  if (node.size == 0) refusal_ = create();
  if (refusal_ == 0) refusal_ = part.set_size(node.size);
  if (refusal_ != 0) return Reading::kRefused;
  if (const int error = part.set_dates(node.modified, work_.disc.tree().details(node).accessed); error != 0) {
    work_.add_finding({Severity::kNote, "date-not-set", work_.disc.tree().path(item.node), std::nullopt, "",
                       fmt::format("the target does not take the date: {}", errno_text(error))});
  }
  return Reading::kRead;
}

}  // namespace lacuna

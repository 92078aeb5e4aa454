// SPDX-License-Identifier: GPL-3.0-or-later
// The order of a pull: what is asked for and what can be had of it; directories; files in the order of their LBAs, so
// that the image is read from its beginning to its end; links, when nothing is written any more; the dates of
// directories; the manifest.
#include "lacuna/pull.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <unordered_map>

#include "base/workers.h"
#include "salvage/pull_file.h"

namespace lacuna {
namespace {

constexpr std::array<std::string_view, kPullOutcomeCount> kOutcomeWords{
    "pulled", "already-there", "left-damaged", "left-program", "left-special", "blocked", "failed"};

constexpr std::array<std::string_view, kArrangementCount> kArrangementWords{"tree", "year", "kind", "year/kind"};

std::int64_t seconds_now() { return std::chrono::system_clock::to_time_t(std::chrono::system_clock::now()); }

std::string utc(std::int64_t seconds) {
  Timestamp t;
  t.seconds = seconds;
  t.known = true;
  return to_iso8601(t);
}

struct Plan {
  std::vector<PullItem> items;  // in the tree's order
  std::vector<NodeId> directories;
  std::vector<std::size_t> files;  // still to be read, by LBA
  std::vector<std::size_t> links;
  std::uint64_t bytes = 0;  // of `files`
};

void leave(PullItem& item, PullOutcome outcome, std::string why) {
  item.settled = true;
  item.outcome = item.recorded = outcome;
  item.why = std::move(why);
}

/// What is decided without reading the file.
void judge_item(PullItem& item, const Disc& disc, const Verdicts& verdicts, const PullOptions& options) {
  const Node& node = disc.tree().node(item.node);
  const Verdict& verdict = verdicts.of(item.node);
  const auto gaps = verdicts.gaps(verdict);
  item.state = verdict.state;
  item.missing_bytes = verdict.missing_bytes;
  item.gaps.assign(gaps.begin(), gaps.end());
  if (const Completion* c = options.completions == nullptr ? nullptr : options.completions->of(item.node)) {
    item.completion = c;
    item.state = c->state;
    item.missing_bytes = 0;
    item.gaps.clear();
  }
  if (node.kind == NodeKind::kSymlink) return;
  if (node.kind != NodeKind::kFile) {
    return leave(item, PullOutcome::kLeftSpecial,
                 fmt::format("a {}, which is listed but not made", to_string(node.kind)));
  }
  switch (item.state) {
    case FileState::kUnlocated:
      return leave(item, PullOutcome::kLeftDamaged, "where its data lies is not known");
    case FileState::kLost:
      return leave(item, PullOutcome::kLeftDamaged, "no byte of it is there");
    case FileState::kDamaged:
      if (!options.damaged) {
        return leave(item, PullOutcome::kLeftDamaged, fmt::format("{} bytes are missing", item.missing_bytes));
      }
      break;
    case FileState::kWhole:
    case FileState::kDoubtful:
      break;
  }
  if (node.size > kMaxSectors * kSectorBytes) {
    return leave(item, PullOutcome::kLeftDamaged, "it claims more bytes than any disc has");
  }
  if (options.skip_programs && is_program(disc.tree().name(node), {})) {
    leave(item, PullOutcome::kLeftProgram, "a program by its name");
  }
}

Plan make_plan(const Disc& disc, const Verdicts& verdicts, const PullOptions& options) {
  const Tree& tree = disc.tree();
  Plan plan;
  for (const NodeId id : tree.in_order()) {
    if (!options.only.empty() && !options.only.matches(tree.path(id))) continue;
    const Node& node = tree.node(id);
    if (node.is_directory()) {
      plan.directories.push_back(id);
      continue;
    }
    PullItem item;
    item.node = id;
    judge_item(item, disc, verdicts, options);
    if (!item.settled) {
      (node.kind == NodeKind::kSymlink ? plan.links : plan.files).push_back(plan.items.size());
      if (node.kind == NodeKind::kFile) plan.bytes += node.size;
    }
    plan.items.push_back(std::move(item));
  }
  const auto position = [&](std::size_t i) {
    const auto extents = tree.extents(tree.node(plan.items[i].node));
    const auto first = std::find_if(extents.begin(), extents.end(), [](const Extent& e) { return e.has_place(); });
    return first == extents.end() ? 0 : first->position;
  };
  std::stable_sort(plan.files.begin(), plan.files.end(),
                   [&](std::size_t a, std::size_t b) { return position(a) < position(b); });
  if (!options.once) return plan;
  std::unordered_map<std::uint64_t, std::size_t> last;  // turn of the last file of a size
  for (std::size_t turn = 0; turn < plan.files.size(); ++turn) {
    PullItem& item = plan.items[plan.files[turn]];
    item.turn = turn;
    const auto [it, first] = last.try_emplace(tree.node(item.node).size, turn);
    if (!first) item.before = std::exchange(it->second, turn);
  }
  return plan;
}

ManifestHeader make_header(const Disc& disc, const Verdicts& verdicts, const PullOptions& options, std::int64_t at) {
  ManifestHeader h;
  h.made = utc(at);
  h.image = identify(disc);
  for (const Session& s : disc.sessions()) {
    if (s.in_tree) h.session = h.session.empty() ? std::to_string(s.number) : "all";
  }
  h.basis = to_string(verdicts.basis());
  h.map = disc.image().has_map();
  h.damaged = options.damaged;
  h.skip_programs = options.skip_programs;
  h.portable_names = options.portable_names;
  if (options.audio_format == AudioFormat::kFlac) h.audio_format = "flac";
  h.layout = {options.bag, options.arrangement, options.once};
  for (const Glob& g : options.only.globs()) h.only.push_back(g.pattern());
  return h;
}

/// Makes the directories that were asked for, empty ones included.
void make_directories(const Plan& plan, PullWork& work) {
  if (!work.layout.has_directories()) return;
  DirectoryCache directories(work.root);
  for (const NodeId id : plan.directories) {
    const std::string target = work.layout.path(id);
    Directory dir;
    const int error = directories.open(target, true, dir);
    if (error == 0) continue;
    if (stops_all_writing(error)) return work.fail(target, error);
    work.add_finding({Severity::kLoss, "directory-not-made", work.disc.tree().path(id), std::nullopt, "",
                      error == ENOTDIR || error == ELOOP
                          ? fmt::format("something that is no directory is in the way of '{}'", target)
                          : fmt::format("cannot make the directory '{}': {}", target, errno_text(error))});
  }
}

/// After everything else, because every file that is made in a directory changes its date.
void date_directories(const Plan& plan, PullWork& work) {
  if (!work.layout.has_directories()) return;
  DirectoryCache directories(work.root);
  for (const NodeId id : plan.directories) {
    const Node& node = work.disc.tree().node(id);
    if (!node.modified.known) continue;
    const std::string target = work.layout.path(id);
    const auto [parent, name] = split_path(target);
    Directory dir;
    std::optional<struct stat> there;
    if (directories.open(parent, false, dir) != 0 || look_at(dir->get(), name, there) != 0) continue;
    if (there && S_ISDIR(there->st_mode)) static_cast<void>(set_dates(dir->get(), name, node.modified, {}));
  }
}

Result<PullRecord::Finished> finish_record(const Plan& plan, PullWork& work, bool complete) {
  std::vector<PullRecord::Brief> briefs;
  for (std::size_t i = 0; i < plan.items.size(); ++i) {
    const PullItem& item = plan.items[i];
    if (!item.settled) continue;
    briefs.push_back({work.disc.tree().path(item.node), item.target, item.state, item.recorded, item.shared,
                      item.sums.sha256, item.gap_list, item.gap_list_sha256,
                      item.target_bytes.value_or(work.disc.tree().node(item.node).size), i});
  }
  return work.record.finish(
      std::move(briefs), [&](std::size_t i) { return make_entry(work.disc, work.verdicts, plan.items[i]); }, complete,
      work.options.bag_info);
}

PullReport make_report(Plan plan, PullWork& work) {
  PullReport report;
  report.files.reserve(plan.items.size());
  for (PullItem& item : plan.items) {
    ++report.counts[static_cast<std::size_t>(item.outcome)];
    const bool completed = item.completion != nullptr && !item.target.empty();
    report.files.push_back(
        {item.node, item.outcome, std::move(item.target), std::move(item.why), completed, item.shared});
  }
  report.bytes_written = work.written_bytes;
  report.bytes_shared = work.shared_bytes;
  report.findings = std::move(work.findings);
  return report;
}

}  // namespace

std::string_view to_string(PullOutcome outcome) noexcept { return kOutcomeWords[static_cast<std::size_t>(outcome)]; }

std::string_view to_string(Arrangement a) noexcept { return kArrangementWords[static_cast<std::size_t>(a)]; }

std::optional<Arrangement> arrangement_from(std::string_view word) noexcept {
  const auto it = std::find(kArrangementWords.begin(), kArrangementWords.end(), word);
  if (it == kArrangementWords.end()) return std::nullopt;
  return static_cast<Arrangement>(it - kArrangementWords.begin());
}

Result<PullReport> pull(const Disc& disc, const Verdicts& verdicts, const PullOptions& options) {
  if (options.once && options.replace) {
    return Error{ErrorCode::kUsage,
                 "a file that is stored once may stand for several paths, so none is ever replaced; "
                 "leave out --replace or --once"};
  }
  if (!options.bag && !options.bag_info.empty()) {
    return Error{ErrorCode::kUsage, "only a bag has a bag-info.txt; add --bag"};
  }
  Plan plan = make_plan(disc, verdicts, options);
  if (plan.items.empty() && plan.directories.empty() && !options.only.empty()) return PullReport{};

  auto root = open_folder(options.to, FolderUse::kMake);
  if (!root) return root.error();
  const std::int64_t at = seconds_now();
  const ManifestHeader header = make_header(disc, verdicts, options, at);
  auto record = PullRecord::open(*root, header, options.to.string());
  if (!record) return record.error();
  const TargetNames names(disc.tree(), options.portable_names);
  const PullLayout layout(disc.tree(), names, header.layout, options.portable_names, **record, at);
  PullWork work{disc, verdicts, options, layout, *root, **record};
  if (options.once) work.turns.resize(plan.files.size());

  make_directories(plan, work);
  bool cancelled = false;
  const auto tick = [&] {
    if (!options.progress || options.progress({"pulling", work.done_bytes, plan.bytes})) return true;
    cancelled = true;
    return false;
  };
  run_workers(
      options.threads, plan.files.size(),
      [&] {
        return [&, puller = std::make_shared<FilePuller>(work)](std::size_t i) {
          puller->pull(plan.items[plan.files[i]]);
        };
      },
      work.stop, tick);
  FilePuller puller(work);
  for (std::size_t i = 0; i < plan.links.size() && !work.stop; ++i) puller.pull_link(plan.items[plan.links[i]]);
  if (!work.stop) date_directories(plan, work);

  auto finished = finish_record(plan, work, !work.stop);
  if (work.error) return *work.error;
  if (cancelled) {
    return Error{ErrorCode::kCancelled,
                 fmt::format("stopped; what is in '{}' is kept, pull again to go on", options.to.string())};
  }
  if (!finished) return finished.error();
  work.findings.add(finished->findings);
  PullReport report = make_report(std::move(plan), work);
  report.bag_closed = finished->bag_closed;
  return report;
}

}  // namespace lacuna

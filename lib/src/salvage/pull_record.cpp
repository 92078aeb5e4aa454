// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/pull_record.h"

#include <dirent.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/random.h>

#include <algorithm>
#include <cerrno>
#include <optional>
#include <tuple>
#include <unordered_set>

#include "base/bytes.h"
#include "salvage/target_names.h"

namespace lacuna {
namespace {

constexpr std::size_t kRunDigits = 16;
constexpr std::size_t kWriteBytes = 1 << 18;

std::string random_run() {
  std::uint64_t value = 0;
  // Without entropy at boot the process id must do: the names only have to be new in their folder.
  if (::getrandom(&value, sizeof value, 0) != sizeof value) value = static_cast<std::uint64_t>(::getpid());
  return fmt::format("{:016x}", value);
}

bool is_run(std::string_view run) {
  return run.size() == kRunDigits && run.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

std::string key_of(std::string_view path, std::string_view target) {
  return target.empty() ? fmt::format("\n{}", path) : std::string(target);
}

bool is_directory(int dir, std::string_view name, unsigned char type) {
  if (type != DT_UNKNOWN) return type == DT_DIR;
  std::optional<struct stat> st;
  return look_at(dir, name, st) == 0 && st && S_ISDIR(st->st_mode);
}

}  // namespace

Result<std::unique_ptr<PullRecord>> PullRecord::open(Directory root, ManifestHeader header, std::string shown) {
  std::unique_ptr<PullRecord> record(new PullRecord(std::move(root), std::move(header), std::move(shown)));
  if (const auto read = record->read_manifest(); !read) return read.error();
  if (const auto opened = record->open_journal(); !opened) return opened.error();
  return record;
}

Error PullRecord::cannot_write(std::string_view name, int error) const {
  return {ErrorCode::kCannotWrite,
          fmt::format("cannot write '{}' in '{}': {}{}", name, shown_, errno_text(error),
                      error == ENOSPC || error == EDQUOT ? "; make room or take another disk" : "")};
}

Error PullRecord::in_the_way(std::string_view name, std::string_view what) const {
  return {ErrorCode::kCannotWrite,
          fmt::format("'{}/{}' {}; move it away or pull into another folder", shown_, name, what)};
}

Result<Done> PullRecord::read_manifest() {
  std::optional<struct stat> there, sums;
  if (const int error = look_at(root_->get(), kManifestName, there); error != 0)
    return cannot_write(kManifestName, error);
  if (const int error = look_at(root_->get(), kSumsName, sums); error != 0) return cannot_write(kSumsName, error);
  if (sums && (!there || !S_ISREG(sums->st_mode))) return in_the_way(kSumsName, "was not written by Lacuna");
  if (!there) return Done{};
  if (!S_ISREG(there->st_mode)) return in_the_way(kManifestName, "is no regular file");
  Fd file;
  if (const int error = open_at(root_->get(), kManifestName, O_RDONLY | O_NONBLOCK, file); error != 0) {
    return cannot_write(kManifestName, error);
  }
  std::optional<Error> failure;
  bool any = false;
  const int error = for_each_line(file.get(), [&](std::string_view line, std::uint64_t number, bool torn) {
    any = true;
    std::string problem;
    if (number == 1) {
      const auto earlier = parse_header(line, problem);
      if (!earlier || earlier->schema != kManifestSchema) {
        failure = in_the_way(kManifestName, "is no manifest of Lacuna");
      } else if (!same_disc(earlier->image, header_.image)) {
        failure = Error{ErrorCode::kUsage, fmt::format("'{}' holds files of another disc (image '{}'); pull into "
                                                       "another folder",
                                                       shown_, earlier->image.name)};
      }
    } else if (auto entry = torn ? std::nullopt : parse_entry(line, problem)) {
      remember(std::move(*entry));
    } else {
      failure = Error{ErrorCode::kBadInput,
                      fmt::format("{}/{}:{}: {}; move the manifest away to have the files compared one by one", shown_,
                                  kManifestName, number, torn ? "the line is cut short" : problem)};
    }
    return !failure;
  });
  if (failure) return *failure;
  if (error != 0) return cannot_write(kManifestName, error);
  if (!any) return in_the_way(kManifestName, "is empty");
  return Done{};
}

void PullRecord::remember(ManifestEntry entry) {
  std::string key = key_of(entry.path, entry.target);
  const auto [it, added] = by_key_.try_emplace(std::move(key), earlier_.size());
  if (added) {
    earlier_.push_back(std::move(entry));
  } else {
    earlier_[it->second] = std::move(entry);  // the later line of a journal is the newer
  }
}

Result<Done> PullRecord::open_journal() {
  constexpr int kAttempts = 100;
  for (int attempt = 0; attempt < kAttempts; ++attempt) {
    // O_APPEND: a line is written in one go.
    int error = open_at(root_->get(), kWorkName, O_RDWR | O_CREAT | O_APPEND | O_NONBLOCK, journal_);
    if (error == ELOOP) return in_the_way(kWorkName, "is a symbolic link");
    if (error != 0) return cannot_write(kWorkName, error);
    struct stat st {};
    if (::flock(journal_.get(), LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
      return Error{ErrorCode::kCannotWrite, fmt::format("another pull is at work in '{}'; wait for its end", shown_)};
    }
    if (::fstat(journal_.get(), &st) != 0) return cannot_write(kWorkName, errno);
    if (st.st_nlink == 0) continue;  // a pull ended just now and took its journal away
    // More than one link: writing would change a file that stands elsewhere, too.
    if (!S_ISREG(st.st_mode) || st.st_nlink > 1) return in_the_way(kWorkName, "was not written by Lacuna");
    if (st.st_size != 0) {
      std::vector<std::string> runs;
      if (const auto read = read_journal(runs); !read) return read.error();
      remove_parts_of(runs);
    }
    header_.run = random_run();
    ManifestHeader begin = header_;
    begin.schema = kWorkSchema;
    if (error = write_fully(journal_.get(), to_line(begin) + '\n'); error != 0) {
      if (st.st_size == 0) ::unlinkat(root_->get(), std::string(kWorkName).c_str(), 0);
      return cannot_write(kWorkName, error);
    }
    return Done{};
  }
  return Error{ErrorCode::kCannotWrite, fmt::format("other pulls are at work in '{}'; wait for their end", shown_)};
}

Result<Done> PullRecord::read_journal(std::vector<std::string>& runs) {
  std::optional<Error> failure;
  bool torn_end = false;
  const int error = for_each_line(journal_.get(), [&](std::string_view line, std::uint64_t number, bool torn) {
    torn_end = torn;
    std::string problem;
    // Every pull that was killed has left a header of its own.
    if (number == 1 || line.starts_with("{\"schema\"")) {
      const auto header = parse_header(line, problem);
      if (header && header->schema == kWorkSchema) {
        if (is_run(header->run)) runs.push_back(header->run);
        if (!same_disc(header->image, header_.image)) {
          failure = Error{ErrorCode::kUsage, fmt::format("'{}' holds files of another disc (image '{}'); pull into "
                                                         "another folder",
                                                         shown_, header->image.name)};
        }
      } else if (number == 1 && !torn) {
        failure = in_the_way(kWorkName, "was not written by Lacuna");
      } else if (number == 1 && !line.starts_with("{\"schema\":\"lacuna/")) {
        failure = in_the_way(kWorkName, "was not written by Lacuna");
      }
      return !failure;
    }
    // A line that was not finished, or that a crash of the machine has hurt, costs a comparison of that file.
    if (auto entry = torn ? std::nullopt : parse_entry(line, problem)) remember(std::move(*entry));
    return true;
  });
  if (failure) return *failure;
  if (error != 0) return cannot_write(kWorkName, error);
  if (torn_end) static_cast<void>(write_fully(journal_.get(), "\n"));
  return Done{};
}

void PullRecord::remove_parts_of(const std::vector<std::string>& runs) {
  std::vector<std::string> prefixes;
  for (const std::string& run : runs) prefixes.push_back(fmt::format("{}{}-", kPartPrefix, run));
  if (prefixes.empty()) return;
  DirectoryCache directories(root_);
  std::vector<std::string> left{""};
  while (!left.empty()) {
    const std::string path = std::move(left.back());
    left.pop_back();
    Directory dir;
    if (directories.open(path, false, dir) != 0) continue;
    std::vector<std::string> parts;
    list_directory(dir->get(), [&](std::string_view name, unsigned char type) {
      const bool part =
          std::any_of(prefixes.begin(), prefixes.end(), [&](const auto& p) { return name.starts_with(p); });
      if (is_directory(dir->get(), name, type)) {
        left.push_back(path.empty() ? std::string(name) : fmt::format("{}/{}", path, name));
      } else if (part) {
        parts.emplace_back(name);
      }
      return true;
    });
    for (const std::string& name : parts) ::unlinkat(dir->get(), name.c_str(), 0);
  }
}

const ManifestEntry* PullRecord::earlier(std::string_view target) const {
  if (by_key_.empty()) return nullptr;
  const auto it = by_key_.find(std::string(target));
  return it == by_key_.end() ? nullptr : &earlier_[it->second];
}

std::string PullRecord::part_name() { return fmt::format("{}{}-{}", kPartPrefix, header_.run, parts_++); }

void PullRecord::add(const ManifestEntry& entry) {
  const std::string line = to_line(entry) + '\n';
  const std::lock_guard lock(mutex_);
  static_cast<void>(write_fully(journal_.get(), line));
}

void PullRecord::merge(std::vector<Brief>& briefs) {
  if (earlier_.empty()) return;
  std::unordered_map<std::string_view, std::size_t> by_path;
  std::unordered_set<std::string_view> targets;
  for (std::size_t i = 0; i < briefs.size(); ++i) {
    by_path.emplace(briefs[i].path, i);
    if (!briefs[i].target.empty()) targets.insert(briefs[i].target);
  }
  DirectoryCache directories(root_);
  const auto still_there = [&](const ManifestEntry& e) {
    const auto [parent, name] = split_path(e.target);
    Directory dir;
    std::optional<struct stat> st;
    return directories.open(parent, false, dir) == 0 && look_at(dir->get(), name, st) == 0 && st.has_value();
  };
  std::vector<bool> dropped(briefs.size());
  std::vector<ManifestEntry*> kept;
  for (ManifestEntry& e : earlier_) {
    const auto now = by_path.find(e.path);
    if (now != by_path.end()) {
      const Brief& b = briefs[now->second];
      if (!e.in_folder() || targets.contains(e.target) || !still_there(e)) continue;
      // An earlier reading of the disc got this file, and it still stands in the folder.
      // One that other images completed is none the worse for a pull without them.
      if (e.state == FileState::kWhole && b.state > FileState::kDoubtful && e.donors.empty()) {
        e.state = FileState::kDoubtful;
        e.doubts.push_back(fmt::format("an earlier pull found it whole, a later one {}", to_string(b.state)));
      }
      if (b.target.empty()) dropped[now->second] = true;
    } else if (e.in_folder() && targets.contains(e.target)) {
      continue;
    }
    kept.push_back(&e);
  }
  std::vector<Brief> merged;
  merged.reserve(briefs.size() + kept.size());
  for (std::size_t i = 0; i < briefs.size(); ++i) {
    if (!dropped[i]) merged.push_back(std::move(briefs[i]));
  }
  for (ManifestEntry* e : kept) {
    merged.push_back({e->path, e->target, e->state, e->outcome, e->sums.sha256, e->gap_list, e->gap_list_sha256,
                      kEarlier + static_cast<std::size_t>(e - earlier_.data())});
  }
  briefs = std::move(merged);
}

Result<Done> PullRecord::publish_text(const std::function<void(const TextSink&)>& produce, std::string_view name,
                                      std::string* sha256) {
  PartFile file;
  if (const int error = file.create(root_, part_name()); error != 0) return cannot_write(name, error);
  Hasher hasher;
  hasher.start();
  std::string pending;
  std::uint64_t written = 0;
  int error = 0;
  const auto flush = [&] {
    if (error == 0) error = file.write_at(written, as_bytes(pending));
    hasher.add(as_bytes(pending));
    written += pending.size();
    pending.clear();
  };
  produce([&](std::string_view text) {
    pending += text;
    if (pending.size() >= kWriteBytes) flush();
  });
  flush();
  if (error == 0) error = file.publish(name, true);
  if (error != 0) return cannot_write(name, error);
  if (sha256 != nullptr) *sha256 = hasher.finish().sha256;
  return Done{};
}

Result<Done> PullRecord::finish(std::vector<Brief> briefs, const std::function<ManifestEntry(std::size_t)>& make,
                                bool complete) {
  merge(briefs);
  std::sort(briefs.begin(), briefs.end(),
            [](const Brief& a, const Brief& b) { return std::tie(a.path, a.target) < std::tie(b.path, b.target); });
  ManifestHeader header = header_;
  header.run.clear();
  header.complete = complete;
  for (const Brief& b : briefs) {
    ++header.states[static_cast<std::size_t>(b.state)];
    ++header.outcomes[static_cast<std::size_t>(b.outcome)];
  }

  std::string manifest_sha256;
  const auto manifest = publish_text(
      [&](const TextSink& write) {
        write(to_line(header) + '\n');
        for (const Brief& b : briefs) {
          write((b.index >= kEarlier ? to_line(earlier_[b.index - kEarlier]) : to_line(make(b.index))) + '\n');
        }
      },
      kManifestName, &manifest_sha256);
  if (!manifest) return manifest;

  std::vector<std::pair<std::string_view, std::string_view>> sums;  // name, checksum
  for (const Brief& b : briefs) {
    if (!b.target.empty() && !b.sha256.empty()) sums.emplace_back(b.target, b.sha256);
    if (!b.gap_list.empty()) sums.emplace_back(b.gap_list, b.gap_list_sha256);
  }
  std::sort(sums.begin(), sums.end());
  const auto written = publish_text(
      [&](const TextSink& write) {
        for (const auto& [name, sha256] : sums) write(sums_line(sha256, name));
        write(sums_line(manifest_sha256, kManifestName));
      },
      kSumsName, nullptr);
  if (!written) return written;
  ::unlinkat(root_->get(), std::string(kWorkName).c_str(), 0);
  return Done{};
}

}  // namespace lacuna

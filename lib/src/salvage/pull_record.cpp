// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/pull_record.h"

#include <dirent.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/random.h>

#include <algorithm>
#include <cerrno>
#include <optional>

#include "base/bytes.h"
#include "salvage/target_names.h"

namespace lacuna {
namespace {

constexpr std::size_t kRunDigits = 16;

std::string random_run() {
  std::uint64_t value = 0;
  // Without entropy at boot the process id must do: the names only have to be new in their folder.
  if (::getrandom(&value, sizeof value, 0) != sizeof value) value = static_cast<std::uint64_t>(::getpid());
  return fmt::format("{:016x}", value);
}

bool is_run(std::string_view run) {
  return run.size() == kRunDigits && run.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

/// One for each thing that a pull has to say: of a file in the folder, of a path that another's file stands for, of a
/// path that nothing is there for.
std::string key_of(const ManifestEntry& e) {
  if (e.target.empty()) return fmt::format("\n{}", e.path);
  return e.shared ? fmt::format("\r{}", e.path) : e.target;
}

bool is_directory(int dir, std::string_view name, unsigned char type) {
  if (type != DT_UNKNOWN) return type == DT_DIR;
  std::optional<struct stat> st;
  return look_at(dir, name, st) == 0 && st && S_ISDIR(st->st_mode);
}

}  // namespace

Result<std::unique_ptr<PullRecord>> PullRecord::open(Directory root, ManifestHeader header, std::string shown) {
  std::unique_ptr<PullRecord> record(new PullRecord(std::move(root), std::move(header), std::move(shown)));
  if (const auto opened = record->open_all(); !opened) return opened.error();
  return record;
}

Result<Done> PullRecord::open_all() {
  if (const auto looked = look_at_names(); !looked) return looked.error();
  bool fresh = false;
  if (const auto locked = lock_journal(fresh); !locked) return locked.error();
  const auto take_up = [&]() -> Result<Done> {
    Interrupted interrupted;
    if (const auto read = read_journal(interrupted); !read) return read.error();
    if (const auto taken = take_up_interrupted(interrupted); !taken) return taken.error();
    if (header_.layout.bag) {
      if (const auto opened = open_bag(); !opened) return opened.error();
    }
    if (header_.layout.is_collection()) {
      for (const ManifestEntry& e : earlier_) stored_.add(e, false);
    }
    return begin_journal();
  };
  auto taken = take_up();
  if (!taken && fresh) ::unlinkat(root_->get(), std::string(kWorkName).c_str(), 0);
  return taken;
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

Error PullRecord::other_layout(const FolderLayout& there) const {
  return {ErrorCode::kUsage,
          fmt::format("'{}' was begun with {}; pull with the same, or into another folder", shown_, describe(there))};
}

Error PullRecord::other_disc(const ManifestHeader& there) const {
  return {ErrorCode::kUsage, fmt::format("'{}' holds files of another disc (image '{}'); pull into another folder",
                                         shown_, there.image.name)};
}

Result<Done> PullRecord::look_at_names() {
  std::optional<struct stat> manifest, sums;
  if (const int error = look_at(root_->get(), kManifestName, manifest); error != 0) {
    return cannot_write(kManifestName, error);
  }
  if (const int error = look_at(root_->get(), kSumsName, sums); error != 0) return cannot_write(kSumsName, error);
  const auto discs = list_manifests();
  if (!discs) return discs.error();
  const bool ours = header_.layout.is_collection() ? !discs->empty() : manifest && S_ISREG(manifest->st_mode);
  if (manifest && !S_ISREG(manifest->st_mode)) return in_the_way(kManifestName, "is no regular file");
  // A folder of the other kind, if it is one of ours.
  const std::string other = header_.layout.is_collection() ? (manifest ? std::string(kManifestName) : std::string())
                                                           : (discs->empty() || ours ? std::string() : discs->front());
  if (!other.empty()) {
    return read_manifest(other, [&](const ManifestHeader& h) -> Result<TakeEntry> { return other_layout(h.layout); });
  }
  if (sums && !ours) return in_the_way(kSumsName, "was not written by Lacuna");
  if (header_.layout.bag) {
    if (const auto looked = look_at_bag(ours); !looked) return looked.error();
  }
  return manifest && !header_.layout.is_collection() ? read_own_manifest() : Done{};
}

Result<Done> PullRecord::read_manifest(const std::string& path,
                                       const std::function<Result<TakeEntry>(const ManifestHeader&)>& begin) {
  const auto [parent, name] = split_path(path);
  Directory dir;
  Fd file;
  struct stat st {};
  int error = DirectoryCache(root_).open(parent, false, dir);
  if (error == 0) error = open_at(dir->get(), name, O_RDONLY | O_NONBLOCK, file);
  if (error == 0 && ::fstat(file.get(), &st) != 0) error = errno;
  if (error == ELOOP || (error == 0 && !S_ISREG(st.st_mode))) return in_the_way(path, "is no regular file");
  if (error != 0) return cannot_write(path, error);
  std::optional<Error> failure;
  TakeEntry take;
  bool any = false, bag = false;
  error = for_each_line(file.get(), [&](std::string_view line, std::uint64_t number, bool torn) {
    any = true;
    std::string problem;
    if (number == 1) {
      const auto header = parse_header(line, problem);
      if (!header || header->schema != kManifestSchema) {
        failure = in_the_way(path, "is no manifest of Lacuna");
      } else if (auto taker = begin(*header)) {
        bag = header->layout.bag;
        take = std::move(*taker);
        if (header->layout != header_.layout) failure = other_layout(header->layout);
      } else {
        failure = taker.error();
      }
      return !failure;
    }
    auto entry = torn ? std::nullopt : parse_entry(line, problem);
    if (entry && bag && entry->in_folder() && !entry->target.starts_with(fmt::format("{}/", kPayloadFolder))) {
      problem = fmt::format("the file is not below '{}/'", kPayloadFolder);
      entry.reset();
    }
    if (entry) {
      take(std::move(*entry));
    } else {
      failure = Error{ErrorCode::kBadInput,
                      fmt::format("{}/{}:{}: {}; move the manifest away to have the files compared one by one", shown_,
                                  path, number, torn ? "the line is cut short" : problem)};
    }
    return !failure;
  });
  if (failure) return *failure;
  if (error != 0) return cannot_write(path, error);
  if (!any) return in_the_way(path, "is empty");
  return Done{};
}

Result<Done> PullRecord::read_own_manifest() {
  return read_manifest(record_path_, [&](const ManifestHeader& h) -> Result<TakeEntry> {
    if (!same_disc(h.image, header_.image)) return other_disc(h);
    return TakeEntry([&](ManifestEntry e) { remember(std::move(e)); });
  });
}

void PullRecord::remember(ManifestEntry entry) {
  std::string key = key_of(entry);
  const auto [it, added] = by_key_.try_emplace(std::move(key), earlier_.size());
  if (added) {
    earlier_.push_back(std::move(entry));
  } else {
    earlier_[it->second] = std::move(entry);  // the later line of a journal is the newer
  }
}

Result<Done> PullRecord::lock_journal(bool& fresh) {
  constexpr int kAttempts = 100;
  for (int attempt = 0; attempt < kAttempts; ++attempt) {
    // O_APPEND: a line is written in one go.
    const int error = open_at(root_->get(), kWorkName, O_RDWR | O_CREAT | O_APPEND | O_NONBLOCK, journal_);
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
    fresh = st.st_size == 0;
    return Done{};
  }
  return Error{ErrorCode::kCannotWrite, fmt::format("other pulls are at work in '{}'; wait for their end", shown_)};
}

Result<Done> PullRecord::read_journal(Interrupted& out) {
  std::optional<Error> failure;
  bool torn_end = false;
  const int error = for_each_line(journal_.get(), [&](std::string_view line, std::uint64_t number, bool torn) {
    torn_end = torn;
    std::string problem;
    // Every pull that was killed has left a header of its own.
    if (number == 1 || line.starts_with("{\"schema\"")) {
      auto header = parse_header(line, problem);
      if (header && header->schema == kWorkSchema) {
        if (header->layout != header_.layout) failure = other_layout(header->layout);
        out.headers.push_back(std::move(*header));
      } else if (number == 1 && (!torn || !line.starts_with("{\"schema\":\"lacuna/"))) {
        failure = in_the_way(kWorkName, "was not written by Lacuna");
      }
      return !failure;
    }
    // A line that was not finished, or that a crash of the machine has hurt, costs a comparison of that file.
    if (auto entry = torn ? std::nullopt : parse_entry(line, problem)) out.entries.push_back(std::move(*entry));
    return true;
  });
  if (failure) return *failure;
  if (error != 0) return cannot_write(kWorkName, error);
  if (torn_end) static_cast<void>(write_fully(journal_.get(), "\n"));
  return Done{};
}

Result<Done> PullRecord::take_up_interrupted(Interrupted& interrupted) {
  const auto stranger = std::find_if(interrupted.headers.begin(), interrupted.headers.end(),
                                     [&](const auto& h) { return !same_disc(h.image, header_.image); });
  const bool is_other = stranger != interrupted.headers.end();
  if (is_other && !header_.layout.is_collection()) return other_disc(*stranger);
  remove_parts_of(interrupted.headers);
  if (header_.layout.is_collection()) {
    if (is_other) {
      if (const auto adopted = adopt(interrupted); !adopted) return adopted.error();
    }
    if (const auto read = read_discs(); !read) return read.error();
  }
  for (ManifestEntry& e : interrupted.entries) remember(std::move(e));
  return Done{};
}

Result<Done> PullRecord::begin_journal() {
  header_.run = random_run();
  ManifestHeader begin = header_;
  begin.schema = kWorkSchema;
  begin.record = record_path_;
  const int error = write_fully(journal_.get(), to_line(begin) + '\n');
  return error == 0 ? Result<Done>(Done{}) : cannot_write(kWorkName, error);
}

void PullRecord::remove_parts_of(const std::vector<ManifestHeader>& headers) {
  std::vector<std::string> prefixes;
  for (const ManifestHeader& h : headers) {
    if (is_run(h.run)) prefixes.push_back(fmt::format("{}{}-", kPartPrefix, h.run));
  }
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

const ManifestEntry* PullRecord::earlier_shared(std::string_view path) const {
  if (by_key_.empty()) return nullptr;
  const auto it = by_key_.find(fmt::format("\r{}", path));
  return it == by_key_.end() ? nullptr : &earlier_[it->second];
}

std::string PullRecord::part_name() { return fmt::format("{}{}-{}", kPartPrefix, header_.run, parts_++); }

void PullRecord::add(const ManifestEntry& entry) {
  const std::string line = to_line(entry) + '\n';
  const std::lock_guard lock(mutex_);
  static_cast<void>(write_fully(journal_.get(), line));
}

}  // namespace lacuna

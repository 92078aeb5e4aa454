// SPDX-License-Identifier: GPL-3.0-or-later
// Verifying a pulled folder. Nothing that the manifest or the folder holds is trusted: paths are taken one name at a
// time and never through a symbolic link, and only regular files are read.
#include <dirent.h>
#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <mutex>
#include <optional>
#include <string>
#include <tuple>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include "base/workers.h"
#include "lacuna/pull.h"
#include "salvage/bag.h"
#include "salvage/disc_manifests.h"
#include "salvage/manifest.h"
#include "salvage/output_folder.h"
#include "salvage/target_names.h"
#include "salvage/verify_bag.h"

namespace lacuna {
namespace {

constexpr std::size_t kChunkBytes = 1 << 20;

using Kind = VerifyProblem::Kind;

/// What has to stand in the folder under one path.
struct Expected {
  std::string path;
  std::optional<std::uint64_t> size;  // none: whatever its checksum says
  Checksums sums;                     // xxh3_128 may be empty
  std::string link;                   // of a symbolic link, which has no checksums
};

struct Folder {
  FolderLayout layout;
  std::vector<std::string> manifests;
  std::vector<Expected> files;
  std::uint64_t not_whole = 0;
};

class Verifier {
 public:
  /// What one thread needs.
  struct Worker {
    explicit Worker(Directory root) : directories(std::move(root)), buffer(kChunkBytes) {}

    DirectoryCache directories;
    Hasher hasher;
    std::vector<std::uint8_t> buffer;
  };

  Verifier(Directory root, std::string shown) : root_(std::move(root)), shown_(std::move(shown)) {}

  Result<Folder> read_manifests();
  void read_sums(const Folder& folder);
  void check_bag(const Folder& folder);
  void check(const Expected& expected, Worker& worker);
  void find_surplus(const Folder& folder);

  std::atomic<bool> stop{false};
  std::atomic<std::uint64_t> done_bytes{0};
  VerifyReport report;

 private:
  Result<Done> read_manifest(const std::string& path, Folder& folder);
  void expect(Expected expected, const std::string& manifest, Folder& folder);
  void add(Kind kind, std::string_view path, std::string text) {
    const std::lock_guard lock(mutex_);
    report.problems.push_back({kind, std::string(path), std::move(text)});
  }
  void check_link(const Expected& expected, const Directory& dir, std::string_view name);
  /// The checksums of an open file, or an errno. Nothing once the work is stopped.
  std::optional<Checksums> sum(int fd, Worker& worker, int& error);

  Directory root_;
  std::string shown_;
  std::unordered_map<std::string, std::size_t> by_path_;  // of the files that are expected
  std::mutex mutex_;  // of the report
};

/// That of a folder for one disc, or those of all discs.
Result<Folder> Verifier::read_manifests() {
  Folder folder;
  std::optional<struct stat> own;
  if (look_at(root_->get(), kManifestName, own) == 0 && !own) {
    static_cast<void>(list_disc_manifests(root_, folder.manifests));
  }
  if (folder.manifests.empty()) folder.manifests.emplace_back(kManifestName);
  const std::vector<std::string> paths = folder.manifests;
  for (const std::string& path : paths) {
    if (const auto read = read_manifest(path, folder); !read) return read.error();
  }
  by_path_.clear();
  return folder;
}

/// A file that several paths stand for is one.
void Verifier::expect(Expected expected, const std::string& manifest, Folder& folder) {
  const auto [it, added] = by_path_.try_emplace(expected.path, folder.files.size());
  if (added) return folder.files.push_back(std::move(expected));
  const Expected& before = folder.files[it->second];
  if (before.sums != expected.sums || before.size != expected.size || before.link != expected.link) {
    add(Kind::kSumsDisagree, expected.path, fmt::format("{} says of it what no other line does", manifest));
  }
}

Result<Done> Verifier::read_manifest(const std::string& path, Folder& folder) {
  Fd file;
  const auto unreadable = [&](std::string_view why) {
    return Error{ErrorCode::kNotReadable, fmt::format("'{}/{}' {}", shown_, path, why)};
  };
  const auto [parent, name] = split_path(path);
  Directory dir;
  int open_error = DirectoryCache(root_).open(parent, false, dir);
  if (open_error == 0) open_error = open_at(dir->get(), name, O_RDONLY | O_NONBLOCK, file);
  if (open_error == ENOENT) return unreadable("is not there; this folder was not pulled by Lacuna, or not to its end");
  if (open_error == ELOOP) return unreadable("is a symbolic link, which is not followed");
  if (open_error != 0) return unreadable(fmt::format("cannot be read: {}", errno_text(open_error)));

  std::optional<Error> failure;
  bool any = false;
  const int error = for_each_line(file.get(), [&](std::string_view line, std::uint64_t number, bool torn) {
    any = true;
    std::string problem;
    if (torn) {
      problem = "the line is cut short";
    } else if (number == 1) {
      const auto header = parse_header(line, problem);
      if (header && header->schema != kManifestSchema) problem = "this is no manifest";
      if (header && path == folder.manifests.front()) folder.layout = header->layout;
      if (header && header->layout != folder.layout) {
        problem = fmt::format("the manifests of the folder are not of one kind: {}, and here {}",
                              describe(folder.layout), describe(header->layout));
      }
    } else if (auto entry = parse_entry(line, problem)) {
      if (entry->state != FileState::kWhole) ++folder.not_whole;
      if (!entry->gap_list.empty()) {
        expect({entry->gap_list, std::nullopt, {{}, entry->gap_list_sha256}, {}}, path, folder);
      }
      if (entry->in_folder()) {
        expect({entry->target, entry->bytes_in_folder(), std::move(entry->sums), std::move(entry->link)}, path, folder);
      }
    }
    if (!problem.empty()) {
      failure = Error{ErrorCode::kBadInput, fmt::format("{}/{}:{}: {}", shown_, path, number, problem)};
    }
    return !failure;
  });
  if (failure) return *failure;
  if (error != 0) return unreadable(fmt::format("cannot be read: {}", errno_text(error)));
  if (!any) return unreadable("is empty");
  return Done{};
}

std::optional<Checksums> Verifier::sum(int fd, Worker& worker, int& error) {
  worker.hasher.start();
  for (std::uint64_t offset = 0;;) {
    if (stop) return std::nullopt;
    std::size_t got = 0;
    error = read_fully_at(fd, offset, worker.buffer, got);
    if (error != 0) return std::nullopt;
    worker.hasher.add(std::span(worker.buffer).first(got));
    offset += got;
    done_bytes += got;
    if (got < worker.buffer.size()) return worker.hasher.finish();
  }
}

void Verifier::check_link(const Expected& expected, const Directory& dir, std::string_view name) {
  std::string link;
  if (const int error = read_link_at(dir->get(), name, link); error != 0) {
    add(error == EINVAL ? Kind::kChanged : Kind::kUnreadable, expected.path,
        error == EINVAL ? "is no symbolic link any more" : errno_text(error));
  } else if (link != expected.link) {
    add(Kind::kChanged, expected.path, "the symbolic link leads elsewhere");
  } else {
    const std::lock_guard lock(mutex_);
    ++report.files_right;
  }
}

void Verifier::check(const Expected& expected, Worker& worker) {
  const auto [parent, name] = split_path(expected.path);
  Directory dir;
  std::optional<struct stat> there;
  int error = worker.directories.open(parent, false, dir);
  if (error == 0) error = look_at(dir->get(), name, there);
  if (error == ENOENT || error == ENOTDIR || error == ELOOP || (error == 0 && !there)) {
    return add(Kind::kMissing, expected.path, "is not in the folder");
  }
  if (error != 0) return add(Kind::kUnreadable, expected.path, errno_text(error));
  if (!expected.link.empty()) return check_link(expected, dir, name);

  if (!S_ISREG(there->st_mode)) return add(Kind::kChanged, expected.path, "is no regular file any more");
  const auto size = static_cast<std::uint64_t>(there->st_size);
  if (expected.size && size != *expected.size) {
    done_bytes += *expected.size;
    return add(Kind::kChanged, expected.path, fmt::format("has {} bytes instead of {}", size, *expected.size));
  }
  Fd file;
  error = open_at(dir->get(), name, O_RDONLY | O_NONBLOCK, file);
  const auto sums = error == 0 ? sum(file.get(), worker, error) : std::nullopt;
  if (error != 0) return add(Kind::kUnreadable, expected.path, errno_text(error));
  if (!sums) return;
  const bool sha256_right = sums->sha256 == expected.sums.sha256;
  const bool xxh3_right = expected.sums.xxh3_128.empty() || sums->xxh3_128 == expected.sums.xxh3_128;
  if (!sha256_right || !xxh3_right) {
    return add(Kind::kChanged, expected.path,
               sha256_right != xxh3_right ? "its two checksums don't belong together: the manifest was changed"
                                          : "its content has changed");
  }
  const std::lock_guard lock(mutex_);
  ++report.files_right;
  report.bytes_right += size;
}

void Verifier::read_sums(const Folder& folder) {
  Fd file;
  const int open_error = open_at(root_->get(), kSumsName, O_RDONLY | O_NONBLOCK, file);
  if (open_error == ENOENT) return add(Kind::kMissing, kSumsName, "is not in the folder");
  if (open_error != 0) return add(Kind::kUnreadable, kSumsName, errno_text(open_error));

  std::unordered_map<std::string_view, const std::string*> expected;
  for (const Expected& e : folder.files) {
    if (e.link.empty()) expected.emplace(e.path, &e.sums.sha256);
  }
  std::unordered_map<std::string_view, std::string> manifests;
  for (const std::string& path : folder.manifests) manifests.emplace(path, std::string());
  std::unordered_set<std::string> listed;
  const int error = for_each_line(file.get(), [&](std::string_view line, std::uint64_t number, bool torn) {
    const auto parsed = torn ? std::nullopt : parse_sums_line(line);
    if (!parsed) {
      add(Kind::kSumsDisagree, kSumsName, fmt::format("line {} is no checksum and name", number));
      return true;
    }
    const auto& [sha256, name] = *parsed;
    if (!listed.insert(name).second) {
      add(Kind::kSumsDisagree, kSumsName, fmt::format("line {} names a file again", number));
    } else if (const auto manifest = manifests.find(name); manifest != manifests.end()) {
      manifest->second = sha256;
    } else if (const auto it = expected.find(name); it == expected.end()) {
      add(Kind::kSumsDisagree, name, fmt::format("{} names it (line {}), the manifest does not", kSumsName, number));
    } else if (*it->second != sha256) {
      add(Kind::kSumsDisagree, name, fmt::format("{} (line {}) and the manifest differ", kSumsName, number));
    }
    return true;
  });
  if (error != 0) return add(Kind::kUnreadable, kSumsName, errno_text(error));
  for (const auto& [path, sha256] : expected) {
    if (!listed.contains(std::string(path))) {
      add(Kind::kSumsDisagree, path, fmt::format("the manifest names it, {} does not", kSumsName));
    }
  }

  for (const auto& [path, sha256] : manifests) {
    if (sha256.empty()) {
      add(Kind::kSumsDisagree, path, fmt::format("{} does not name it", kSumsName));
      continue;
    }
    const auto [parent, name] = split_path(path);
    Directory dir;
    Fd manifest;
    Worker worker(root_);
    int read_error = worker.directories.open(parent, false, dir);
    if (read_error == 0) read_error = open_at(dir->get(), name, O_RDONLY | O_NONBLOCK, manifest);
    const auto sums = read_error == 0 ? sum(manifest.get(), worker, read_error) : std::nullopt;
    if (read_error != 0) {
      add(Kind::kUnreadable, path, errno_text(read_error));
    } else if (sums && sums->sha256 != sha256) {
      add(Kind::kChanged, path, fmt::format("is not the manifest that {} was written with", kSumsName));
    }
  }
}

void Verifier::check_bag(const Folder& folder) {
  PayloadSums payload;
  for (const Expected& e : folder.files) {
    if (e.link.empty()) payload.emplace(e.path, &e.sums.sha256);
  }
  verify_bag(root_, payload, folder.manifests,
             [&](Kind kind, std::string_view path, std::string text) { add(kind, path, std::move(text)); });
}

void Verifier::find_surplus(const Folder& folder) {
  std::unordered_set<std::string_view> expected{kSumsName};
  expected.insert(folder.manifests.begin(), folder.manifests.end());
  if (folder.layout.bag) {
    expected.insert({kBagDeclarationName, kBagInfoName, kPayloadManifestName, kTagManifestName});
  }
  for (const Expected& e : folder.files) expected.insert(e.path);
  DirectoryCache directories(root_);
  std::vector<std::string> left{""};
  while (!left.empty() && !stop) {
    const std::string at = std::move(left.back());
    left.pop_back();
    Directory dir;
    int error = directories.open(at, false, dir);
    if (error == 0) {
      error = list_directory(dir->get(), [&](std::string_view name, unsigned char type) {
        std::string path = at.empty() ? std::string(name) : fmt::format("{}/{}", at, name);
        if (type == DT_UNKNOWN) {
          std::optional<struct stat> there;
          if (look_at(dir->get(), name, there) == 0 && there && S_ISDIR(there->st_mode)) type = DT_DIR;
        }
        if (type == DT_DIR) {
          left.push_back(std::move(path));
        } else if (!expected.contains(path)) {
          const bool unfinished = path == kWorkName || name.starts_with(kPartPrefix);
          add(Kind::kSurplus, path,
              unfinished ? "a pull was interrupted here; pull again to go on" : "is not in the manifest");
        }
        return !stop;
      });
    }
    if (error != 0) add(Kind::kUnreadable, at, errno_text(error));
  }
}

}  // namespace

std::string_view to_string(VerifyProblem::Kind kind) noexcept {
  constexpr std::array<std::string_view, 5> kWords{"missing", "changed", "surplus", "unreadable", "sums-disagree"};
  return kWords[static_cast<std::size_t>(kind)];
}

Result<VerifyReport> verify(const std::filesystem::path& folder, unsigned threads, const ProgressCallback& progress) {
  auto root = open_folder(folder, FolderUse::kRead);
  if (!root) return root.error();
  Verifier verifier(*root, folder.string());
  const auto expected = verifier.read_manifests();
  if (!expected) return expected.error();
  verifier.report.not_whole = expected->not_whole;
  std::uint64_t total_bytes = 0;
  for (const Expected& e : expected->files) total_bytes += e.size.value_or(0);

  bool cancelled = false;
  const auto tick = [&] {
    const std::uint64_t done = verifier.done_bytes;
    if (!progress || progress({"verifying", done, std::max(done, total_bytes)})) return true;
    cancelled = true;
    return false;
  };
  verifier.read_sums(*expected);
  if (expected->layout.bag) verifier.check_bag(*expected);
  run_workers(
      threads, expected->files.size(),
      [&] {
        return [&, worker = std::make_shared<Verifier::Worker>(*root)](std::size_t i) {
          verifier.check(expected->files[i], *worker);
        };
      },
      verifier.stop, tick);
  verifier.find_surplus(*expected);
  if (cancelled) return Error{ErrorCode::kCancelled, "stopped before everything was checked"};

  auto& problems = verifier.report.problems;
  std::sort(problems.begin(), problems.end(), [](const VerifyProblem& a, const VerifyProblem& b) {
    return std::tie(a.path, a.kind, a.text) < std::tie(b.path, b.kind, b.text);
  });
  return std::move(verifier.report);
}

}  // namespace lacuna

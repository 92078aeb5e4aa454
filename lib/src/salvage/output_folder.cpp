// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/output_folder.h"

#include <dirent.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <climits>
#include <cstdio>
#include <cstring>
#include <system_error>

#include "base/bytes.h"

namespace lacuna {
namespace {

// Blocks of this size that are zero throughout are not written: the block size of common file systems.
constexpr std::size_t kSparseBlockBytes = 4096;

/// Zero-terminated copy of a name, without an allocation. Longer names than any file system takes become empty, which
/// every call refuses with ENOENT; callers check with fits() before.
class NameZ {
 public:
  explicit NameZ(std::string_view name) noexcept {
    if (fits(name)) std::copy(name.begin(), name.end(), text_.begin());
  }
  static bool fits(std::string_view name) noexcept { return name.size() < kBytes; }
  const char* c_str() const noexcept { return text_.data(); }

 private:
  static constexpr std::size_t kBytes = 1024;
  std::array<char, kBytes> text_{};
};

template <class Call>
auto retried(Call call) noexcept {
  auto result = call();
  while (result < 0 && errno == EINTR) result = call();
  return result;
}

std::array<timespec, 2> times_of(const Timestamp& modified, const Timestamp& accessed) noexcept {
  const auto spec = [](const Timestamp& t) {
    timespec out{};
    if (t.known) {
      out.tv_sec = static_cast<time_t>(t.seconds);
      out.tv_nsec = t.nanoseconds;
    } else {
      out.tv_nsec = UTIME_OMIT;
    }
    return out;
  };
  return {spec(accessed), spec(modified)};
}

int open_child(int parent, std::string_view name, bool make, Fd& out) {
  constexpr int kFlags = O_RDONLY | O_DIRECTORY;
  int error = open_at(parent, name, kFlags, out);
  if (error != ENOENT || !make) return error;
  if (::mkdirat(parent, NameZ(name).c_str(), 0777) != 0 && errno != EEXIST) return errno;
  return open_at(parent, name, kFlags, out);
}

}  // namespace

int Fd::close() noexcept {
  if (fd_ < 0) return 0;
  // After EINTR Linux has closed the descriptor all the same (close(2)).
  return ::close(std::exchange(fd_, -1)) == 0 || errno == EINTR ? 0 : errno;
}

std::string errno_text(int error) {
  std::string text = std::generic_category().message(error);
  if (text.size() > 1 && text[0] >= 'A' && text[0] <= 'Z' && text[1] >= 'a') {
    text[0] = static_cast<char>(text[0] + ('a' - 'A'));
  }
  return text;
}

Error cannot_write(const std::filesystem::path& path, int error) {
  const std::string why = error == EEXIST ? "is already there; give another name" : errno_text(error);
  return {ErrorCode::kCannotWrite, fmt::format("{}: {}", path.string(), why)};
}

bool stops_all_writing(int error) noexcept {
  return error == ENOSPC || error == EDQUOT || error == EROFS || error == EIO || error == ENODEV || error == ENXIO ||
         error == EMFILE || error == ENFILE || error == ENOMEM || error == ESTALE;
}

bool is_inside_path(std::string_view path) noexcept {
  if (path.empty() || path.find('\0') != std::string_view::npos) return false;
  for (std::size_t at = 0; at <= path.size();) {
    const std::size_t end = std::min(path.find('/', at), path.size());
    const std::string_view part = path.substr(at, end - at);
    if (part.empty() || part == "." || part == "..") return false;
    at = end + 1;
  }
  return true;
}

std::pair<std::string_view, std::string_view> split_path(std::string_view path) noexcept {
  const std::size_t slash = path.rfind('/');
  if (slash == std::string_view::npos) return {{}, path};
  return {path.substr(0, slash), path.substr(slash + 1)};
}

int open_at(int dir, std::string_view name, int flags, Fd& out, mode_t mode) noexcept {
  if (!NameZ::fits(name)) return ENAMETOOLONG;
  const NameZ z(name);
  const int fd = retried([&] { return ::openat(dir, z.c_str(), flags | O_NOFOLLOW | O_CLOEXEC | O_NOCTTY, mode); });
  if (fd < 0) return errno;
  out = Fd(fd);
  return 0;
}

int look_at(int dir, std::string_view name, std::optional<struct stat>& out) noexcept {
  out.reset();
  if (!NameZ::fits(name)) return ENAMETOOLONG;
  struct stat st {};
  if (::fstatat(dir, NameZ(name).c_str(), &st, AT_SYMLINK_NOFOLLOW) == 0) {
    out = st;
    return 0;
  }
  return errno == ENOENT ? 0 : errno;
}

int read_link_at(int dir, std::string_view name, std::string& out) {
  if (!NameZ::fits(name)) return ENAMETOOLONG;
  out.resize(PATH_MAX);
  const ssize_t length = ::readlinkat(dir, NameZ(name).c_str(), out.data(), out.size());
  if (length < 0) return errno;
  out.resize(static_cast<std::size_t>(length));
  return 0;
}

int read_fully_at(int fd, std::uint64_t offset, std::span<std::uint8_t> out, std::size_t& got) noexcept {
  for (got = 0; got < out.size();) {
    const ssize_t n =
        retried([&] { return ::pread(fd, out.data() + got, out.size() - got, static_cast<off_t>(offset + got)); });
    if (n < 0) return errno;
    if (n == 0) break;
    got += static_cast<std::size_t>(n);
  }
  return 0;
}

int write_fully_at(int fd, std::uint64_t offset, std::span<const std::uint8_t> bytes) noexcept {
  while (!bytes.empty()) {
    const ssize_t n = retried([&] { return ::pwrite(fd, bytes.data(), bytes.size(), static_cast<off_t>(offset)); });
    if (n <= 0) return n < 0 ? errno : ENOSPC;
    bytes = bytes.subspan(static_cast<std::size_t>(n));
    offset += static_cast<std::uint64_t>(n);
  }
  return 0;
}

int write_fully(int fd, std::string_view bytes) noexcept {
  while (!bytes.empty()) {
    const ssize_t n = retried([&] { return ::write(fd, bytes.data(), bytes.size()); });
    if (n < 0) return errno;
    bytes.remove_prefix(static_cast<std::size_t>(n));
  }
  return 0;
}

int list_directory(int dir, const std::function<bool(std::string_view, unsigned char)>& f) {
  Fd own;  // with a position of its own
  if (const int error = open_at(dir, ".", O_RDONLY | O_DIRECTORY, own); error != 0) return error;
  DIR* stream = ::fdopendir(own.get());
  if (stream == nullptr) return errno;
  const std::unique_ptr<DIR, int (*)(DIR*)> closes(stream, [](DIR* d) { return ::closedir(d); });
  own.release();
  for (;;) {
    errno = 0;
    const dirent* entry = ::readdir(stream);
    if (entry == nullptr) return errno;
    const std::string_view name = entry->d_name;
    if (name != "." && name != ".." && !f(name, entry->d_type)) return 0;
  }
}

int set_dates(int dir, std::string_view name, const Timestamp& modified, const Timestamp& accessed) noexcept {
  if (!NameZ::fits(name)) return ENAMETOOLONG;
  const auto times = times_of(modified, accessed);
  return ::utimensat(dir, NameZ(name).c_str(), times.data(), AT_SYMLINK_NOFOLLOW) == 0 ? 0 : errno;
}

Result<Directory> open_folder(const std::filesystem::path& to, FolderUse use) {
  const bool make = use == FolderUse::kMake, reads = use == FolderUse::kRead;
  const auto fail = [&](std::string_view what, std::string_view advice) -> Error {
    return {reads ? ErrorCode::kNotReadable : ErrorCode::kCannotWrite,
            fmt::format("cannot {} the folder '{}': {}", reads ? "read" : "write into", to.string(),
                        advice.empty() ? std::string(what) : fmt::format("{}; {}", what, advice))};
  };
  if (to.empty()) return Error{ErrorCode::kUsage, "no folder is named to write into"};
  constexpr int kFlags = O_RDONLY | O_DIRECTORY | O_CLOEXEC;
  int fd = retried([&] { return ::open(to.c_str(), kFlags); });
  if (fd < 0 && errno == ENOENT && make) {
    if (::mkdir(to.c_str(), 0777) != 0 && errno != EEXIST) {
      if (errno == ENOENT) return fail("its parent folder is not there", "make that first");
      return fail(errno_text(errno), errno == ENOSPC ? "make room or take another disk" : "");
    }
    fd = retried([&] { return ::open(to.c_str(), kFlags); });
  }
  if (fd < 0) {
    if (errno == ENOTDIR) return fail("it is not a folder", reads ? "" : "name another");
    return fail(errno_text(errno), errno != ENOENT ? "" : reads ? "check the path" : "make it first");
  }
  return std::make_shared<const Fd>(fd);
}

int DirectoryCache::open(std::string_view path, bool make, Directory& out) {
  if (path.empty()) {
    out = root_;
    return 0;
  }
  if (last_ != nullptr && path == last_path_) {
    out = last_;
    return 0;
  }
  // The nearest of the closest parents that is still open, else all the way from the root.
  Directory at = root_;
  std::size_t known = 0;
  std::string_view up = path;
  for (int i = 0; i < kLookedUp && !up.empty(); ++i, up = split_path(up).first) {
    if (const auto it = kept_.find(std::string(up)); it != kept_.end()) {
      at = it->second;
      known = up.size();
      break;
    }
  }
  for (std::size_t from = known == 0 ? 0 : known + 1; from < path.size();) {
    const std::size_t end = std::min(path.find('/', from), path.size());
    Fd child;
    if (const int error = open_child(at->get(), path.substr(from, end - from), make, child); error != 0) return error;
    at = std::make_shared<const Fd>(std::move(child));
    if (kept_.size() >= kKept) kept_.clear();
    kept_.emplace(path.substr(0, end), at);
    from = end + 1;
  }
  last_path_ = path;
  last_ = at;
  out = std::move(at);
  return 0;
}

PartFile::~PartFile() {
  const bool unpublished = file_.valid() || (dir_ != nullptr && !name_.empty());
  file_.close();
  if (unpublished && !nameless_) ::unlinkat(dir_->get(), NameZ(name_).c_str(), 0);
}

int PartFile::create(Directory dir, std::string name) {
  // A file without a name leaves nothing behind, whatever happens, and its making does not hold up other threads that
  // work in the same directory. It gets its name through /proc.
  static const bool has_proc = ::access("/proc/self/fd", F_OK) == 0;
  nameless_ = has_proc && open_at(dir->get(), ".", O_RDWR | O_TMPFILE, file_) == 0;
  if (!nameless_) {
    if (const int error = open_at(dir->get(), name, O_RDWR | O_CREAT | O_EXCL, file_); error != 0) return error;
  }
  dir_ = std::move(dir);
  name_ = std::move(name);
  return 0;
}

int PartFile::link_as(std::string_view name) noexcept {
  if (!NameZ::fits(name)) return ENAMETOOLONG;
  std::array<char, 32> path{};
  fmt::format_to_n(path.begin(), path.size() - 1, "/proc/self/fd/{}", file_.get());
  return ::linkat(AT_FDCWD, path.data(), dir_->get(), NameZ(name).c_str(), AT_SYMLINK_FOLLOW) == 0 ? 0 : errno;
}

int PartFile::write_at(std::uint64_t offset, std::span<const std::uint8_t> bytes) noexcept {
  if (const int error = write_fully_at(file_.get(), offset, bytes); error != 0) return error;
  end_written_ = std::max(end_written_, offset + bytes.size());
  return 0;
}

int PartFile::write_sparse_at(std::uint64_t offset, std::span<const std::uint8_t> bytes) noexcept {
  std::size_t run = 0;  // start of the bytes to write
  for (std::size_t at = 0; at < bytes.size(); at += kSparseBlockBytes) {
    const std::size_t length = std::min(kSparseBlockBytes, bytes.size() - at);
    if (length < kSparseBlockBytes || !all_zero(bytes.subspan(at, length))) continue;
    if (const int error = write_at(offset + run, bytes.subspan(run, at - run)); error != 0) return error;
    run = at + length;
  }
  return run < bytes.size() ? write_at(offset + run, bytes.subspan(run)) : 0;
}

int PartFile::set_size(std::uint64_t bytes) noexcept {
  if (bytes == end_written_) return 0;
  return retried([&] { return ::ftruncate(file_.get(), static_cast<off_t>(bytes)); }) == 0 ? 0 : errno;
}

int PartFile::set_dates(const Timestamp& modified, const Timestamp& accessed) noexcept {
  const auto times = times_of(modified, accessed);
  return ::futimens(file_.get(), times.data()) == 0 ? 0 : errno;
}

int PartFile::move_to(Directory dir) {
  if (!nameless_) {
    const NameZ name(name_);
    if (::renameat2(dir_->get(), name.c_str(), dir->get(), name.c_str(), RENAME_NOREPLACE) != 0) {
      // File systems without that flag: the temporary name is of this run alone.
      if (errno != EINVAL && errno != ENOSYS && errno != ENOTSUP) return errno;
      if (::renameat(dir_->get(), name.c_str(), dir->get(), name.c_str()) != 0) return errno;
    }
  }
  dir_ = std::move(dir);
  return 0;
}

int PartFile::publish(std::string_view name, bool replace) {
  if (nameless_) {
    // Linking never replaces; for that, it takes the temporary name first.
    if (const int error = link_as(replace ? std::string_view(name_) : name); error != 0) return error;
    nameless_ = false;
    if (!replace) {
      name_.clear();
      return file_.close();
    }
  }
  if (const int error = file_.close(); error != 0) return error;
  if (const int error = rename_at(dir_->get(), name_, name, replace); error != 0) return error;
  name_.clear();
  return 0;
}

int rename_at(int dir, std::string_view from, std::string_view to, bool replace) {
  if (!NameZ::fits(to) || !NameZ::fits(from)) return ENAMETOOLONG;
  const NameZ old_name(from), new_name(to);
  if (replace) return ::renameat(dir, old_name.c_str(), dir, new_name.c_str()) == 0 ? 0 : errno;
  if (::renameat2(dir, old_name.c_str(), dir, new_name.c_str(), RENAME_NOREPLACE) == 0) return 0;
  if (errno != EINVAL && errno != ENOSYS && errno != ENOTSUP) return errno;
  // File systems without it: a link refuses as well when the name is taken …
  if (::linkat(dir, old_name.c_str(), dir, new_name.c_str(), 0) == 0) {
    return ::unlinkat(dir, old_name.c_str(), 0) == 0 ? 0 : errno;
  }
  if (errno != EPERM && errno != ENOTSUP && errno != ENOSYS && errno != EMLINK) return errno;
  // … and where there are no links, an empty file of our own keeps the place.
  Fd placeholder;
  if (const int error = open_at(dir, to, O_WRONLY | O_CREAT | O_EXCL, placeholder); error != 0) return error;
  return ::renameat(dir, old_name.c_str(), dir, new_name.c_str()) == 0 ? 0 : errno;
}

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// Output folder: every step below the folder is taken from a directory's descriptor, one name at a time and never
// through a symbolic link, so that nothing that is planted in it leads outside, however long the path.
// Functions that give an int give 0 or an errno.
#pragma once

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>

#include "lacuna/result.h"
#include "lacuna/timestamp.h"

namespace lacuna {

/// Owns a file descriptor.
class Fd {
 public:
  explicit Fd(int fd = -1) noexcept : fd_(fd) {}
  Fd(Fd&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  Fd& operator=(Fd&& other) noexcept {
    if (this != &other) {
      close();
      fd_ = std::exchange(other.fd_, -1);
    }
    return *this;
  }
  ~Fd() { close(); }

  int get() const noexcept { return fd_; }
  bool valid() const noexcept { return fd_ >= 0; }
  int release() noexcept { return std::exchange(fd_, -1); }
  /// Some targets (quotas, network) only tell now that a write failed.
  int close() noexcept;

 private:
  int fd_;
};

using Directory = std::shared_ptr<const Fd>;

/// What an errno means for the person, such as "no space left on device".
std::string errno_text(int error);
/// kCannotWrite for a new file, with its path and why.
Error cannot_write(const std::filesystem::path& path, int error);
/// True for errors after which no other file can be written either (full, read-only, broken target).
bool stops_all_writing(int error) noexcept;

/// A relative path of parts that are neither empty nor "." nor ".." and hold no NUL; so it stays inside.
bool is_inside_path(std::string_view path) noexcept;
/// ("a/b", "c") of "a/b/c".
std::pair<std::string_view, std::string_view> split_path(std::string_view path) noexcept;

int open_at(int dir, std::string_view name, int flags, Fd& out, mode_t mode = 0666) noexcept;
/// lstat of a name; nothing when it is not there. Other errors are given.
int look_at(int dir, std::string_view name, std::optional<struct stat>& out) noexcept;
int read_link_at(int dir, std::string_view name, std::string& out);
/// Reads up to out.size() bytes from `offset`; less only at the file's end.
int read_fully_at(int fd, std::uint64_t offset, std::span<std::uint8_t> out, std::size_t& got) noexcept;
int write_fully(int fd, std::string_view bytes) noexcept;
int write_fully_at(int fd, std::uint64_t offset, std::span<const std::uint8_t> bytes) noexcept;
/// Calls f(name, d_type) for each entry but "." and ".." as long as it gives true.
int list_directory(int dir, const std::function<bool(std::string_view, unsigned char)>& f);
/// Gives the date of last modification, and that of last access when it is known.
int set_dates(int dir, std::string_view name, const Timestamp& modified, const Timestamp& accessed) noexcept;

/// What a folder that the user names is opened for.
enum class FolderUse {
  kRead,
  kWrite,  ///< It must be there.
  kMake,   ///< To write; its last part is made when it is missing.
};
/// Opens the folder `to`. Here only may a link lead to it: its place is the user's choice. Errors: kNotReadable (kRead)
/// or kCannotWrite, with the path and what to do.
Result<Directory> open_folder(const std::filesystem::path& to, FolderUse use);

/// Opens directories below a folder by their relative path, and keeps some of them open. For one thread.
class DirectoryCache {
 public:
  explicit DirectoryCache(Directory root) : root_(std::move(root)) {}
  /// `path` is clean (is_inside_path) or empty for the root; `make` makes what is missing. ENOTDIR or ELOOP: something
  /// that is no directory, a link for instance, is in the way.
  int open(std::string_view path, bool make, Directory& out);

 private:
  static constexpr std::size_t kKept = 64;
  static constexpr int kLookedUp = 16;

  Directory root_;
  std::unordered_map<std::string, Directory> kept_;
  std::string last_path_;
  Directory last_;
};

/// A file under construction: has no name at all until publish() where the file system knows such files, and a
/// temporary one in its directory elsewhere. Its destructor removes what was not published.
class PartFile {
 public:
  PartFile() = default;
  PartFile(PartFile&&) noexcept = default;
  PartFile& operator=(PartFile&&) = delete;
  ~PartFile();

  /// `name` is the temporary one and must not be there yet.
  int create(Directory dir, std::string name);
  int fd() const noexcept { return file_.get(); }  ///< For reading what was written.
  int write_at(std::uint64_t offset, std::span<const std::uint8_t> bytes) noexcept;
  /// Skips whole blocks of zeros, which then are holes; set_size() must follow the last write.
  int write_sparse_at(std::uint64_t offset, std::span<const std::uint8_t> bytes) noexcept;
  int set_size(std::uint64_t bytes) noexcept;
  int set_dates(const Timestamp& modified, const Timestamp& accessed) noexcept;
  /// Goes on in another directory, of the same file system.
  int move_to(Directory dir);
  /// Closes the file and gives it its name; EEXIST when that is taken and not to be replaced.
  int publish(std::string_view name, bool replace);

 private:
  int link_as(std::string_view name) noexcept;

  Directory dir_;
  Fd file_;
  std::string name_;
  bool nameless_ = false;
  std::uint64_t end_written_ = 0;
};

/// Renames within a directory. Without `replace`, atomically refuses (EEXIST) when `to` is there.
int rename_at(int dir, std::string_view from, std::string_view to, bool replace);

}  // namespace lacuna

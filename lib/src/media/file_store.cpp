// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/file_store.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <linux/fs.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <system_error>
#include <utility>

namespace lacuna {
namespace {

constexpr std::string_view kWhatToGive = "give an image file, a block device, or the first of numbered parts";

Error unreadable_file(std::string message) { return {ErrorCode::kNotReadable, std::move(message)}; }

std::string quoted(const std::filesystem::path& path) { return fmt::format("'{}'", path.string()); }

Error cannot_open(const std::filesystem::path& path, int error) {
  std::string advice;
  if (error == EACCES || error == EPERM) advice = "; make it readable for this user, or copy it to where it is";
  if (error == ENOENT || error == ENOTDIR) advice = "; check the path";
  if (error == EMFILE) advice = "; raise the limit of open files (ulimit -n)";
  if (error == ENOMEDIUM) advice = "; put the disc in and wait until the drive is ready";
  return unreadable_file(
      fmt::format("cannot open {}: {}{}", quoted(path), std::generic_category().message(error), advice));
}

int open_read_only(const std::filesystem::path& path, int more_flags) {
  int fd = -1;
  do {
    fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NOCTTY | more_flags);
  } while (fd < 0 && errno == EINTR);
  return fd;
}

std::string_view kind_word(mode_t mode) {
  if (S_ISDIR(mode)) return "a directory";
  if (S_ISCHR(mode)) return "a character device";
  if (S_ISFIFO(mode)) return "a pipe";
  if (S_ISSOCK(mode)) return "a socket";
  return "no regular file";
}

std::uint64_t device_bytes(int fd) {
  std::uint64_t bytes = 0;
  if (::ioctl(fd, BLKGETSIZE64, &bytes) == 0) return bytes;
  const off_t end = ::lseek(fd, 0, SEEK_END);
  return end > 0 ? static_cast<std::uint64_t>(end) : 0;
}

}  // namespace

FileHandle::~FileHandle() {
  if (fd_ >= 0) ::close(fd_);
}

Result<OpenedFile> open_for_reading(const std::filesystem::path& path, int more_flags) {
  struct stat before {};
  if (::stat(path.c_str(), &before) != 0) return cannot_open(path, errno);
  if (!S_ISREG(before.st_mode) && !S_ISBLK(before.st_mode)) {
    return unreadable_file(fmt::format("{} is {}; {}", quoted(path), kind_word(before.st_mode), kWhatToGive));
  }
  // O_NONBLOCK keeps a pipe that took the file's place from blocking us; a drive must not have it, since it would then
  // open without a disc.
  more_flags |= S_ISBLK(before.st_mode) ? 0 : O_NONBLOCK;
  int fd = open_read_only(path, more_flags);
  if (fd < 0 && errno == EINVAL && (more_flags & O_DIRECT) != 0) fd = open_read_only(path, more_flags & ~O_DIRECT);
  FileHandle file(fd);
  if (file.get() < 0) return cannot_open(path, errno);
  struct stat now {};
  if (::fstat(file.get(), &now) != 0) return cannot_open(path, errno);
  const bool is_device = S_ISBLK(now.st_mode);
  if (!S_ISREG(now.st_mode) && !is_device) {
    return unreadable_file(fmt::format("{} is {}; {}", quoted(path), kind_word(now.st_mode), kWhatToGive));
  }
  const std::uint64_t bytes = is_device ? device_bytes(file.get()) : static_cast<std::uint64_t>(now.st_size);
  if (bytes == 0) {
    return unreadable_file(is_device ? fmt::format("device {} has no size; is a disc in the drive?", quoted(path))
                                  : fmt::format("{} is empty; was the copy interrupted? Copy it again", quoted(path)));
  }
  return OpenedFile{std::move(file), bytes, is_device};
}

Result<std::unique_ptr<ByteStore>> FileStore::open(const std::filesystem::path& path) {
  Result<OpenedFile> file = open_for_reading(path);
  if (!file) return file.error();
  return std::unique_ptr<ByteStore>(
      std::make_unique<FileStore>(std::move(file->handle), file->size_bytes, !file->is_device));
}

FileStore::FileStore(FileHandle file, std::uint64_t size_bytes, bool may_have_holes) noexcept
    : file_(std::move(file)), size_bytes_(size_bytes), may_have_holes_(may_have_holes) {}

ReadAnswer FileStore::read_some(std::uint64_t at_byte, std::span<std::uint8_t> out) const {
  const ssize_t n = ::pread(file_.get(), out.data(), out.size(), static_cast<off_t>(at_byte));
  if (n < 0) return {0, errno};
  return {static_cast<std::size_t>(n), 0};
}

Range FileStore::next_hole(std::uint64_t at_byte) const {
  const Range none{size_bytes_, size_bytes_};
  if (!may_have_holes_ || at_byte >= size_bytes_) return none;
  // File systems that know no holes answer the end of the file, or EINVAL.
  const off_t hole = ::lseek(file_.get(), static_cast<off_t>(at_byte), SEEK_HOLE);
  if (hole < 0 || static_cast<std::uint64_t>(hole) >= size_bytes_) return none;
  const off_t data = ::lseek(file_.get(), hole, SEEK_DATA);
  const std::uint64_t first = std::max(static_cast<std::uint64_t>(hole), at_byte);
  if (data < 0) return errno == ENXIO ? Range{first, size_bytes_} : none;  // ENXIO: no data behind the hole
  const std::uint64_t end = std::min(static_cast<std::uint64_t>(data), size_bytes_);
  return end > first ? Range{first, end} : none;
}

Result<std::string> read_whole_file(const std::filesystem::path& path, std::size_t limit_bytes) {
  const FileHandle file(open_read_only(path, 0));
  if (file.get() < 0) return cannot_open(path, errno);
  struct stat info {};
  if (::fstat(file.get(), &info) == 0 && S_ISDIR(info.st_mode)) {
    return unreadable_file(fmt::format("{} is a directory, where a file is needed", quoted(path)));
  }
  std::string all;
  std::size_t used = 0;
  for (;;) {
    if (used == all.size()) all.resize(std::min(limit_bytes, std::max<std::size_t>(1 << 16, used * 2)));
    const ssize_t n = ::read(file.get(), all.data() + used, all.size() - used);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) {
      return unreadable_file(fmt::format("cannot read {}: {}", quoted(path), std::generic_category().message(errno)));
    }
    used += static_cast<std::size_t>(n);
    if (n == 0 || used == limit_bytes) break;
  }
  all.resize(used);
  return all;
}

}  // namespace lacuna

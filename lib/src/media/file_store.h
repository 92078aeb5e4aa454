// SPDX-License-Identifier: GPL-3.0-or-later
// FileStore: a regular file or a block device as a ByteStore, opened read-only.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>

#include "lacuna/result.h"
#include "media/byte_store.h"

namespace lacuna {

/// Owns a file descriptor.
class FileHandle {
 public:
  explicit FileHandle(int fd = -1) noexcept : fd_(fd) {}
  FileHandle(FileHandle&& other) noexcept : fd_(other.fd_) { other.fd_ = -1; }
  FileHandle& operator=(FileHandle&&) = delete;
  ~FileHandle();

  int get() const noexcept { return fd_; }

 private:
  int fd_;
};

/// A regular file or a block device, open for reading.
struct OpenedFile {
  FileHandle handle;
  std::uint64_t size_bytes = 0;
  bool is_device = false;
};
/// `more_flags` of open(2); of O_DIRECT where the file system has none nothing is left. Errors: kNotReadable, with the
/// path and what to do, for what is missing, empty, or no file or block device.
Result<OpenedFile> open_for_reading(const std::filesystem::path& path, int more_flags = 0);

class FileStore final : public ByteStore {
 public:
  /// Errors as open_for_reading().
  static Result<std::unique_ptr<ByteStore>> open(const std::filesystem::path& path);
  FileStore(FileHandle file, std::uint64_t size_bytes, bool may_have_holes) noexcept;

  std::uint64_t size_bytes() const noexcept override { return size_bytes_; }
  ReadAnswer read_some(std::uint64_t at_byte, std::span<std::uint8_t> out) const override;
  Range next_hole(std::uint64_t at_byte) const override;

 private:
  FileHandle file_;
  std::uint64_t size_bytes_;
  bool may_have_holes_;
};

/// All bytes of a file or pipe, of which at most `limit_bytes` are taken. Errors: kNotReadable.
Result<std::string> read_whole_file(const std::filesystem::path& path, std::size_t limit_bytes);

}  // namespace lacuna

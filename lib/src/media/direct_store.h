// SPDX-License-Identifier: GPL-3.0-or-later
// DirectStore: a drive, read past the kernel's cache where it allows that. With the cache, one bad sector costs all the
// pages that are read ahead around it, and the drive is asked for sectors that nobody wants.
#pragma once

#include <atomic>
#include <cstddef>
#include <filesystem>
#include <memory>
#include <span>

#include "lacuna/result.h"
#include "media/byte_store.h"
#include "media/file_store.h"

namespace lacuna {

class DirectStore final : public ByteStore {
 public:
  /// A block device, or with `regular_files` a file too. Errors as open_for_reading(), and kUsage for a regular file.
  static Result<std::unique_ptr<ByteStore>> open(const std::filesystem::path& path, bool regular_files);
  explicit DirectStore(OpenedFile file);

  std::uint64_t size_bytes() const noexcept override { return file_.size_bytes; }
  /// Once a place or a buffer turns out not to be aligned as the device needs it, it is read through the cache, without
  /// reading ahead, from then on.
  ReadAnswer read_some(std::uint64_t at_byte, std::span<std::uint8_t> out) const override;

 private:
  void use_cache() const;

  OpenedFile file_;
  mutable std::atomic<bool> direct_;
};

/// Bytes aligned for DirectStore.
class AlignedBytes {
 public:
  explicit AlignedBytes(std::size_t bytes);

  std::span<std::uint8_t> all() noexcept { return {bytes_.get(), size_}; }

 private:
  struct Free {
    void operator()(std::uint8_t* p) const noexcept;
  };
  std::unique_ptr<std::uint8_t[], Free> bytes_;
  std::size_t size_;
};

}  // namespace lacuna

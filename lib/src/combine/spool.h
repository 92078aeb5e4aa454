// SPDX-License-Identifier: GPL-3.0-or-later
// Spool: bytes kept for later in a file without a name, each stretch with its checksum.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>

#include "lacuna/result.h"
#include "salvage/output_folder.h"

namespace lacuna {

/// Writing is for one thread; what was written may be read from several.
class Spool {
 public:
  /// In `folder`; empty: where the system keeps such files (TMPDIR). The file is made when something is first kept.
  explicit Spool(std::filesystem::path folder) : folder_(std::move(folder)) {}

  /// Where a stretch is, and by what it is known again (XXH3-128).
  struct Stretch {
    std::uint64_t position = 0;
    std::uint32_t bytes = 0;
    std::uint64_t check_low = 0, check_high = 0;
  };
  static constexpr std::uint64_t kAllZeros = ~std::uint64_t{0};  ///< Stretch::position of zeros, which are not written.

  /// Errors: kCannotWrite.
  Result<Stretch> keep(std::span<const std::uint8_t> bytes);
  /// Fills `out`, of stretch.bytes. False when the bytes can't be read or are not those that were kept.
  bool read(const Stretch& stretch, std::span<std::uint8_t> out) const;

 private:
  Error cannot_keep(int error) const;

  std::filesystem::path folder_;
  Fd file_;
  std::uint64_t end_ = 0;
};

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// FileReader: the bytes of one file, and which of them are missing.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/export.h"
#include "lacuna/verdict.h"

namespace lacuna {

/// Reads a file's content, joined over its extents, decoded when it is stored compressed (zisofs), and as whole sectors
/// behind a header where that is what it is (node_flag::kRawSectors). The disc must outlive it. One reader is for one
/// thread; several readers of one disc may work side by side.
class LACUNA_API FileReader {
 public:
  FileReader(const Disc& disc, NodeId file);
  ~FileReader();
  FileReader(FileReader&&) noexcept;

  std::uint64_t size() const noexcept;
  /// Fills `out` with the bytes from `offset`, as far as the file goes; gives how many. Bytes that are missing are
  /// zero, and their stretches, as well as suspect ones, are appended to `gaps` in order and joined.
  std::size_t read(std::uint64_t offset, std::span<std::uint8_t> out, std::vector<Gap>& gaps);

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace lacuna

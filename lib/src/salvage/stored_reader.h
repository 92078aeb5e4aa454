// SPDX-License-Identifier: GPL-3.0-or-later
// StoredReader: a file's bytes as they stand on the disc, joined over its extents.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "lacuna/image.h"
#include "lacuna/tree.h"
#include "lacuna/verdict.h"

namespace lacuna {

/// Reads through a small cache that grows with sequential use, so that one header costs a few sectors and a whole
/// file goes in large requests. Reads no sector that the extents don't touch. For one thread.
class StoredReader {
 public:
  /// The image and the extents must outlive the reader. Bytes from `size` on are not there.
  StoredReader(const Image& image, std::span<const Extent> extents, std::uint64_t size);

  std::uint64_t size() const noexcept { return size_; }
  /// Fills `out` from `offset`. What is missing is zero; missing and suspect stretches are appended to `gaps`,
  /// joined. What was never recorded (kZeros) is zero and no gap. Behind size() everything is absent.
  void read(std::uint64_t offset, std::span<std::uint8_t> out, std::vector<Gap>& gaps);

 private:
  void read_stretch(std::uint64_t position, std::uint64_t stretch_bytes, std::uint64_t offset,
                    std::span<std::uint8_t> out, std::vector<Gap>& gaps);
  void read_direct(std::uint64_t lba, std::uint64_t offset, std::span<std::uint8_t> out, std::vector<Gap>& gaps);
  void fill_cache(std::uint64_t lba, std::uint64_t end_lba);

  const Image& image_;
  std::span<const Extent> extents_;
  std::vector<std::uint64_t> ends_;  // of each extent within the file
  std::size_t at_extent_ = 0;
  std::uint64_t size_;
  Range window_;

  std::vector<std::uint8_t> cache_;
  std::vector<SectorState> states_;
  std::uint64_t cache_lba_ = 0;
  std::uint64_t cache_sectors_ = 0;
  std::uint64_t next_fill_ = 0;
};

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// DirectoryPlaces: where the bytes of one directory's content stand, in its partition and on the disc.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "udf/entry_reader.h"

namespace lacuna::udf {

class DirectoryPlaces {
 public:
  DirectoryPlaces() = default;
  /// The content and its entry must outlive this.
  DirectoryPlaces(const Content& content, const Entry& entry, std::vector<Extent> extents, std::uint32_t block_bytes);

  const std::vector<Extent>& extents() const noexcept { return extents_; }
  /// The block, within its partition, that a byte of the content stands in (3/7.2.8 as 4/7.2 has it). In ascending
  /// order of offsets.
  std::optional<std::uint32_t> block_of(std::uint64_t offset);
  /// Byte address on the disc; nothing when it has none.
  std::optional<std::uint64_t> position_at(std::uint64_t offset) const;
  /// The sectors that stretches of the content stand in.
  RangeSet lbas_of(const RangeSet& stretches) const;

 private:
  const Content* content_ = nullptr;
  const Entry* entry_ = nullptr;
  std::uint32_t block_bytes_ = 0;
  std::vector<Extent> extents_;
  std::vector<std::uint64_t> ends_;  // running sums of their bytes
  std::size_t piece_ = 0;
  std::uint64_t piece_start_ = 0;
};

}  // namespace lacuna::udf

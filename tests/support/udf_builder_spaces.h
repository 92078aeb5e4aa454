// SPDX-License-Identifier: GPL-3.0-or-later
// Blocks for build_udf(): partitions that fill up, and the partition maps that lead into them.
#pragma once

#include <cstdint>
#include <optional>
#include <set>
#include <span>
#include <vector>

#include "support/udf_builder_descriptors.h"

namespace lacuna::test::udf {

/// The blocks of one partition of the disc, in memory. A block is taken first and written, once or not at all, later.
class Partition {
 public:
  explicit Partition(std::uint32_t block_bytes) : block_bytes_(block_bytes) {}

  std::set<std::uint32_t> forbidden;  ///< Blocks that anchors lie in.

  /// The first of `n` blocks in a row that nobody had.
  std::uint32_t take(std::uint32_t n);
  void skip(std::uint32_t n) { next_ += n; }
  void skip_to(std::uint32_t block) { next_ = std::max(next_, block); }
  void write(std::uint32_t block, std::span<const std::uint8_t> data);
  std::uint32_t end() const { return next_; }
  bool written(std::uint32_t block) const { return block < written_.size() && written_[block]; }
  std::span<const std::uint8_t> block(std::uint32_t n) const;
  /// Whether each of the first `blocks` blocks is in use, for the space bitmap.
  std::vector<bool> used(std::uint32_t blocks) const;

 private:
  std::uint32_t block_bytes_;
  std::uint32_t next_ = 0;
  Bytes bytes_;
  std::vector<bool> written_, taken_;
};

/// A block of the disc before the partitions have their place there.
struct Place {
  std::uint16_t partition = 0;
  std::uint32_t block = 0;
};

/// The blocks that one partition reference leads to (3/10.7).
class Space {
 public:
  enum class Kind { kDirect, kVirtual, kMetadata };
  Space(Kind kind, std::uint16_t reference, std::uint16_t partition, Partition& under)
      : kind_(kind), reference_(reference), partition_(partition), under_(&under) {}

  std::uint16_t reference() const { return reference_; }
  Kind kind() const { return kind_; }
  /// For a metadata space, before it is used.
  void use_units(std::uint32_t blocks, bool mirrored) { unit_blocks_ = blocks, mirrored_ = mirrored; }

  std::uint32_t take(std::uint32_t n);
  /// Leaves blocks free, so that what comes next touches nothing.
  void skip(std::uint32_t n);
  /// At most a block's bytes. A virtual block that holds them already stays where it is.
  void write(std::uint32_t block, std::span<const std::uint8_t> data);
  /// Where the block is now; `copy` 1 is the metadata mirror's. Nothing for a virtual block never written.
  std::optional<Place> place(std::uint32_t block, std::uint32_t copy = 0) const;

  /// Virtual: entries of the VAT. Metadata: the blocks of the main or the mirror file.
  const std::vector<std::uint32_t>& map(std::uint32_t copy = 0) const { return copy == 0 ? map_ : mirror_; }
  std::uint32_t end() const { return next_; }

 private:
  Kind kind_;
  std::uint16_t reference_, partition_;
  Partition* under_;
  std::uint32_t next_ = 0, unit_blocks_ = 32;
  bool mirrored_ = false;
  std::vector<std::uint32_t> map_, mirror_;
};

}  // namespace lacuna::test::udf

// SPDX-License-Identifier: GPL-3.0-or-later
// An oracle that parses no file system: files whose every block of 2048 bytes says which file's which block it is, so
// that the place of all data is known by looking at the image, and damage to it is known by arithmetic.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "lacuna/states.h"
#include "lacuna/verdict.h"

namespace lacuna::test {

inline constexpr std::uint32_t kTaggedBlockBytes = 2048;
/// A tag's size, and so the least that the last block of a file may hold.
inline constexpr std::uint32_t kTagBytes = 24;

/// The content of a file: each block a tag and then bytes that are nowhere uniform. `bytes` modulo 2048 is 0 or at
/// least kTagBytes.
std::string tagged_content(std::uint32_t file, std::uint64_t bytes);

/// The file of the tagged block that stands here; nothing when none does.
std::optional<std::uint32_t> tagged_file(std::span<const std::uint8_t> at);

class BlockOracle {
 public:
  /// Looks at every 512th byte of an undamaged image, whose first byte has this address on the disc.
  explicit BlockOracle(std::span<const std::uint8_t> image, std::uint64_t first_address = 0);

  /// True when each block of the file was seen, and seen once.
  bool complete(std::uint32_t file, std::uint64_t bytes) const;
  /// Byte address of a block that was seen once.
  std::optional<std::uint64_t> place(std::uint32_t file, std::uint32_t block) const;
  /// True when any tagged block lies in the sector: it is a file's, and no structure of the file system.
  bool is_data(std::uint64_t lba) const;
  /// Stretches of the file whose sectors are in another state than good or repaired, joined where they touch and are
  /// alike. Bytes from the address `end_byte` on are absent: the image was cut there.
  std::vector<Gap> gaps(std::uint32_t file, std::uint64_t bytes,
                        const std::function<SectorState(std::uint64_t lba)>& state_of,
                        std::uint64_t end_byte = ~std::uint64_t{0}) const;

  std::uint64_t blocks() const { return places_.size(); }

 private:
  std::map<std::pair<std::uint32_t, std::uint32_t>, std::vector<std::uint64_t>> places_;  // addresses
  std::set<std::uint64_t> data_lbas_;
};

/// What the gaps make of a file, by the vocabulary's definitions; nothing about where its place is known from.
FileState state_from_gaps(std::uint64_t bytes, std::span<const Gap> gaps);

/// Gaps joined where they touch and are in the same state.
std::vector<Gap> joined(std::span<const Gap> gaps);

}  // namespace lacuna::test

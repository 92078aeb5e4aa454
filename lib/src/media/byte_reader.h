// SPDX-License-Identifier: GPL-3.0-or-later
// Reading the small structures of a file system, at any byte address and in any order, through a few buffers.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "base/bytes.h"
#include "lacuna/image.h"

namespace lacuna {

/// For one thread.
class ByteReader {
 public:
  explicit ByteReader(const Image& image);

  const Image& image() const noexcept { return image_; }
  /// Byte address behind the last byte that the image has.
  std::uint64_t end_byte() const noexcept { return end_byte_; }

  /// Reads out.size() bytes of the disc from `position` on; zero where there are none. Gives the worst state of the
  /// sectors touched; kAbsent when any byte lies outside the image.
  SectorState read(std::uint64_t position, std::span<std::uint8_t> out);
  /// The same, and adds to `missing` the byte addresses of the stretches that have no bytes, whole sectors of them.
  SectorState read(std::uint64_t position, std::span<std::uint8_t> out, RangeSet& missing);
  /// Bytes valid until the next call of the reader. At most kViewBytes.
  Bytes view(std::uint64_t position, std::size_t bytes, SectorState& worst);

  static constexpr std::size_t kViewBytes = 4096;

 private:
  static constexpr std::uint64_t kSlotSectors = 16;
  static constexpr std::size_t kSlotBytes = kSlotSectors * kSectorBytes;
  struct Slot {
    std::uint64_t number = ~std::uint64_t{0};  ///< Which kSlotBytes of the disc.
    std::vector<std::uint8_t> bytes;
    std::array<SectorState, kSlotSectors> states{};
  };

  const Slot& slot(std::uint64_t number);

  const Image& image_;
  std::uint64_t end_byte_;
  std::vector<Slot> slots_;
  std::vector<std::uint8_t> view_;
};

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// VolumeBasis: what the reading of a tree needs to know of its volume, be it from a descriptor or from what is left
// without one.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "iso9660/decode/directory_record.h"
#include "iso9660/decode/volume_descriptor.h"
#include "lacuna/image.h"

namespace lacuna::iso9660 {

/// A place before the first byte that an image could have, as a shift can make them: addresses wrap around.
constexpr bool lies_before_disc(std::uint64_t position) noexcept { return position >> 63 != 0; }

struct VolumeBasis {
  struct TablePlace {
    std::uint64_t position = 0;  ///< Byte address; 0: none.
    bool big_endian = false;
    const char* label = "";
  };

  std::optional<DirectoryRecord> root;  ///< The root directory's record, without identifier; nothing: not known.
  std::uint32_t block_bytes = kSectorBytes;
  /// Where an address stands is this many bytes behind where it says: not 0 when an image does not start where its
  /// addresses count from.
  std::int64_t shift_bytes = 0;
  std::uint64_t space_bytes = 0;  ///< End of the volume space, a byte address on the disc; 0: not known.
  std::uint32_t set_size = 1, sequence_number = 1;
  std::uint64_t path_table_bytes = 0;  ///< 0: not known.
  std::array<TablePlace, 4> path_tables;
  bool found = false;  ///< Put together without a descriptor: what is in the tree is known by the scan.

  /// Byte address on the disc of a logical block.
  std::uint64_t at(std::uint64_t block) const noexcept {
    return block * block_bytes + static_cast<std::uint64_t>(shift_bytes);
  }
};

/// By a descriptor whose addresses stand `shift_bytes` behind where they say.
VolumeBasis basis_of(const VolumeDescriptor& d, std::int64_t shift_bytes = 0);

/// By the "." of a root directory that stands at this byte address; nothing when it can't be read.
std::optional<DirectoryRecord> read_self_record(const Image& image, std::uint64_t position);

}  // namespace lacuna::iso9660

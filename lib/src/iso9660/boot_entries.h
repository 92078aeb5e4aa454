// SPDX-License-Identifier: GPL-3.0-or-later
// El Torito: the boot catalog and the boot images as entries under `_boot/`.
#pragma once

#include <cstdint>
#include <span>

#include "disc/disc_builder.h"
#include "iso9660/descriptor_sets.h"

namespace lacuna::iso9660 {

/// What leads to boot catalogs.
struct BootSource {
  const DescriptorSet* set = nullptr;
  std::span<const std::uint64_t> found_catalogs;  ///< Byte addresses of those that a scan found, the record being lost.
  std::int64_t shift_bytes = 0;                   ///< As VolumeBasis::shift_bytes.
};

/// Adds the folder `_boot` under `parent` when there is a boot record with a readable catalog, or a catalog was found
/// that lies in no file. An image's size is not recorded (El Torito 1.0, 2.2): it is taken from the medium's type, a
/// file of the tree at the same place, the image's own boot information table, or else a lower bound, marked as
/// guessed. `tree` may be unfinished.
void add_boot_entries(DiscBuilder& builder, const BootSource& source, Tree& tree, NodeId parent);

}  // namespace lacuna::iso9660

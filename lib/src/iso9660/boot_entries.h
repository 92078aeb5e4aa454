// SPDX-License-Identifier: GPL-3.0-or-later
// El Torito: the boot catalog and the boot images as entries under `_boot/`.
#pragma once

#include "disc/disc_builder.h"
#include "iso9660/descriptor_sets.h"

namespace lacuna::iso9660 {

/// Adds the folder `_boot` under `parent` when the set has a boot record with a readable catalog. An image's size is
/// not recorded (El Torito 1.0, 2.2): it is taken from the medium's type, a file of the tree at the same place, the
/// image's own boot information table, or else a lower bound, marked as guessed. `tree` may be unfinished.
void add_boot_entries(DiscBuilder& builder, const DescriptorSet& set, Tree& tree, NodeId parent);

}  // namespace lacuna::iso9660

// SPDX-License-Identifier: GPL-3.0-or-later
// The reader of the ISO 9660 family: descriptor sets, sessions, views, and the united tree.
#pragma once

#include "disc/disc_builder.h"
#include "lacuna/result.h"

namespace lacuna::iso9660 {

/// Fills the builder from every ISO 9660 volume that the options ask for. Gives false when the image has none. Errors:
/// kUsage for a session or view that is not there or an unknown charset, kCancelled.
Result<bool> read_iso9660(DiscBuilder& builder, const DiscOptions& options);

}  // namespace lacuna::iso9660

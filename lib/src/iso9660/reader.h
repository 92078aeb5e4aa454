// SPDX-License-Identifier: GPL-3.0-or-later
// The reader of the ISO 9660 family: descriptor sets, sessions, views, and the united tree.
#pragma once

#include "disc/sessions.h"
#include "iso9660/remains.h"

namespace lacuna::iso9660 {

/// One part for each descriptor set of the image, ascending; none when it has no ISO 9660 file system. The builder,
/// whose structures and findings they add to, and the options must outlive them. With `remains`, what a scan of the
/// image found and finish()ed, also parts for sessions whose descriptors are lost and for earlier volumes (of source
/// kScan), and the trees of all are completed by what was found. Errors: kUsage for an unknown charset (when a part is
/// read), kCancelled.
Result<SessionParts> find_iso9660(DiscBuilder& builder, const DiscOptions& options, const Remains* remains = nullptr);

}  // namespace lacuna::iso9660

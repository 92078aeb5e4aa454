// SPDX-License-Identifier: GPL-3.0-or-later
// Files of a file system whose content is not the 2048 bytes of user data of each of their sectors.
#pragma once

#include "disc/disc_builder.h"

namespace lacuna::iso9660 {

/// On an image with whole sectors: makes the content of files that lie on form 2 sectors (CD-ROM XA), and of files
/// that are recorded as CD audio and lie on audio sectors, whole sectors; doubts files that lie on such sectors in any
/// other way. A file that is recorded as form 2 and has none stays plain. Nothing without whole sectors.
void settle_raw_files(DiscBuilder& builder);

}  // namespace lacuna::iso9660

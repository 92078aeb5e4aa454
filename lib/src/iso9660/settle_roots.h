// SPDX-License-Identifier: GPL-3.0-or-later
// Some writers record in the ".." of every Joliet directory the directory itself, as if each were a root (seen on
// discs of common authoring tools; ECMA-119 6.8.2.2 says that only the root's does). What lists them tells better.
#pragma once

#include "iso9660/frames.h"

namespace lacuna::iso9660 {

/// Gives directories that name themselves as their parents the parent that lists them. When that shows a writer's
/// habit, those that none lists are roots only if no directory of their kind, nor anything that is lost, stands right
/// before them; the parent of the others is not known (kUnknownParent). Reads all directories of the frame, if more of
/// them name themselves than two views need; costs at most twice the image.
void settle_roots(const Image& image, const Remains& remains, Frame& frame);

}  // namespace lacuna::iso9660

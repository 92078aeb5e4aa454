// SPDX-License-Identifier: GPL-3.0-or-later
// Orphans: what is known to be on the disc, while nothing tells where in the tree.
#pragma once

#include <cstdint>

#include "lacuna/tree.h"

namespace lacuna {

/// The folder `_orphans` below the root, made when it is first asked for. Linear in the nodes until it is there.
NodeId orphans_folder(Tree& tree, View view);

/// Takes the folder away when nothing is left in it.
void drop_empty_orphans(Tree& tree);

/// The name of an orphan that nothing names, by its place: the same whenever the disc is read.
std::string orphan_name(NodeKind kind, std::uint64_t position);

}  // namespace lacuna

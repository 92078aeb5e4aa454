// SPDX-License-Identifier: GPL-3.0-or-later
// The manifests of a folder with files of several discs: one a disc, `lacuna-discs/NAME.jsonl`.
#pragma once

#include <string>
#include <string_view>
#include <unordered_set>
#include <vector>

#include "salvage/manifest.h"
#include "salvage/output_folder.h"

namespace lacuna {

/// A manifest's path from a disc's name, and back.
std::string disc_manifest_path(std::string_view disc);
std::string disc_of_manifest(std::string_view path);
bool is_disc_manifest_path(std::string_view path);

/// The paths of those that are there, sorted; none when their folder is not there. Gives 0 or an errno.
int list_disc_manifests(const Directory& root, std::vector<std::string>& out);

/// What people call the disc: the name of its volume, else that of the image; where other discs have that (`taken`, by
/// fold_key), told apart by a suffix. It is a name on all systems.
std::string name_disc(const ImageIdentity& image, const std::unordered_set<std::string>& taken);

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// Bag: the tag files of a BagIt bag (RFC 8493, version 1.0), as text.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "lacuna/pull.h"
#include "salvage/output_folder.h"

namespace lacuna {

inline constexpr std::string_view kBagDeclarationName = "bagit.txt";
inline constexpr std::string_view kBagInfoName = "bag-info.txt";
inline constexpr std::string_view kPayloadManifestName = "manifest-sha256.txt";
inline constexpr std::string_view kTagManifestName = "tagmanifest-sha256.txt";
/// RFC 8493, 2.1.1.
inline constexpr std::string_view kBagDeclaration = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";

/// A line of a manifest with its line feed: two spaces between, as `sha256sum -c` reads it, too. LF, CR and percent
/// signs of the path are encoded, nothing else is (RFC 8493, 2.1.3).
std::string bag_manifest_line(std::string_view sha256, std::string_view path);
/// (checksum, path) of such a line; nothing when it is none.
std::optional<std::pair<std::string, std::string>> parse_bag_manifest_line(std::string_view line);

/// A line of bag-info.txt with its line feed.
std::string bag_info_line(const BagElement& element);
/// Adds a line to the elements read so far: one that begins with a space or tab goes on with the value above (RFC 8493,
/// 2.2.2). False when it is neither that nor an element.
bool parse_bag_info_line(std::string_view line, std::vector<BagElement>& elements);

/// True for labels that Lacuna writes anew whenever it closes a bag.
bool is_own_bag_label(std::string_view label);
/// "12.3 MB", of 1000 each.
std::string bag_size(std::uint64_t bytes);

}  // namespace lacuna

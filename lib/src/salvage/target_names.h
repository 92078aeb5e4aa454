// SPDX-License-Identifier: GPL-3.0-or-later
// Target names: what the files of a disc are called in the folder that they are pulled into.
#pragma once

#include <string>
#include <string_view>
#include <unordered_map>

#include "lacuna/tree.h"

namespace lacuna {

/// Our own names at the top of a pulled folder. A disc's own file of such a name gets a suffix.
inline constexpr std::string_view kManifestName = "lacuna-manifest.jsonl";
inline constexpr std::string_view kSumsName = "SHA256SUMS";
inline constexpr std::string_view kWorkName = ".lacuna-work.jsonl";
inline constexpr std::string_view kDamagedFolder = "_damaged";
/// Of a folder with files of several discs: the folder of their manifests.
inline constexpr std::string_view kDiscsFolder = "lacuna-discs";
/// How files under construction begin; no file of a disc is ever pulled under such a name.
inline constexpr std::string_view kPartPrefix = ".lacuna-part-";
/// What follows a damaged file's name in the name of the list of its gaps.
inline constexpr std::string_view kGapListEnd = ".gaps.txt";

/// The longest name that common file systems take, in bytes of UTF-8.
inline constexpr std::size_t kMaxNameBytes = 255;

/// One name without what no folder should get: separators, "." and "..", control characters and ill-formed bytes
/// (as %HH), device names of DOS (with a '_' behind their stem), more than kMaxNameBytes (shortened, see
/// with_suffix). `portable` also takes <>:"\|?* and dots and spaces at the end (as %HH).
std::string clean_name(std::string_view name, bool portable);

/// True for our own names at the top of a folder, whatever their letter case.
bool is_reserved_at_root(std::string_view name);

/// `name` with "~" and 8 hexadecimal digits that depend on `original` and `attempt` only, before its extension, cut to
/// `max_bytes` at a code point.
std::string with_suffix(std::string_view name, std::string_view original, unsigned attempt = 0,
                        std::size_t max_bytes = kMaxNameBytes);

/// Equal for names that some file system takes for one: by letter case (full folding) or canonical equivalence
/// (Unicode). Errs on the side of equal: combining marks count without their order.
std::string fold_key(std::string_view name);

/// Where a damaged file goes, given its ordinary target path: `_damaged/…`. No part of it ends like a list of gaps.
std::string damaged_path(std::string_view target);
/// The path of the list of gaps beside such a file.
std::string gap_list_path(std::string_view damaged_target);

/// Target names of all nodes of a tree, each unique among its siblings (with `portable` also by fold_key). They depend
/// on the whole tree and not on what is selected, so that every pull from one disc gives the same names. A name that
/// needs no change is never changed in favour of one that does. Safe for concurrent reading; the tree must outlive it.
class TargetNames {
 public:
  TargetNames(const Tree& tree, bool portable);
  std::string_view name(NodeId id) const;
  /// '/' between names, no leading one; the root's is empty.
  std::string path(NodeId id) const;

 private:
  void name_children(NodeId parent, bool portable);

  const Tree* tree_;
  std::unordered_map<NodeId, std::string> changed_;
};

}  // namespace lacuna

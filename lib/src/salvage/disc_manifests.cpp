// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/disc_manifests.h"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>

#include "salvage/target_names.h"

namespace lacuna {
namespace {

constexpr std::string_view kManifestEnd = ".jsonl";
constexpr std::size_t kMaxDiscNameBytes = 100;

}  // namespace

std::string disc_manifest_path(std::string_view disc) {
  return fmt::format("{}/{}{}", kDiscsFolder, disc, kManifestEnd);
}

std::string disc_of_manifest(std::string_view path) {
  path.remove_prefix(kDiscsFolder.size() + 1);
  return std::string(path.substr(0, path.size() - kManifestEnd.size()));
}

bool is_disc_manifest_path(std::string_view path) {
  if (!is_inside_path(path)) return false;
  const auto [folder, name] = split_path(path);
  return folder == kDiscsFolder && name.ends_with(kManifestEnd) && name.size() > kManifestEnd.size() &&
         !name.starts_with('.');
}

int list_disc_manifests(const Directory& root, std::vector<std::string>& out) {
  Directory dir;
  int error = DirectoryCache(root).open(kDiscsFolder, false, dir);
  if (error == 0) {
    error = list_directory(dir->get(), [&](std::string_view name, unsigned char) {
      std::string path = fmt::format("{}/{}", kDiscsFolder, name);
      if (is_disc_manifest_path(path)) out.push_back(std::move(path));
      return true;
    });
  }
  std::sort(out.begin(), out.end());
  return error == ENOENT ? 0 : error;
}

std::string name_disc(const ImageIdentity& image, const std::unordered_set<std::string>& taken) {
  std::string_view wanted = image.volume_id;
  wanted = wanted.substr(0, wanted.find_last_not_of(' ') + 1);
  if (wanted.empty()) wanted = std::string_view(image.name).substr(0, image.name.rfind('.'));
  std::string name = clean_name(wanted, true);
  const std::string identity = fmt::format("{}/{}/{}", image.descriptors_sha256, image.name, image.bytes);
  if (name.starts_with('.')) name.insert(0, 1, '_');
  if (name.size() > kMaxDiscNameBytes || is_reserved_at_root(name)) {
    name = with_suffix(name, identity, 0, kMaxDiscNameBytes);
  }
  const std::string base = name;
  for (unsigned attempt = 0; taken.contains(fold_key(name)); ++attempt) {
    name = with_suffix(base, identity, attempt, kMaxDiscNameBytes);
  }
  return name;
}

}  // namespace lacuna

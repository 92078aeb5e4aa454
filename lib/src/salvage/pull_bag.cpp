// SPDX-License-Identifier: GPL-3.0-or-later
// Of a bag: its tag files, and whether it is complete. A bag is closed, by its bagit.txt, only when every file below
// data/ is one that a manifest names, and every file that a manifest names is there with its size.
#include <dirent.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <map>

#include "base/bytes.h"
#include "salvage/bag.h"
#include "salvage/json_line.h"
#include "salvage/pull_record.h"
#include "salvage/target_names.h"

namespace lacuna {
namespace {

constexpr std::array kTagFiles{kBagDeclarationName, kBagInfoName, kPayloadManifestName, kTagManifestName};

bool has_element(const std::vector<BagElement>& elements, const BagElement& e) {
  return std::find(elements.begin(), elements.end(), e) != elements.end();
}

/// As a value of bag-info.txt, which takes no line breaks.
std::string on_one_line(std::string text) {
  std::replace_if(
      text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7F; }, ' ');
  return text;
}

}  // namespace

/// Tag files that are there must be ours: beside a manifest of Lacuna, and no links.
Result<Done> PullRecord::look_at_bag(bool ours) {
  for (const std::string_view name : kTagFiles) {
    std::optional<struct stat> there;
    if (const int error = look_at(root_->get(), name, there); error != 0) return cannot_write(name, error);
    if (there && (!ours || !S_ISREG(there->st_mode))) return in_the_way(name, "was not written by Lacuna");
  }
  return Done{};
}

Result<Done> PullRecord::open_bag() {
  Fd file;
  int error = open_at(root_->get(), kBagInfoName, O_RDONLY | O_NONBLOCK, file);
  if (error == 0) {
    std::optional<Error> failure;
    error = for_each_line(file.get(), [&](std::string_view line, std::uint64_t number, bool) {
      if (!parse_bag_info_line(line, bag_info_)) {
        failure =
            Error{ErrorCode::kBadInput, fmt::format("{}/{}:{}: no element of a bag, such as 'Label: value'; mend it "
                                                    "or move the file away",
                                                    shown_, kBagInfoName, number)};
      }
      return !failure;
    });
    if (failure) return *failure;
  }
  if (error != 0 && error != ENOENT) return cannot_write(kBagInfoName, error);
  // Who meets the bag from now on must not take it for a complete one.
  if (::unlinkat(root_->get(), std::string(kBagDeclarationName).c_str(), 0) != 0 && errno != ENOENT) {
    return cannot_write(kBagDeclarationName, errno);
  }
  Directory payload;
  error = DirectoryCache(root_).open(kPayloadFolder, true, payload);
  return error == 0 ? Result<Done>(Done{}) : cannot_write(kPayloadFolder, error);
}

/// Why the bag is not complete; nothing when it is, with the number of its payload's files and bytes.
std::optional<std::string> PullRecord::not_closed(const std::vector<Sum>& sums, std::uint64_t& files,
                                                  std::uint64_t& bytes) const {
  std::vector<bool> seen(sums.size());
  std::optional<std::string> why;
  const auto complain = [&](std::string_view path, std::string_view what) {
    if (!why) why = fmt::format("'{}' {}", path, what);
    return false;
  };
  const auto look = [&](const std::string& path, const Directory& dir, std::string_view name) {
    const auto it =
        std::lower_bound(sums.begin(), sums.end(), path, [](const Sum& s, const std::string& p) { return s.path < p; });
    if (it == sums.end() || it->path != path) {
      return complain(path, "was not put there by a pull; move it away");
    }
    std::optional<struct stat> there;
    if (const int error = look_at(dir->get(), name, there); error != 0) return complain(path, errno_text(error));
    if (!there || !S_ISREG(there->st_mode)) return complain(path, "is no regular file any more; move it away");
    const auto size = static_cast<std::uint64_t>(there->st_size);
    if (it->bytes && *it->bytes != size) {
      return complain(path, fmt::format("has {} bytes instead of {}; move it away", size, *it->bytes));
    }
    seen[static_cast<std::size_t>(it - sums.begin())] = true;
    ++files;
    bytes += size;
    return true;
  };
  DirectoryCache directories(root_);
  std::vector<std::string> left{std::string(kPayloadFolder)};
  while (!left.empty() && !why) {
    const std::string at = std::move(left.back());
    left.pop_back();
    Directory dir;
    int error = directories.open(at, false, dir);
    if (error == 0) {
      error = list_directory(dir->get(), [&](std::string_view name, unsigned char type) {
        std::string path = fmt::format("{}/{}", at, name);
        if (type == DT_UNKNOWN) {
          std::optional<struct stat> there;
          if (look_at(dir->get(), name, there) == 0 && there && S_ISDIR(there->st_mode)) type = DT_DIR;
        }
        if (type != DT_DIR) return look(path, dir, name);
        left.push_back(std::move(path));
        return true;
      });
    }
    if (error != 0) complain(at, errno_text(error));
  }
  const auto missing = std::find(seen.begin(), seen.end(), false);
  if (!why && missing != seen.end()) {
    complain(sums[static_cast<std::size_t>(missing - seen.begin())].path, "is named by a manifest and is not there");
  }
  return why;
}

Result<Done> PullRecord::write_tag_files(const std::vector<Sum>& sums,
                                         std::vector<std::pair<std::string, std::string>> tags,
                                         const std::vector<BagElement>& info, std::uint64_t not_whole,
                                         Finished& finished) {
  std::uint64_t files = 0, bytes = 0;
  if (const auto why = not_closed(sums, files, bytes)) {
    finished.findings.add(
        {Severity::kLoss, "bag-not-closed", shown_, std::nullopt, "RFC 8493, 3",
         fmt::format("no complete bag, so without {}: {}, and pull again", kBagDeclarationName, *why)});
    return Done{};
  }
  // Two names that some file system takes for one: a copy there loses one of the files (RFC 8493, 6.1).
  std::map<std::string, std::string_view> folded;
  if (header_.layout.arrangement == Arrangement::kTree) {
    for (const Sum& s : sums) {
      const auto [it, added] = folded.emplace(fold_key(s.path), s.path);
      if (added) continue;
      finished.findings.add(
          {Severity::kDoubt, "bag-names-alike", std::string(s.path), std::nullopt, "RFC 8493, 6.1",
           fmt::format("some systems take its name for that of '{}', and a copy there has only one of "
                       "them; --portable-names keeps them apart in a new bag",
                       it->second)});
    }
  }

  std::string sha256;
  auto written = publish_text(
      [&](const TextSink& write) {
        for (const Sum& s : sums) write(bag_manifest_line(s.digits(), s.path));
      },
      kPayloadManifestName, &sha256);
  if (!written) return written;
  tags.emplace_back(kPayloadManifestName, sha256);

  std::vector<BagElement> elements;
  for (const BagElement& e : bag_info_) {
    if (!is_own_bag_label(e.label) && !e.value.empty() && !has_element(elements, e)) elements.push_back(e);
  }
  const std::string volume = on_one_line(header_.image.volume_id.empty() ? disc_name_ : header_.image.volume_id);
  std::vector<BagElement> more = info;
  if (!volume.empty()) more.push_back({"External-Identifier", volume});
  more.push_back({"External-Description", fmt::format("Files of an optical disc, read from the image {}",
                                                      on_one_line(valid_utf8(header_.image.name)))});
  for (const BagElement& e : more) {
    if (!has_element(elements, e)) elements.push_back(e);
  }
  elements.push_back({"Bagging-Date", header_.made.substr(0, 10)});
  elements.push_back({"Bag-Size", bag_size(bytes)});
  elements.push_back({"Payload-Oxum", fmt::format("{}.{}", bytes, files)});
  elements.push_back({"Bag-Software-Agent", "lacuna " LACUNA_VERSION});
  if (not_whole != 0) {
    elements.push_back(
        {"Lacuna-Not-Whole", fmt::format("{} of the files were not whole on the disc; {} says which", not_whole,
                                         header_.layout.is_collection() ? kDiscsFolder : kManifestName)});
  }
  written = publish_text(
      [&](const TextSink& write) {
        for (const BagElement& e : elements) write(bag_info_line(e));
      },
      kBagInfoName, &sha256);
  if (!written) return written;
  tags.emplace_back(kBagInfoName, sha256);

  Hasher hasher;
  hasher.start();
  hasher.add(as_bytes(kBagDeclaration));
  tags.emplace_back(kBagDeclarationName, hasher.finish().sha256);
  std::sort(tags.begin(), tags.end());
  written = publish_text(
      [&](const TextSink& write) {
        for (const auto& [name, sum] : tags) write(bag_manifest_line(sum, name));
      },
      kTagManifestName, nullptr);
  finished.bag_closed = written.ok();
  return written;
}

}  // namespace lacuna

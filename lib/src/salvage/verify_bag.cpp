// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/verify_bag.h"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <unordered_set>

#include "base/bytes.h"
#include "base/utf8.h"
#include "salvage/bag.h"
#include "salvage/checksums.h"
#include "salvage/manifest.h"
#include "salvage/pull_layout.h"
#include "salvage/target_names.h"

namespace lacuna {
namespace {

constexpr std::size_t kBufferBytes = 1 << 18;

using Kind = VerifyProblem::Kind;
using Line = std::function<void(std::string_view line, std::uint64_t number)>;

class BagVerifier {
 public:
  BagVerifier(const Directory& root, const AddProblem& add) : directories_(root), add_(add) {}

  void check_declaration() {
    std::string text;
    std::uint64_t lines = 0;
    const bool there = read(kBagDeclarationName, [&](std::string_view line, std::uint64_t) {
      if (++lines <= 2) text += fmt::format("{}\n", line);
    });
    if (there && (text != kBagDeclaration || lines != 2)) {
      add_(Kind::kChanged, kBagDeclarationName,
           "does not say that this is a bag of version 1.0 with tag files in UTF-8");
    }
  }

  void check_payload_manifest(const PayloadSums& payload) {
    std::unordered_set<std::string> listed;
    const bool there = read_sums(kPayloadManifestName, [&](const std::string& sha256, std::string path) {
      if (const auto it = payload.find(path); it == payload.end()) {
        add_(Kind::kSumsDisagree, path, fmt::format("{} names it, no manifest of Lacuna does", kPayloadManifestName));
      } else if (*it->second != sha256) {
        add_(Kind::kSumsDisagree, path, fmt::format("{} and the manifest of Lacuna differ", kPayloadManifestName));
      }
      if (!listed.insert(std::move(path)).second) {
        add_(Kind::kSumsDisagree, kPayloadManifestName, "names a file twice");
      }
    });
    if (!there) return;
    for (const auto& [path, sha256] : payload) {
      if (!listed.contains(std::string(path))) {
        add_(Kind::kSumsDisagree, path, fmt::format("{} does not name it", kPayloadManifestName));
      }
    }
  }

  void check_tag_manifest(const std::vector<std::string>& manifests) {
    std::unordered_set<std::string> listed;
    const bool there = read_sums(kTagManifestName, [&](const std::string& sha256, std::string path) {
      if (path.starts_with(fmt::format("{}/", kPayloadFolder)) || path == kTagManifestName) {
        add_(Kind::kSumsDisagree, path, fmt::format("{} names it, and it is no other tag file", kTagManifestName));
      } else if (listed.insert(path).second) {
        check_sum(path, sha256);
      } else {
        add_(Kind::kSumsDisagree, kTagManifestName, "names a file twice");
      }
    });
    if (!there) return;
    std::vector<std::string_view> needed{kBagDeclarationName, kBagInfoName, kPayloadManifestName, kSumsName};
    needed.insert(needed.end(), manifests.begin(), manifests.end());
    for (const std::string_view path : needed) {
      if (!listed.contains(std::string(path))) {
        add_(Kind::kSumsDisagree, path, fmt::format("{} does not name it", kTagManifestName));
      }
    }
  }

  void check_info(const PayloadSums& payload) {
    std::vector<BagElement> elements;
    const bool there = read(kBagInfoName, [&](std::string_view line, std::uint64_t number) {
      if (!parse_bag_info_line(line, elements)) {
        add_(Kind::kChanged, kBagInfoName, fmt::format("line {} is no element", number));
      }
    });
    if (!there) return;
    std::uint64_t files = 0, bytes = 0;
    for (const auto& [path, sha256] : payload) {
      const auto [parent, name] = split_path(path);
      Directory dir;
      std::optional<struct stat> st;
      if (directories_.open(parent, false, dir) != 0 || look_at(dir->get(), name, st) != 0 || !st) continue;
      ++files;
      bytes += static_cast<std::uint64_t>(st->st_size);
    }
    const std::string oxum = fmt::format("{}.{}", bytes, files);
    std::size_t told = 0;
    for (const BagElement& e : elements) {
      if (lower_ascii(e.label) != "payload-oxum") continue;
      ++told;
      if (e.value != oxum) {
        add_(Kind::kSumsDisagree, kBagInfoName, fmt::format("Payload-Oxum is {}, the files have {}", e.value, oxum));
      }
    }
    if (told != 1) add_(Kind::kSumsDisagree, kBagInfoName, fmt::format("has Payload-Oxum {} times, not once", told));
  }

 private:
  int open(std::string_view path, Fd& file) {
    const auto [parent, name] = split_path(path);
    Directory dir;
    const int error = directories_.open(parent, false, dir);
    if (error != 0) return error;
    struct stat st {};
    if (const int refused = open_at(dir->get(), name, O_RDONLY | O_NONBLOCK, file); refused != 0) return refused;
    if (::fstat(file.get(), &st) != 0) return errno;
    return S_ISREG(st.st_mode) ? 0 : EINVAL;
  }

  /// False when the file can't be read, which is then a problem.
  bool read(std::string_view path, const Line& take) {
    Fd file;
    int error = open(path, file);
    if (error == ENOENT) {
      add_(Kind::kMissing, path,
           path == kBagDeclarationName ? "is not in the folder: this is no complete bag; pull again to go on"
                                       : "is not in the folder");
      return false;
    }
    if (error == 0) {
      error = for_each_line(file.get(), [&](std::string_view line, std::uint64_t number, bool) {
        take(line, number);
        return true;
      });
    }
    if (error != 0) add_(Kind::kUnreadable, path, errno_text(error));
    return error == 0;
  }

  bool read_sums(std::string_view path, const std::function<void(const std::string&, std::string)>& take) {
    return read(path, [&](std::string_view line, std::uint64_t number) {
      auto parsed = parse_bag_manifest_line(line);
      if (parsed && is_inside_path(parsed->second)) return take(parsed->first, std::move(parsed->second));
      add_(Kind::kSumsDisagree, path, fmt::format("line {} is no checksum and path", number));
    });
  }

  void check_sum(const std::string& path, const std::string& sha256) {
    Fd file;
    int error = open(path, file);
    if (error == ENOENT)
      return add_(Kind::kMissing, path, fmt::format("is not in the folder; {} names it", kTagManifestName));
    Hasher hasher;
    hasher.start();
    std::vector<std::uint8_t> buffer(kBufferBytes);
    std::size_t got = buffer.size();
    for (std::uint64_t at = 0; error == 0 && got == buffer.size(); at += got) {
      error = read_fully_at(file.get(), at, buffer, got);
      hasher.add(std::span(buffer).first(got));
    }
    if (error != 0) return add_(Kind::kUnreadable, path, errno_text(error));
    if (hasher.finish().sha256 != sha256) {
      add_(Kind::kChanged, path, fmt::format("is not as {} was written with", kTagManifestName));
    }
  }

  DirectoryCache directories_;
  const AddProblem& add_;
};

}  // namespace

void verify_bag(const Directory& root, const PayloadSums& payload, const std::vector<std::string>& manifests,
                const AddProblem& add) {
  BagVerifier verifier(root, add);
  verifier.check_declaration();
  verifier.check_payload_manifest(payload);
  verifier.check_tag_manifest(manifests);
  verifier.check_info(payload);
}

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
#include "reference/reference_listing.h"

#include <archive.h>
#include <archive_entry.h>
#include <cdio/iso9660.h>
#include <openssl/evp.h>

#include <algorithm>
#include <array>
#include <cstdlib>
#include <deque>
#include <memory>
#include <set>
#include <vector>

namespace lacuna::test {
namespace {

/// ECMA-119 7.5: "NAME.EXT;1" without the version, and without the dot of an empty extension.
std::string plain_name(std::string name) {
  const std::size_t semicolon = name.rfind(';');
  if (semicolon != std::string::npos && semicolon + 1 < name.size() &&
      name.find_first_not_of("0123456789", semicolon + 1) == std::string::npos) {
    name.resize(semicolon);
  }
  if (name.size() > 1 && name.back() == '.') name.pop_back();
  return name;
}

/// Block by block, because archive_read_data() ends early where a zisofs file has blocks of zeros.
std::string hash_of_data(archive* a, std::uint64_t bytes) {
  static constexpr std::array<char, 65536> kZeros{};
  Sha256 sha;
  std::uint64_t at = 0;
  const auto zeros_to = [&](std::uint64_t end) {
    for (; at < end; at += std::min<std::uint64_t>(end - at, kZeros.size())) {
      sha.add(kZeros.data(), static_cast<std::size_t>(std::min<std::uint64_t>(end - at, kZeros.size())));
    }
  };
  for (;;) {
    const void* block = nullptr;
    std::size_t n = 0;
    la_int64_t offset = 0;
    const int status = archive_read_data_block(a, &block, &n, &offset);
    if (status == ARCHIVE_EOF) break;
    if (status < ARCHIVE_WARN) return std::string("unreadable: ") + archive_error_string(a);
    zeros_to(static_cast<std::uint64_t>(offset));
    sha.add(block, n);
    at += n;
  }
  zeros_to(bytes);
  return at == bytes ? sha.hex() : "longer than its size";
}

}  // namespace

Sha256::Sha256() : context_(EVP_MD_CTX_new()) {
  EVP_DigestInit_ex(static_cast<EVP_MD_CTX*>(context_), EVP_sha256(), nullptr);
}
Sha256::~Sha256() { EVP_MD_CTX_free(static_cast<EVP_MD_CTX*>(context_)); }
void Sha256::add(const void* bytes, std::size_t n) { EVP_DigestUpdate(static_cast<EVP_MD_CTX*>(context_), bytes, n); }
std::string Sha256::hex() {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest;
  unsigned n = 0;
  EVP_DigestFinal_ex(static_cast<EVP_MD_CTX*>(context_), digest.data(), &n);
  std::string text;
  for (unsigned i = 0; i < n; ++i) {
    text += "0123456789abcdef"[digest[i] >> 4];
    text += "0123456789abcdef"[digest[i] & 15];
  }
  return text;
}

std::optional<ReferenceListing> list_with_libarchive(const std::filesystem::path& image, View view, std::string& why) {
  const std::unique_ptr<archive, int (*)(archive*)> a(archive_read_new(), archive_read_free);
  archive_read_support_format_iso9660(a.get());
  const char* options = view == View::kRockRidge ? "iso9660:!joliet"
                        : view == View::kJoliet  ? "iso9660:!rockridge"
                                                 : "iso9660:!joliet,iso9660:!rockridge";
  archive_read_set_options(a.get(), options);
  if (archive_read_open_filename(a.get(), image.c_str(), 65536) != ARCHIVE_OK) {
    why = archive_error_string(a.get());
    return std::nullopt;
  }
  ReferenceListing listing;
  std::vector<std::pair<std::string, std::string>> hardlinks;
  for (;;) {
    archive_entry* entry = nullptr;
    const int status = archive_read_next_header(a.get(), &entry);
    if (status == ARCHIVE_EOF) break;
    if (status < ARCHIVE_WARN) {
      why = archive_error_string(a.get());
      return std::nullopt;
    }
    const char* name = archive_entry_pathname_utf8(entry);
    if (name == nullptr) name = archive_entry_pathname(entry);
    const std::string path = name == nullptr ? "" : name;
    if (path.empty() || path == ".") continue;
    ReferenceEntry e;
    if (archive_entry_mtime_is_set(entry) != 0) e.modified = archive_entry_mtime(entry);
    if (const char* to = archive_entry_hardlink_utf8(entry); to != nullptr) {
      hardlinks.emplace_back(path, to);
    } else if (archive_entry_filetype(entry) == AE_IFDIR) {
      e.kind = ReferenceEntry::Kind::kDirectory;
    } else if (archive_entry_filetype(entry) == AE_IFLNK) {
      e.kind = ReferenceEntry::Kind::kSymlink;
      if (const char* target = archive_entry_symlink_utf8(entry); target != nullptr) e.target = target;
    } else if (archive_entry_filetype(entry) == AE_IFREG) {
      e.size = static_cast<std::uint64_t>(archive_entry_size(entry));
      e.sha256 = hash_of_data(a.get(), e.size);
    } else {
      e.kind = ReferenceEntry::Kind::kOther;
    }
    listing[path] = std::move(e);
  }
  for (const auto& [path, to] : hardlinks) {
    listing[path].size = listing[to].size;
    listing[path].sha256 = listing[to].sha256;
  }
  return listing;
}

namespace {

std::string hash_of_extent(iso9660_t* iso, lsn_t lsn, std::uint64_t bytes) {
  Sha256 sha;
  std::vector<char> buffer(64 * ISO_BLOCKSIZE);
  while (bytes > 0) {
    const auto blocks = static_cast<long>(std::min<std::uint64_t>(64, (bytes + ISO_BLOCKSIZE - 1) / ISO_BLOCKSIZE));
    if (iso9660_iso_seek_read(iso, buffer.data(), lsn, blocks) <= 0) return "unreadable";
    const auto n = static_cast<std::size_t>(std::min<std::uint64_t>(bytes, static_cast<std::uint64_t>(blocks) * 2048));
    sha.add(buffer.data(), n);
    bytes -= n;
    lsn += static_cast<lsn_t>(blocks);
  }
  return sha.hex();
}

ReferenceEntry entry_of(iso9660_t* iso, const iso9660_stat_t& s, bool rock_ridge) {
  ReferenceEntry e;
  std::tm tm = s.tm;
  e.modified = timegm(&tm);
  if (rock_ridge && s.rr.b3_rock == yep) {
    if (s.rr.modify.b_used) {
      std::tm modified = {};
      if (s.rr.modify.b_longdate) {
        iso9660_get_ltime(&s.rr.modify.t.ltime, &modified);
      } else {
        iso9660_get_dtime(&s.rr.modify.t.dtime, false, &modified);
      }
      e.modified = timegm(&modified);
    }
    if (S_ISLNK(s.rr.st_mode)) {
      e.kind = ReferenceEntry::Kind::kSymlink;
      if (s.rr.psz_symlink != nullptr) e.target.assign(s.rr.psz_symlink, static_cast<std::size_t>(s.rr.i_symlink));
      return e;
    }
  }
  if (s.type == iso9660_stat_t::_STAT_DIR) {
    e.kind = ReferenceEntry::Kind::kDirectory;
  } else if (rock_ridge && s.rr.b3_rock == yep && s.rr.st_mode != 0 && !S_ISREG(s.rr.st_mode)) {
    e.kind = ReferenceEntry::Kind::kOther;
  } else {
    e.size = s.size;
    e.sha256 = hash_of_extent(iso, s.lsn, s.size);
  }
  return e;
}

}  // namespace

std::optional<ReferenceListing> list_with_libiso9660(const std::filesystem::path& image, View view, std::string& why) {
  const iso_extension_mask_t mask = view == View::kRockRidge ? ISO_EXTENSION_ROCK_RIDGE
                                    : view == View::kJoliet  ? ISO_EXTENSION_JOLIET
                                                             : ISO_EXTENSION_NONE;
  iso9660_t* iso = iso9660_open_ext(image.c_str(), mask);
  if (iso == nullptr) {
    why = "iso9660_open_ext refuses the image";
    return std::nullopt;
  }
  ReferenceListing listing;
  std::deque<std::pair<std::string, std::string>> todo = {{"", "/"}};  // our path, the library's path
  std::set<std::string> seen;
  while (!todo.empty()) {
    const auto [path, raw_path] = todo.front();
    todo.pop_front();
    if (!seen.insert(raw_path).second) continue;
    CdioISO9660FileList_t* entries = iso9660_ifs_readdir(iso, raw_path.c_str());
    if (entries == nullptr) continue;
    for (CdioListNode_t* node = _cdio_list_begin(entries); node != nullptr; node = _cdio_list_node_next(node)) {
      const auto& s = *static_cast<const iso9660_stat_t*>(_cdio_list_node_data(node));
      const std::string raw = s.filename;
      if (raw == "." || raw == ".." || raw.empty()) continue;
      const bool rock = view == View::kRockRidge && s.rr.b3_rock == yep;
      const std::string name =
          path.empty() ? (rock ? raw : plain_name(raw)) : path + "/" + (rock ? raw : plain_name(raw));
      listing[name] = entry_of(iso, s, view == View::kRockRidge);
      if (s.type == iso9660_stat_t::_STAT_DIR) todo.emplace_back(name, raw_path + raw + "/");
    }
    iso9660_filelist_free(entries);
  }
  iso9660_close(iso);
  return listing;
}

}  // namespace lacuna::test

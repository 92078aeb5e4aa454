// SPDX-License-Identifier: GPL-3.0-or-later
#include "limit.h"

#include <fmt/format.h>

#include <algorithm>
#include <span>

#include "base/bytes.h"

namespace lacuna::test {
namespace {

/// Calls f(token, byte where it begins) for every token in a sector: 8-bit, upper or lower case, or UCS-2 big-endian.
template <class F>
void for_each_token(std::span<const std::uint8_t> sector, F&& f) {
  for (std::size_t at = 0; at + 4 <= sector.size(); ++at) {
    const std::uint8_t letter = sector[at] | 32;
    const std::size_t digits = letter == 'f' ? 5 : letter == 'd' ? 3 : 0;
    if (digits == 0) continue;
    for (const std::size_t width : {std::size_t{1}, std::size_t{2}}) {
      if (width == 2 && (at == 0 || sector[at - 1] != 0)) continue;
      std::string token(1, static_cast<char>(letter));
      for (std::size_t i = 1; i <= digits; ++i) {
        const std::size_t next = at + i * width;
        if (next >= sector.size() || sector[next] < '0' || sector[next] > '9') break;
        if (width == 2 && sector[next - 1] != 0) break;
        token.push_back(static_cast<char>(sector[next]));
      }
      if (token.size() == digits + 1) f(token, at + 1 - width);
    }
  }
}

}  // namespace

Limit::Limit(const AuthoredDisc& disc) : disc_(disc), blocks_(disc.bytes), files_(disc.files.size()) {
  for (std::size_t i = 0; i < files_.size(); ++i) {
    const TaggedFile& f = disc.files[i];
    for (std::uint32_t block = 0; std::uint64_t{block} * kTaggedBlockBytes < f.bytes; ++block) {
      // Every block was recorded once, or the disc is not what it was meant to be: no limit then.
      const auto place = blocks_.place(f.number, block);
      if (!place) {
        files_[i].data.clear();
        break;
      }
      files_[i].data.push_back(*place / 2048);
    }
  }
  look_for_names();
  if (!disc.udf_structures.empty()) take_entries();
  if (disc.partition_lba) look_for_entries();
}

void Limit::look_for_names() {
  std::map<std::string, std::vector<std::size_t>> by_token;
  for (std::size_t i = 0; i < files_.size(); ++i) by_token[disc_.files[i].token()].push_back(i);
  for (std::uint64_t lba = 0; lba < disc_.sectors(); ++lba) {
    if (blocks_.is_data(lba)) continue;
    const auto sector = std::span(disc_.bytes).subspan(lba * 2048, 2048);
    for_each_token(sector, [&](const std::string& token, std::size_t at) {
      if (token[0] == 'd') {
        folder_names_[token].push_back(lba);
        return;
      }
      const auto named = by_token.find(token);
      if (named == by_token.end()) return;
      for (const std::size_t i : named->second) {
        if (disc_.files[i].superseded || lba < disc_.files[i].named_from_lba) continue;
        Known& file = files_[i];
        file.names.push_back(lba);
        // ECMA-119 9.1: the location of the extent at 2, the identifier at 33 of a record.
        if (at >= 31 && !file.data.empty() && le32(sector, at - 31) == file.data.front())
          file.places.push_back({{lba}});
      }
    });
  }
}

/// Entries of a volume by an authoring tool: a sector with the identifier of a file entry's tag, that holds the pair of
/// the file's size and place (ECMA-167 4/14.14.1).
void Limit::look_for_entries() {
  std::map<std::uint64_t, std::size_t> by_pair;
  for (std::size_t i = 0; i < files_.size(); ++i) {
    if (files_[i].data.empty() || disc_.files[i].superseded) continue;
    by_pair[disc_.files[i].bytes << 32 | (files_[i].data.front() - *disc_.partition_lba)] = i;
  }
  for (std::uint64_t lba = *disc_.partition_lba; lba < disc_.sectors(); ++lba) {
    const auto sector = std::span(disc_.bytes).subspan(lba * 2048, 2048);
    if (blocks_.is_data(lba) || (le16(sector, 0) != 261 && le16(sector, 0) != 266)) continue;
    for (std::size_t at = 176; at + 8 <= sector.size(); at += 4) {
      const auto named = by_pair.find(std::uint64_t{le32(sector, at)} << 32 | le32(sector, at + 4));
      if (named != by_pair.end()) files_[named->second].places.push_back({{lba}});
    }
  }
}

/// Entries as the builder lists them, with the extents of allocation descriptors that they lead to.
void Limit::take_entries() {
  std::map<std::string, Needs> by_token;
  std::map<std::pair<std::string, std::uint32_t>, std::size_t> extents;  // how many of a copy were met
  for (const UdfStructure& s : disc_.udf_structures) {
    if (s.version != 0 || s.copy > 1 || (s.kind != "fe" && s.kind != "aed")) continue;
    const std::string token = token_of(std::string_view(s.path).substr(s.path.rfind('/') + 1));
    Needs& needs = by_token[token];
    const std::size_t n = s.kind == "fe" ? 0 : ++extents[{token, s.copy}];
    if (needs.size() <= n) needs.resize(n + 1);
    needs[n].push_back(s.address / 2048);
  }
  for (std::size_t i = 0; i < files_.size(); ++i) {
    const auto at = by_token.find(disc_.files[i].token());
    if (!disc_.files[i].superseded && at != by_token.end()) files_[i].places.push_back(at->second);
  }
}

bool Limit::survive(const Needs& needs, const Damage& damage) {
  return std::ranges::all_of(needs, [&](const std::vector<std::uint64_t>& lbas) {
    return std::ranges::any_of(lbas, [&](std::uint64_t lba) { return damage.survives(lba); });
  });
}

Limit::Of Limit::of(std::size_t file, const Damage& damage) const {
  const Known& known = files_[file];
  Of of;
  if (disc_.files[file].superseded || known.data.empty()) return of;
  const auto any = [&](const std::vector<std::uint64_t>& lbas) {
    return std::ranges::any_of(lbas, [&](std::uint64_t lba) { return damage.survives(lba); });
  };
  of.data = std::ranges::all_of(known.data, [&](std::uint64_t lba) { return damage.survives(lba); });
  of.placed = std::ranges::any_of(known.places, [&](const Needs& n) { return survive(n, damage); });
  of.named = any(known.names);
  of.path_named = of.named;
  const std::vector<std::string>& path = disc_.files[file].path;
  for (std::size_t i = 0; i + 1 < path.size() && of.path_named; ++i) {
    const auto at = folder_names_.find(path[i]);
    of.path_named = at != folder_names_.end() && any(at->second);
  }
  return of;
}

std::string Limit::evidence(std::size_t file, const Damage& damage) const {
  std::string out = "placed by";
  int shown = 0;
  for (const Needs& needs : files_[file].places) {
    if (!survive(needs, damage) || ++shown > 4) continue;
    for (std::size_t i = 0; i < needs.size(); ++i)
      out += fmt::format("{}{}", i == 0 ? " " : "+", fmt::join(needs[i], "|"));
  }
  out += ", named by";
  shown = 0;
  for (const std::uint64_t lba : files_[file].names) {
    if (damage.survives(lba) && ++shown <= 4) out += fmt::format(" {}", lba);
  }
  if (shown == 0) out += " nothing";
  return out + fmt::format(", data from {}", files_[file].data.empty() ? 0 : files_[file].data.front());
}

}  // namespace lacuna::test

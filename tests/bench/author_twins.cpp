// SPDX-License-Identifier: GPL-3.0-or-later
// Writes the images of `tests/bench/twins`: author_twins FOLDER DONORS FILES. One disc of FILES files, every fifth of
// which lacks a block (needy.iso, needy.map), and DONORS discs of as many files, of the same few sizes, each with its
// share of the damaged ones. What no file needs is zeros in holes; good.map says that they were read.
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <random>
#include <string>

#include "support/iso_builder.h"

namespace {

using namespace lacuna::test;

constexpr std::size_t kPerDirectory = 100;
constexpr std::size_t kBlock = 2048;

std::size_t size_of(std::size_t file) { return (5 + file * 37 % 8) * kBlock - file % 100; }

std::string content_of(std::size_t file) {
  std::mt19937 random(static_cast<unsigned>(file));
  std::string out(size_of(file), '\0');
  for (char& c : out) c = static_cast<char>(random());
  return out;
}

std::string numbered(const char* prefix, std::size_t number, const char* ending) {
  std::string digits = std::to_string(number);
  digits.insert(0, 5 - std::min<std::size_t>(5, digits.size()), '0');
  return prefix + digits + ending;
}

/// What `content` gives nothing for is filler of another name.
template <class Content>
IsoImage author(const std::string& volume, std::size_t files, Content&& content) {
  IsoNode root = iso_directory("");
  for (std::size_t file = 0; file < files; ++file) {
    if (file % kPerDirectory == 0) {
      root.children.push_back(iso_directory(numbered("D", file / kPerDirectory, "")));
    }
    std::string bytes = content(file);
    const char* prefix = bytes.empty() ? "Z" : "F";
    if (bytes.empty()) bytes.assign(size_of(file), '\0');
    root.children.back().children.push_back(iso_file(numbered(prefix, file, ".DAT;1"), std::move(bytes)));
  }
  IsoOptions options;
  options.volume_id = volume;
  return build_iso(std::move(root), options);
}

void write_sparse(const std::filesystem::path& path, const IsoImage& image) {
  std::ofstream out(path, std::ios::binary);
  const std::string zeros(kBlock, '\0');
  for (std::size_t at = 0; at < image.bytes.size(); at += kBlock) {
    const auto* block = reinterpret_cast<const char*>(image.bytes.data() + at);
    if (std::string_view(block, kBlock) == zeros) continue;
    out.seekp(static_cast<std::streamoff>(at));
    out.write(block, kBlock);
  }
  out.close();
  std::filesystem::resize_file(path, image.bytes.size());
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 4) {
    std::cerr << "usage: author_twins FOLDER DONORS FILES\n";
    return 2;
  }
  const std::filesystem::path folder = argv[1];
  const std::size_t donors = std::strtoul(argv[2], nullptr, 10), files = std::strtoul(argv[3], nullptr, 10);
  const IsoImage needy = author("NEEDY", files, content_of);
  write_sparse(folder / "needy.iso", needy);
  std::ofstream map(folder / "needy.map");
  for (std::size_t file = 0; file < files; file += 5) {
    const std::string path = numbered("D", file / kPerDirectory, "/") + numbered("F", file, ".DAT;1");
    map << needy.primary.at(path).extent / kBlock + 2 << " 1 bad\n";
  }
  std::ofstream(folder / "good.map") << "0 " << needy.end_lba() << " good\n";
  for (std::size_t donor = 0; donor < donors; ++donor) {
    write_sparse(folder / numbered("donor-", donor, ".iso"), author("DONOR", files, [&](std::size_t file) {
                   return file % 5 == 0 && file / 5 % donors == donor ? content_of(file) : std::string();
                 }));
  }
  return map.good() ? 0 : 1;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Nodes for build_udf(), and their content.
#include "support/udf_builder.h"

namespace lacuna::test {

UdfNode udf_file(std::string name, std::string content) {
  UdfNode n;
  n.name = std::move(name);
  n.content = std::move(content);
  return n;
}

UdfNode udf_directory(std::string name, std::vector<UdfNode> children) {
  UdfNode n;
  n.name = std::move(name);
  n.type = UdfType::kDirectory;
  n.children = std::move(children);
  return n;
}

UdfNode udf_symlink(std::string name, std::string_view path) {
  UdfNode n = udf_file(std::move(name), udf_path(path));
  n.type = UdfType::kSymbolicLink;
  n.ads = UdfAds::kEmbedded;
  return n;
}

UdfNode udf_device(std::string name, UdfType type, std::uint32_t major, std::uint32_t minor) {
  UdfNode n = udf_file(std::move(name), "");
  n.type = type;
  n.attributes = {udf_ea_device(major, minor)};
  return n;
}

std::string udf_noise(std::uint32_t seed, std::uint64_t bytes) {
  std::string out;
  out.reserve(bytes + 8);
  // splitmix64 over seed and place.
  for (std::uint64_t i = 0; out.size() < bytes; ++i) {
    std::uint64_t z = (std::uint64_t{seed} << 32 ^ i) + 0x9E3779B97F4A7C15u * (i + 1);
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9u;
    z = (z ^ z >> 27) * 0x94D049BB133111EBu;
    z ^= z >> 31;
    for (int k = 0; k < 8; ++k) out.push_back(static_cast<char>(z >> (8 * k) & 0xFF));
  }
  out.resize(bytes);
  return out;
}

}  // namespace lacuna::test

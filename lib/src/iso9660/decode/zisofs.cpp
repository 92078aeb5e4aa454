// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/zisofs.h"

#include <algorithm>
#include <array>

namespace lacuna::iso9660 {
namespace {

constexpr std::array<std::uint8_t, 8> kMagic = {0x37, 0xe4, 0x53, 0x96, 0xc9, 0xdb, 0xd6, 0x07};
constexpr std::array<std::uint8_t, 8> kMagic2 = {0xef, 0x22, 0x55, 0xa1, 0xbc, 0x1b, 0x95, 0xa0};

bool starts_with(Bytes b, const std::array<std::uint8_t, 8>& magic) {
  return std::ranges::equal(b.first(magic.size()), magic);
}

/// Writers use blocks of 2^15 to 2^17 (version 1) and to 2^20 (version 2); the header is 4 or 6 words, and may only
/// grow.
bool reasonable(const Zisofs& z) {
  return z.block_size_log2 >= 15 && z.block_size_log2 <= 20 && z.header_words >= (z.version == 1 ? 4 : 6);
}

/// Version 2's letters. The document prints the letters in capitals but gives the codes of small ones for two of them.
std::uint8_t algorithm_of(std::uint8_t first, std::uint8_t second) {
  const auto upper = [](std::uint8_t c) { return static_cast<std::uint8_t>(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c); };
  switch (upper(first) << 8 | upper(second)) {
    case 'P' << 8 | 'Z':
      return zisofs_algorithm::kZlib;
    case 'X' << 8 | 'Z':
      return zisofs_algorithm::kXz;
    case 'L' << 8 | '4':
      return zisofs_algorithm::kLz4;
    case 'Z' << 8 | 'D':
      return zisofs_algorithm::kZstd;
    case 'B' << 8 | '2':
      return zisofs_algorithm::kBzip2;
    default:
      return zisofs_algorithm::kUnknown;
  }
}

}  // namespace

// zisofs_format.txt, zisofs2_format.txt: "ZF"
std::optional<ZisofsEntry> decode_zf(const SuspEntry& e) noexcept {
  const bool named = e.signature == susp_signature("ZF") || e.signature == susp_signature("Z2");
  if (!named || e.data.size() < 12 || (e.version != 1 && e.version != 2)) return {};
  ZisofsEntry entry;
  Zisofs& z = entry.zisofs;
  z.version = e.version;
  z.header_words = e.data[2];
  z.block_size_log2 = e.data[3];
  if (z.version == 1) {
    const auto size = both32(e.data, 4);
    z.plain_bytes = size.value();
    entry.size_agrees = size.agree();
    const bool zlib = e.data[0] == 'p' && e.data[1] == 'z';
    z.algorithm = zlib ? zisofs_algorithm::kZlib : zisofs_algorithm::kUnknown;
  } else {
    z.plain_bytes = le64(e.data, 4);
    z.algorithm = algorithm_of(e.data[0], e.data[1]);
  }
  if (!reasonable(z)) return {};
  return entry;
}

std::optional<Zisofs> decode_zisofs_header(Bytes file) noexcept {
  if (file.size() < kZisofsHeaderBytes) return {};
  Zisofs z;
  if (starts_with(file, kMagic)) {
    z.plain_bytes = le32(file, 8);
    z.header_words = file[12];
    z.block_size_log2 = file[13];
  } else if (starts_with(file, kMagic2) && file.size() >= kZisofs2HeaderBytes && file[8] == 0) {
    z.version = 2;
    z.header_words = file[9];
    z.algorithm = file[10] <= zisofs_algorithm::kBzip2 ? file[10] : zisofs_algorithm::kUnknown;
    z.block_size_log2 = file[11];
    z.plain_bytes = le64(file, 12);
  } else {
    return {};
  }
  if (!reasonable(z)) return {};
  return z;
}

std::uint64_t zisofs_block_count(const Zisofs& z) noexcept {
  const std::uint64_t block_bytes = std::uint64_t{1} << (z.block_size_log2 & 63);
  return z.plain_bytes / block_bytes + (z.plain_bytes % block_bytes != 0 ? 1 : 0);
}

std::size_t zisofs_pointer_bytes(const Zisofs& z) noexcept { return z.version == 1 ? 4 : 8; }

std::uint64_t zisofs_pointers_at(const Zisofs& z) noexcept { return std::uint64_t{z.header_words} * 4; }

std::uint64_t zisofs_table_end(const Zisofs& z) noexcept {
  // Blocks of less than 8 bytes, which no decoder lets through, would overflow this.
  const std::uint64_t pointers = std::min(zisofs_block_count(z), (std::uint64_t{1} << 60) - 1) + 1;
  return zisofs_pointers_at(z) + pointers * zisofs_pointer_bytes(z);
}

std::uint64_t zisofs_pointer(const Zisofs& z, Bytes pointers, std::size_t index) noexcept {
  return z.version == 1 ? le32(pointers, index * 4) : le64(pointers, index * 8);
}

bool pointers_valid(const Zisofs& z, Bytes pointers, std::uint64_t stored_bytes) noexcept {
  if (pointers.size() % zisofs_pointer_bytes(z) != 0) return false;
  std::uint64_t before = zisofs_table_end(z);
  for (std::size_t i = 0; i < pointers.size() / zisofs_pointer_bytes(z); ++i) {
    const std::uint64_t p = zisofs_pointer(z, pointers, i);
    if (p < before || p > stored_bytes) return false;
    before = p;
  }
  return true;
}

}  // namespace lacuna::iso9660

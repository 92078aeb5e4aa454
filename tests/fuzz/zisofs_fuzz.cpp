// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as the start of a file stored by zisofs: the pointers that are called valid are safe to follow.
#include "fuzz/promise.h"
#include "iso9660/decode/zisofs.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace lacuna;
  using namespace lacuna::iso9660;
  using test::require;
  const Bytes input(data, size);
  const auto z = decode_zisofs_header(input);
  if (!z) return 0;
  require(zisofs_block_count(*z) <= z->plain_bytes);
  require(zisofs_table_end(*z) >= zisofs_pointers_at(*z) + zisofs_pointer_bytes(*z));
  if (zisofs_pointers_at(*z) > size) return 0;
  Bytes pointers = input.subspan(zisofs_pointers_at(*z));
  const std::uint64_t table_bytes = zisofs_table_end(*z) - zisofs_pointers_at(*z);
  if (pointers.size() > table_bytes) pointers = pointers.first(table_bytes);
  if (!pointers_valid(*z, pointers, size)) return 0;
  std::uint64_t before = zisofs_table_end(*z);
  for (std::size_t i = 0; i < pointers.size() / zisofs_pointer_bytes(*z); ++i) {
    const std::uint64_t p = zisofs_pointer(*z, pointers, i);
    require(p >= before && p <= size);
    before = p;
  }
  return 0;
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as the start of an image that may hold something else than ISO 9660.
#include "fuzz/promise.h"
#include "iso9660/decode/hybrid.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace lacuna;
  using namespace lacuna::iso9660;
  using test::require;
  const Bytes input(data, size);
  if (const auto mbr = decode_mbr(input)) require(mbr->used <= mbr->partitions.size());
  is_gpt(input);
  decode_vrs(input);
  if (const auto map = decode_apple_partition_map(input)) {
    require(map->driver_descriptor || !map->partitions.empty());
    require(map->partitions.size() <= size / 512);
    for (const ApplePartition& p : map->partitions) test::require_inside(input, {p.name, p.type});
  }
  if (const auto volume = decode_apple_volume(input)) test::require_inside(input, {volume->name});
  return 0;
}

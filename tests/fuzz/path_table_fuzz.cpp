// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as a path table, in both orders.
#include "fuzz/promise.h"
#include "iso9660/decode/path_table.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace lacuna;
  using namespace lacuna::iso9660;
  using test::require;
  const Bytes input(data, size);
  for (const bool big_endian : {false, true}) {
    PathTableReader reader(input, big_endian);
    std::uint32_t count = 0;
    std::size_t before = 0;
    while (const auto r = reader.next()) {
      require(r->number == ++count && r->offset == before && reader.offset() > before);
      before = reader.offset();
      test::require_inside(input.subspan(r->offset, before - r->offset), {r->identifier});
      require(!r->identifier.empty());
    }
    require(reader.stop() != PathTableReader::Stop::kNone && reader.offset() == before && before <= size);
    require((reader.stop() == PathTableReader::Stop::kEnd) == (before == size));
  }
  return 0;
}

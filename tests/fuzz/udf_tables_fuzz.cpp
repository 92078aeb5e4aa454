// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as a virtual allocation table, in both forms, and as a sparing table.
#include "fuzz/promise.h"
#include "udf/decode/sparing_table.h"
#include "udf/decode/virtual_table.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace lacuna;
  using namespace lacuna::udf;
  using test::require;
  const Bytes input(data, size);

  for (const unsigned type : {0u, 5u, 248u}) {
    const auto t = decode_virtual_table(input, static_cast<std::uint8_t>(type));
    if (!t) continue;
    test::require_inside(input, {t->entries, t->volume_id, t->implementation_use});
    require(type != 5 && t->is_150 == (type == 0) && t->entries.size() % 4 == 0);
    require(t->size() * 4 <= input.size() - (t->is_150 ? 36 : 152));
    for (std::size_t i = 0; i < t->size(); ++i) require((*t)[i] == le32(t->entries, i * 4));
  }

  if (const auto t = decode_sparing_table(input)) {
    test::require_inside(input, {t->entries});
    require(t->size() <= t->count && t->cut == (t->size() < t->count));
    require(t->cut == (t->bytes > input.size()));
    if (check_tag(input, {}, t->bytes).proven()) require(!t->cut);
    for (std::size_t i = 0; i < t->size(); ++i) require((*t)[i].is_moved() == ((*t)[i].original < 0xfffffff0));
  }
  return 0;
}

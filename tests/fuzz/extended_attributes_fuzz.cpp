// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as an extended attribute record.
#include "fuzz/promise.h"
#include "iso9660/decode/extended_attributes.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace lacuna;
  const Bytes input(data, size);
  const auto a = iso9660::decode_extended_attributes(input);
  test::require(a.has_value() == (size >= iso9660::kEarFixedBytes));
  if (a) test::require_inside(input, {a->system_id, a->system_use, a->application_use, a->escape_sequences});
  return 0;
}

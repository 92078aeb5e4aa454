// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as a sector of directory records, walked as a reader does.
#include "fuzz/promise.h"
#include "iso9660/decode/directory_record.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace lacuna;
  using namespace lacuna::iso9660;
  using test::require;
  const Bytes input(data, size);
  for (Bytes rest = input; !rest.empty();) {
    const auto r = decode_directory_record(rest);
    if (!r) break;
    require(r->length >= kRecordFixedBytes && r->length <= rest.size());
    const Bytes whole = rest.first(r->length);
    test::require_inside(whole, {r->identifier, r->system_use});
    require(r->identifier.size() + r->system_use.size() <= r->length - kRecordFixedBytes);
    require(r->date_valid || !r->recorded.known);
    require(!r->plausible() || (r->extent.agree() && r->data_length.agree() && r->date_valid));
    rest = rest.subspan(r->length);
  }
  if (const auto root = decode_root_record(input)) test::require_inside(input, {root->identifier});
  return 0;
}

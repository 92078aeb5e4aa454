// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as the content of a directory, walked as a reader does it: on behind everything that is not proven.
#include <algorithm>
#include <string>

#include "fuzz/promise.h"
#include "udf/decode/cs0.h"
#include "udf/decode/file_identifier.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace lacuna;
  using namespace lacuna::udf;
  using test::require;
  using Stop = FidReader::Stop;
  const Bytes input(data, std::min<std::size_t>(size, 70000));

  FidReader reader(input);
  std::size_t before = 0, steps = 0;
  for (;;) {
    require(++steps <= input.size() + 2, "a walk ends");
    const auto f = reader.next();
    if (f) {
      test::require_inside(input, {f->raw, f->name, f->implementation_use});
      require(f->length() >= kFidFixedBytes && f->bytes <= f->length() && reader.offset() == before + f->length());
      require(f->length() == (f->bytes + 3) / 4 * 4 || before + f->length() == input.size());
      std::string name;
      require(append_cs0_name(name, f->name) == cs0_form(f->name));
      if (check_tag(f->raw, {}, f->bytes).proven()) {
        before = reader.offset();
        continue;
      }
    } else {
      require(reader.stop() != Stop::kNone && reader.offset() == before);
      if (reader.stop() == Stop::kEnd || reader.stop() == Stop::kZeros) break;
    }
    const auto next = find_next_fid(input, before + 1);
    if (!next) break;
    require(*next > before && *next % 4 == 0 && *next + kFidFixedBytes <= input.size());
    const auto found = decode_fid(input.subspan(*next));
    require(found.has_value() && check_tag(found->raw, {}, found->bytes).proven());
    reader.resume_at(*next);
    before = *next;
  }
  return 0;
}

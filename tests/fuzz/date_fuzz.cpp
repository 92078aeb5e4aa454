// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as dates: a known one has a text, and its fields make the same date again.
#include <array>
#include <cstdio>

#include "fuzz/promise.h"
#include "iso9660/decode/date.h"

namespace {

using namespace lacuna;
using test::require;

void check(const std::optional<Timestamp>& t) {
  if (!t) return;
  const std::string text = to_iso8601(*t);
  require(text.empty() == !t->known);
  if (!t->known) {
    require(*t == Timestamp{});
    return;
  }
  std::array<int, 6> f{};
  require(std::sscanf(text.c_str(), "%d-%d-%dT%d:%d:%d", &f[0], &f[1], &f[2], &f[3], &f[4], &f[5]) == 6);
  require(make_timestamp(f[0], f[1], f[2], f[3], f[4], f[5], t->nanoseconds, t->zone_minutes) == t);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const Bytes input(data, size);
  for (std::size_t at = 0; at <= size && at < 64; ++at) {
    check(iso9660::decode_short_date(input.subspan(at)));
    check(iso9660::decode_long_date(input.subspan(at)));
  }
  return 0;
}

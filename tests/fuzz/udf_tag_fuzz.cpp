// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as a tagged descriptor of UDF: what is called proven is, by a second calculation.
#include <algorithm>
#include <vector>

#include "fuzz/promise.h"
#include "udf/decode/recognition.h"
#include "udf/decode/tag.h"

namespace {

using namespace lacuna;
using namespace lacuna::udf;
using test::require;

std::uint16_t slow_crc(Bytes b) {
  unsigned crc = 0;
  for (const std::uint8_t c : b) {
    crc ^= static_cast<unsigned>(c) << 8;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 0x8000) != 0 ? (crc << 1) ^ 0x1021 : crc << 1;
    crc &= 0xffff;
  }
  return static_cast<std::uint16_t>(crc);
}

void check(Bytes input, std::optional<std::uint32_t> location, std::size_t needed) {
  const TagCheck c = check_tag(input, location, needed);
  require(describe(c).empty() == c.fine());
  require(!c.proven() || c.proven_elsewhere());
  require(!c.fine() || c.proven());
  if (!c.proven()) return;
  const auto tag = decode_tag(input);
  require(tag.has_value() && input.size() >= needed && tag->crc_length + kTagBytes >= needed && tag->crc_length > 0);
  require(tag->crc == slow_crc(input.subspan(kTagBytes, tag->crc_length)));
  require(!location || *location == tag->location);
}

/// The input with a tag made right, which mutation alone doesn't meet: it must be proven.
void check_sealed(Bytes input) {
  if (input.size() <= kTagBytes) return;
  std::vector<std::uint8_t> b(input.begin(), input.end());
  const std::size_t covered = std::max<std::size_t>(1, le16(b, 10) % (b.size() - kTagBytes + 1));
  const auto put16 = [&](std::size_t at, std::size_t v) {
    b[at] = static_cast<std::uint8_t>(v);
    b[at + 1] = static_cast<std::uint8_t>(v >> 8);
  };
  put16(10, covered);
  put16(8, slow_crc(Bytes(b).subspan(kTagBytes, covered)));
  b[4] = tag_checksum(b);
  const TagCheck c = check_tag(b, tag_fields(b).location, kTagBytes + covered);
  require(c.proven());
  require(!check_tag(b, tag_fields(b).location, kTagBytes + covered + 1).proven());
  require(!check_tag(b, ~tag_fields(b).location, kTagBytes).proven());
  b[kTagBytes + covered / 2] ^= 1;
  require(!check_tag(b, {}, kTagBytes).proven());
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const Bytes input(data, std::min<std::size_t>(size, 65000));
  require(crc16(input) == slow_crc(input), "the CRC is that of the definition");
  const std::size_t half = input.size() / 2;
  require(crc16(input.subspan(half), crc16(input.first(half))) == crc16(input), "a CRC can be gone on with");

  for (const std::size_t needed : {std::size_t{0}, kTagBytes, input.size() / 2, input.size(), input.size() + 1}) {
    check(input, {}, needed);
    check(input, 256, needed);
    if (input.size() >= kTagBytes) check(input, tag_fields(input).location, needed);
  }
  require(!check_tag(input, {}, input.size() + 1).proven());
  check_sealed(input);
  if (const auto tag = decode_tag(input))
    require(!tag_name(tag->identifier).empty() && tag_checksum(input) == input[4]);
  if (const auto s = decode_volume_structure(input)) require(s->type == input[0] && s->version == input[6]);
  return 0;
}

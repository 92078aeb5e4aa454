// SPDX-License-Identifier: GPL-3.0-or-later
// Entries of a System Use field (SUSP 4.1), for tests of what decodes them.
#pragma once

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "iso9660/decode/susp.h"

namespace lacuna::test {

inline Buffer entry(std::string_view signature, const Buffer& data, std::uint8_t version = 1) {
  return from_text(signature) + Buffer{static_cast<std::uint8_t>(4 + data.size()), version} + data;
}

inline iso9660::SuspEntry first_entry(Bytes area) { return iso9660::SuspReader(area).next().value(); }

/// Every shorter entry of the same signature: decodes from `least` data bytes on.
template <class F>
void expect_least(std::string_view signature, const Buffer& data, std::size_t least, F&& decode) {
  for_each_length(data, [&](Bytes b) {
    const Buffer area = entry(signature, Buffer(b.begin(), b.end()));
    EXPECT_EQ(decode(first_entry(area)).has_value(), b.size() >= least);
  });
  const Buffer other = entry("ZZ", data);
  EXPECT_FALSE(decode(first_entry(other)).has_value());
}

}  // namespace lacuna::test

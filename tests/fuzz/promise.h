// SPDX-License-Identifier: GPL-3.0-or-later
// What the fuzz targets of decoders hold every answer to.
#pragma once

#include <cstdio>
#include <cstdlib>
#include <functional>
#include <initializer_list>

#include "base/bytes.h"

namespace lacuna::test {

/// Ends the program when a promise is broken, whatever the build type.
inline void require(bool promise, const char* what = "an answer is as documented") {
  if (promise) return;
  std::fprintf(stderr, "broken: %s\n", what);
  std::abort();
}

/// A view that a decoder gave lies within its input.
inline void require_inside(Bytes input, std::initializer_list<Bytes> views) {
  for (const Bytes v : views) {
    if (v.empty()) continue;
    const std::less_equal<const std::uint8_t*> not_after;
    require(not_after(input.data(), v.data()) && not_after(v.data() + v.size(), input.data() + input.size()));
  }
}

}  // namespace lacuna::test

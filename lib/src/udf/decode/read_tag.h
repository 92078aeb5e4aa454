// SPDX-License-Identifier: GPL-3.0-or-later
// What the decoders of this folder begin with.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "udf/decode/tag.h"

namespace lacuna::udf {

/// The tag's fields, unchecked, when its identifier is the one wanted and the fixed part of the descriptor, at least a
/// tag long, is there.
inline std::optional<Tag> read_tag(Bytes b, std::uint16_t identifier, std::size_t fixed_bytes) noexcept {
  if (b.size() < fixed_bytes || le16(b, 0) != identifier) return {};
  return tag_fields(b);
}

/// `count` bytes from `at`, or as many of them as are there.
inline Bytes cut_view(Bytes b, std::size_t at, std::uint64_t count) noexcept {
  const Bytes rest = b.subspan(std::min(at, b.size()));
  return rest.first(static_cast<std::size_t>(std::min<std::uint64_t>(count, rest.size())));
}

}  // namespace lacuna::udf

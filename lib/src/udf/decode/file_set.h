// SPDX-License-Identifier: GPL-3.0-or-later
// File set descriptors (ECMA-167 4/14.1): where a tree starts.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "lacuna/timestamp.h"
#include "udf/decode/basic.h"
#include "udf/decode/tag.h"

namespace lacuna::udf {

/// What a file set descriptor has against the standard; a bit set.
namespace file_set_problem {
inline constexpr std::uint32_t kTime = 1;
inline constexpr std::uint32_t kCharspec = 2;  ///< UDF 2.1.2: not OSTA compressed Unicode.
inline constexpr std::uint32_t kText = 4;      ///< 1/7.2.12: a dstring's count or compression id is impossible.
inline constexpr std::uint32_t kRoot = 8;      ///< 4/14.1.15: no extent for the root directory.
inline constexpr std::uint32_t kDomain = 16;   ///< UDF 2.3.2.7: not "*OSTA UDF Compliant".
}  // namespace file_set_problem

struct FileSet {
  Tag tag;
  Timestamp recorded;
  std::uint16_t interchange_level = 0;
  std::uint32_t number = 0;             ///< File set number: several sets of one volume differ in it.
  std::uint32_t descriptor_number = 0;  ///< The highest of one number wins.
  Bytes logical_volume_id;              ///< dstring of 128 bytes.
  Bytes file_set_id;                    ///< dstring of 32 bytes.
  Bytes copyright_id, abstract_id;      ///< dstrings of 32 bytes: names of files in the root.
  LongAd root;                          ///< ICB of the root directory.
  Regid domain;
  LongAd next;                 ///< 4/14.1.17: the next extent of file set descriptors; may be none().
  LongAd streams;              ///< System stream directory, UDF 2.00+; may be none().
  std::uint64_t bytes = 0;     ///< What the fields take; for check_tag.
  std::uint32_t problems = 0;  ///< file_set_problem
};

/// Nothing: the tag's identifier is another one, or the fields aren't there. The tag's rest is not judged.
std::optional<FileSet> decode_file_set(Bytes b) noexcept;

}  // namespace lacuna::udf

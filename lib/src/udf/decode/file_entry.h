// SPDX-License-Identifier: GPL-3.0-or-later
// File entries (ECMA-167 4/14.9) and extended file entries (4/14.17), in one struct. Hot path: no allocation.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "lacuna/timestamp.h"
#include "udf/decode/basic.h"
#include "udf/decode/icb.h"
#include "udf/decode/tag.h"

namespace lacuna::udf {

inline constexpr std::size_t kFileEntryFixedBytes = 176;
inline constexpr std::size_t kExtendedFileEntryFixedBytes = 216;

/// What an entry has against the standard; a bit set.
namespace entry_problem {
inline constexpr std::uint32_t kAttributesBeyond =
    1;  ///< L_EA runs over the block: the view is cut, there is no other.
inline constexpr std::uint32_t kAllocationBeyond = 2;  ///< L_AD runs over the block: the view is cut.
inline constexpr std::uint32_t kAttributesLength = 4;  ///< 4/14.9.20: L_EA is not a multiple of 4.
inline constexpr std::uint32_t kEmbeddedLength = 8;  ///< 4/14.6.8: embedded content is not as long as the information.
inline constexpr std::uint32_t kTime = 16;           ///< A time isn't one, or its zone or fraction is out of range.
inline constexpr std::uint32_t kIcb = 32;            ///< The ICB tag has problems of its own.
inline constexpr std::uint32_t kObjectSize = 64;     ///< 4/14.17.11: the object is smaller than its main stream.
inline constexpr std::uint32_t kInformationLength = 128;  ///< Above 2^63 - 1.
}  // namespace entry_problem

struct FileEntry {
  Tag tag;
  IcbTag icb;
  bool is_extended = false;
  static constexpr std::uint32_t kNoId = 0xffffffff;
  std::uint32_t uid = kNoId, gid = kNoId;  ///< kNoId: not specified (UDF 2.3.6.1).
  std::uint32_t permissions = 0;           ///< 4/14.9.5; posix_mode() translates.
  std::uint16_t link_count = 0;            ///< File identifiers that name it.
  std::uint64_t information_length = 0;    ///< Bytes of the content.
  std::uint64_t object_size = 0;  ///< Bytes of all streams together; in a file entry the same as information_length.
  std::uint64_t blocks_recorded = 0;
  Timestamp accessed, modified, created, attributes_changed;  ///< `created` is in extended ones only.
  std::uint32_t checkpoint = 0;
  LongAd attributes_icb;  ///< Extended attributes outside the entry; may be none().
  LongAd streams_icb;     ///< Stream directory, extended ones only; may be none().
  Regid implementation;
  std::uint64_t unique_id = 0;
  Bytes extended_attributes;
  Bytes allocation;                   ///< Allocation descriptors, or the content itself: icb.form() says which.
  std::size_t allocation_offset = 0;  ///< Of that area from the entry's start, bytes: where embedded content lies.
  std::uint64_t bytes = 0;            ///< The fixed part, L_EA and L_AD as recorded; for check_tag.
  std::uint32_t problems = 0;         ///< entry_problem

  bool is_directory() const noexcept {
    return icb.file_type == file_type::kDirectory || icb.file_type == file_type::kStreamDirectory;
  }
};

/// `block` starts at the entry and ends with its logical block, over which no entry goes. Nothing: the tag's identifier
/// is neither 105 nor 10A, or the fixed part isn't there.
std::optional<FileEntry> decode_file_entry(Bytes block) noexcept;

/// The lower 12 bits of a POSIX mode: permissions, and setuid, setgid and sticky of the ICB flags. Delete and
/// change-attribute permissions have no counterpart.
std::uint16_t posix_mode(const FileEntry& entry) noexcept;

}  // namespace lacuna::udf

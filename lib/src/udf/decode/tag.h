// SPDX-License-Identifier: GPL-3.0-or-later
// Descriptor tags (ECMA-167 3/7.2 and 4/7.2): what every structure of the format starts with, and what proves it.
// "3/7.2" is part 3, clause 7.2. The standard counts bytes from 0, and so does this folder.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "base/bytes.h"

namespace lacuna::udf {

inline constexpr std::size_t kTagBytes = 16;

/// ECMA-167 3/7.2.1 and 4/7.2.1.
namespace tag_id {
inline constexpr std::uint16_t kSparingTable = 0;  ///< UDF 2.2.12
inline constexpr std::uint16_t kPrimaryVolume = 1;
inline constexpr std::uint16_t kAnchor = 2;
inline constexpr std::uint16_t kVolumePointer = 3;
inline constexpr std::uint16_t kImplementationUse = 4;
inline constexpr std::uint16_t kPartition = 5;
inline constexpr std::uint16_t kLogicalVolume = 6;
inline constexpr std::uint16_t kUnallocatedSpace = 7;
inline constexpr std::uint16_t kTerminating = 8;
inline constexpr std::uint16_t kIntegrity = 9;
inline constexpr std::uint16_t kFileSet = 0x100;
inline constexpr std::uint16_t kFileIdentifier = 0x101;
inline constexpr std::uint16_t kAllocationExtent = 0x102;
inline constexpr std::uint16_t kIndirectEntry = 0x103;
inline constexpr std::uint16_t kTerminalEntry = 0x104;
inline constexpr std::uint16_t kFileEntry = 0x105;
inline constexpr std::uint16_t kExtendedAttributeHeader = 0x106;
inline constexpr std::uint16_t kUnallocatedSpaceEntry = 0x107;
inline constexpr std::uint16_t kSpaceBitmap = 0x108;
inline constexpr std::uint16_t kPartitionIntegrityEntry = 0x109;
inline constexpr std::uint16_t kExtendedFileEntry = 0x10a;
}  // namespace tag_id

/// The standard's name of the structure, in lower case ("file entry"); "unknown descriptor" for any other number.
std::string_view tag_name(std::uint16_t identifier) noexcept;

struct Tag {
  std::uint16_t identifier = 0;  ///< tag_id
  std::uint16_t version = 0;     ///< 2 (NSR02) or 3 (NSR03).
  std::uint8_t checksum = 0;
  std::uint16_t serial = 0;
  std::uint16_t crc = 0;
  std::uint16_t crc_length = 0;  ///< Bytes, from the end of the tag.
  std::uint32_t location = 0;    ///< Sector (part 3) or block of the partition (part 4) in which the descriptor starts.
};

/// What a tag or its descriptor has against the standard; a bit set.
namespace tag_problem {
inline constexpr std::uint32_t kTooShort = 1;    ///< Fewer bytes than a tag or than the descriptor's fields take.
inline constexpr std::uint32_t kBlank = 2;       ///< The tag's 16 bytes are all zero: nothing was recorded here.
inline constexpr std::uint32_t kChecksum = 4;    ///< 3/7.2.3
inline constexpr std::uint32_t kCrc = 8;         ///< 3/7.2.6
inline constexpr std::uint32_t kCrcBeyond = 16;  ///< 3/7.2.7: the CRC covers more bytes than there are.
inline constexpr std::uint32_t kCrcNone = 32;    ///< 3/7.2.7: the CRC covers nothing.
inline constexpr std::uint32_t kCrcShort = 64;   ///< The CRC covers less than the descriptor's fields.
inline constexpr std::uint32_t kVersion = 128;   ///< 3/7.2.2: neither 2 nor 3.
inline constexpr std::uint32_t kLocation = 256;  ///< 3/7.2.8: another one than where it was read.
inline constexpr std::uint32_t kReserved = 512;  ///< 3/7.2.4: not zero.

/// Any of these, and the descriptor's fields are claims without proof. (A wrong version or reserved byte is covered by
/// the checksum: a habit of its writer, not damage.)
inline constexpr std::uint32_t kUnproven =
    kTooShort | kBlank | kChecksum | kCrc | kCrcBeyond | kCrcNone | kCrcShort | kLocation;
}  // namespace tag_problem

struct TagCheck {
  Tag tag;                     ///< All zero when there are fewer than 16 bytes.
  std::uint32_t problems = 0;  ///< tag_problem
  std::optional<std::uint32_t> expected_location;

  bool fine() const noexcept { return problems == 0; }
  /// Checksum, CRC over all that the fields take, and location (when one was expected) agree.
  bool proven() const noexcept { return (problems & tag_problem::kUnproven) == 0; }
  /// As proven(), but the CRC may cover less than the fields, or nothing, as some writers have it: then it is the sector
  /// that vouches for the rest.
  bool consistent() const noexcept {
    return (problems & tag_problem::kUnproven & ~(tag_problem::kCrcNone | tag_problem::kCrcShort)) == 0;
  }
  /// Checksum and CRC agree, whatever the place: a descriptor that was moved, or an image that is shifted.
  bool proven_elsewhere() const noexcept { return (problems & tag_problem::kUnproven & ~tag_problem::kLocation) == 0; }
};

/// CRC of ECMA-167 3/7.2.6: x^16 + x^12 + x^5 + 1, most significant bit first, starting from 0. `before` goes on from
/// the CRC of the bytes before these.
std::uint16_t crc16(Bytes b, std::uint16_t before = 0) noexcept;

/// The sum of the tag's bytes without the checksum's own (3/7.2.3); the caller has checked that there are 16.
std::uint8_t tag_checksum(Bytes tag) noexcept;

/// The fields, whatever they are; the caller has checked that there are 16 bytes.
Tag tag_fields(Bytes b) noexcept;

/// 3/7.2. Nothing: fewer than 16 bytes, all 16 zero, or a wrong checksum. For looking through sectors: neither the
/// identifier nor what follows is judged.
std::optional<Tag> decode_tag(Bytes b) noexcept;

/// All that a tag says of its descriptor. `descriptor` starts at the tag and may be longer than the descriptor (the
/// rest of its block). `needed_bytes`, from the tag's start, is what the fields take that the caller relies on: the
/// decoders' answers give it as `bytes`. An all zero body has the CRC 0 whatever its length, so that an erased body
/// passes if the tag's CRC is 0: only terminating descriptors may have that.
TagCheck check_tag(Bytes descriptor, std::optional<std::uint32_t> expected_location,
                   std::uint64_t needed_bytes = kTagBytes) noexcept;

/// The problems as a phrase for a finding: "its CRC is wrong and its location is 12 instead of 15"; empty when there
/// are none.
std::string describe(const TagCheck& check);

}  // namespace lacuna::udf

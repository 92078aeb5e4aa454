// SPDX-License-Identifier: GPL-3.0-or-later
// File identifier descriptors (ECMA-167 4/14.4): the content of directories. Hot path: no allocation.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "udf/decode/basic.h"
#include "udf/decode/tag.h"

namespace lacuna::udf {

inline constexpr std::size_t kFidFixedBytes = 38;
/// UDF 2.3.4 (from memory): not longer than a logical block; 4096 bytes are the largest that discs have.
inline constexpr std::size_t kMaxFidBytes = 4096;

/// 4/14.4.3.
namespace fid_flag {
inline constexpr std::uint8_t kHidden = 0x01;  ///< "Existence" in the standard.
inline constexpr std::uint8_t kDirectory = 0x02;
inline constexpr std::uint8_t kDeleted = 0x04;
inline constexpr std::uint8_t kParent = 0x08;
inline constexpr std::uint8_t kMetadata = 0x10;  ///< Of a stream directory: the stream is no user data.
inline constexpr std::uint8_t kReserved = 0xe0;
}  // namespace fid_flag

/// What a descriptor has against the standard; a bit set.
namespace fid_problem {
inline constexpr std::uint32_t kVersion = 1;             ///< UDF 2.3.4.1: the file version number is not 1.
inline constexpr std::uint32_t kParentNamed = 2;         ///< 4/14.4.3: the parent's has a name or is no directory.
inline constexpr std::uint32_t kNoName = 4;              ///< 4/8.6: neither a name nor the parent.
inline constexpr std::uint32_t kReservedFlags = 8;       ///< 4/14.4.3
inline constexpr std::uint32_t kPadding = 16;            ///< 4/14.4.9: not zero, or missing at the end of the input.
inline constexpr std::uint32_t kImplementationUse = 32;  ///< 4/14.4.6: L_IU is not a multiple of 4.
inline constexpr std::uint32_t kCompression = 64;        ///< UDF 2.1.1: the name's compression id is not one.
}  // namespace fid_problem

struct FileIdentifier {
  Tag tag;
  std::uint16_t version = 0;         ///< File version number.
  std::uint8_t characteristics = 0;  ///< fid_flag
  LongAd icb;                        ///< May be none() in a deleted one.
  Bytes implementation_use;
  Bytes name;                  ///< With its compression id: for append_cs0_name. Empty for the parent.
  Bytes raw;                   ///< All of it, padding included: `length()` bytes. For check_tag.
  std::uint64_t bytes = 0;     ///< Without padding: what the CRC has to cover.
  std::uint32_t problems = 0;  ///< fid_problem

  std::size_t length() const noexcept { return raw.size(); }
  bool has(std::uint8_t flag) const noexcept { return (characteristics & flag) != 0; }
  bool is_parent() const noexcept { return has(fid_flag::kParent); }
  bool is_directory() const noexcept { return has(fid_flag::kDirectory); }
  bool is_deleted() const noexcept { return has(fid_flag::kDeleted); }
  bool is_hidden() const noexcept { return has(fid_flag::kHidden); }
};

/// `rest` starts at the descriptor and goes on over the ends of blocks. Nothing: the tag's identifier is another one,
/// or `rest` ends before the name does. Missing padding at the very end is not minded. Of the tag only the identifier
/// is looked at; check_tag(fid.raw, block, fid.bytes) proves it.
std::optional<FileIdentifier> decode_fid(Bytes rest) noexcept;

/// Walks over a directory's content. Whoever knows where it stands checks each one's tag, and calls resume_at() with
/// what find_next_fid() says when one is not proven, because then its length isn't either.
class FidReader {
 public:
  enum class Stop : std::uint8_t {
    kNone,       ///< There may be more.
    kEnd,        ///< The content ends with the last descriptor.
    kZeros,      ///< Only zeros are left: not recorded, or padding of the last block.
    kTruncated,  ///< A tag with the right identifier, but the descriptor runs over the end of the content.
    kNotFid,     ///< Something else: damage. find_next_fid() may help on.
  };

  explicit FidReader(Bytes content) noexcept : content_(content) {}

  std::optional<FileIdentifier> next() noexcept;
  Stop stop() const noexcept { return stop_; }
  /// Byte at which the next descriptor starts, or at which reading stopped.
  std::size_t offset() const noexcept { return at_; }
  /// Goes on from there, at most the end; clears stop().
  void resume_at(std::size_t offset) noexcept;

 private:
  Bytes content_;
  std::size_t at_ = 0;
  Stop stop_ = Stop::kNone;
};

/// The first place at or after `from`, in steps of 4 bytes (4/14.4.9: lengths are multiples of 4), where a whole file
/// identifier descriptor stands whose checksum is right and whose CRC is right over all of its fields. `from` is
/// rounded up to a multiple of 4. The place in its partition is not checked. Ones longer than kMaxFidBytes are passed
/// over, so that no content makes this read its bytes without end.
std::optional<std::size_t> find_next_fid(Bytes content, std::size_t from) noexcept;

}  // namespace lacuna::udf

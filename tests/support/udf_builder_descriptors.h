// SPDX-License-Identifier: GPL-3.0-or-later
// The bytes of each structure of ECMA-167 and UDF, for build_udf(). Clauses are of ECMA-167 3rd edition unless named.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "support/udf_builder.h"

namespace lacuna::test::udf {

using Bytes = std::vector<std::uint8_t>;

inline constexpr std::uint32_t kPacketBlocks = 32;  // UDF 2.2.9

/// Tag identifiers (3/7.2.1, 4/7.2.1).
enum Tag : std::uint16_t {
  kPrimary = 1,
  kAnchor,
  kPointer,
  kImplementation,
  kPartition,
  kLogical,
  kUnallocated,
  kTerminating,
  kIntegrity,
  kFileSet = 0x100,
  kIdentifier,
  kAllocationExtent,
  kIndirect,
  kTerminal,
  kFile,
  kAttributes,
  kUnallocatedSpace,
  kSpaceBitmap,
  kExtendedFile = 0x10A,
};

/// Extent on the disc (3/7.1).
struct Extent {
  std::uint32_t bytes = 0, block = 0;
};
/// Extent in a partition (4/14.14.2); `unique_id` is UDF 2.3.4.3's, in the implementation use.
struct LongAd {
  std::uint32_t bytes = 0, block = 0;
  std::uint16_t reference = 0;
  std::uint32_t unique_id = 0;
};

/// A descriptor in the making: grows with what is put into it.
class Draft {
 public:
  explicit Draft(std::size_t bytes = 0) : bytes_(bytes) {}
  Draft& u8(std::size_t at, std::uint64_t v) { return number(at, v, 1); }
  Draft& u16(std::size_t at, std::uint64_t v) { return number(at, v, 2); }
  Draft& u32(std::size_t at, std::uint64_t v) { return number(at, v, 4); }
  Draft& u64(std::size_t at, std::uint64_t v) { return number(at, v, 8); }
  Draft& raw(std::size_t at, std::span<const std::uint8_t> data);
  Draft& text(std::size_t at, std::string_view data);
  Draft& dstring(std::size_t at, std::size_t width, std::string_view utf8);  ///< 1/7.2.12
  Draft& charspec(std::size_t at);                                           ///< 1/7.2.1, UDF 2.1.2
  Draft& time(std::size_t at, const UdfTime& t);                             ///< 1/7.3
  Draft& regid(std::size_t at, std::string_view id, std::string_view suffix = {}, std::uint8_t flags = 0);  ///< 1/7.4
  Draft& extent(std::size_t at, const Extent& e);
  Draft& long_ad(std::size_t at, const LongAd& a);
  std::size_t size() const { return bytes_.size(); }
  /// Puts a tag in front (3/7.2): checksum, and CRC over all that follows it.
  Bytes sealed(Tag id, std::uint16_t version, std::uint32_t location);
  Bytes bytes() const { return bytes_; }

 private:
  Draft& number(std::size_t at, std::uint64_t v, std::size_t width);
  Bytes bytes_;
};

/// 3/7.2.6: x^16 + x^12 + x^5 + 1, most significant bit first, from 0.
std::uint16_t crc(std::span<const std::uint8_t> data);
std::string suffix16(std::uint16_t revision);  ///< The UDF revision in an identifier's suffix (UDF 2.1.5.3).
/// OSTA CS0 (UDF 2.1.1): compression ID, then the characters. `bits` 8, 16 or 0, see UdfNode.
std::string cs0(std::string_view utf8, std::uint8_t bits = 0, bool deleted = false);

/// One allocation descriptor, whatever its form; `type` 3 is a continuation (4/14.14.1.1).
struct Ad {
  std::uint8_t type = 0;
  std::uint32_t bytes = 0, block = 0;
  std::uint16_t reference = 0;
};
std::size_t ad_bytes(UdfAds form);
void append_ad(Bytes& to, UdfAds form, const Ad& ad);

/// What a file entry holds besides what the node says.
struct Entry {
  const UdfNode* node = nullptr;
  std::uint8_t type = 5;
  bool extended = false;
  std::uint16_t strategy = 4;
  std::uint16_t links = 1;
  std::uint64_t bytes = 0, object_bytes = 0, recorded_blocks = 0, unique_id = 0;
  LongAd attributes_icb, streams_icb;
  UdfAds form = UdfAds::kShort;
  Bytes descriptors;  ///< Or the content when embedded.
};

/// How all structures of one volume are written.
class Style {
 public:
  explicit Style(const UdfOptions& o) : o_(o) {}
  std::uint16_t tag_version() const { return o_.revision < 0x0200 ? 2 : 3; }
  std::string implementation_suffix() const { return std::string(8, '\0'); }

  // File structures. `location` is the block in its partition.
  Bytes file_entry(const Entry& e, std::uint32_t location) const;          // 4/14.9, 4/14.17
  Bytes indirect_entry(const LongAd& next, std::uint32_t location) const;  // 4/14.7
  Bytes terminal_entry(std::uint32_t location) const;                      // 4/14.8
  Bytes identifier(const UdfNode& n, std::uint8_t characteristics, const LongAd& icb, std::uint32_t location) const;
  Bytes parent_identifier(const LongAd& icb, std::uint32_t location) const;                         // 4/14.4
  Bytes allocation_extent(const Bytes& ads, std::uint32_t previous, std::uint32_t location) const;  // 4/14.5
  Bytes attribute_space(const std::vector<std::string>& attributes, std::uint32_t location) const;  // 4/14.10
  Bytes file_set(std::uint32_t number, const LongAd& root, const LongAd& next, const LongAd& streams,
                 std::uint32_t location) const;                                        // 4/14.1
  Bytes space_bitmap(const std::vector<bool>& used, std::uint32_t location) const;     // 4/14.12
  Bytes unallocated_entry(const std::vector<Ad>& free, std::uint32_t location) const;  // 4/14.11

  // Volume structures. `location` is the block of the disc.
  Bytes anchor(const Extent& main, const Extent& reserve, std::uint32_t location) const;            // 3/10.2
  Bytes pointer(std::uint32_t number, const Extent& next, std::uint32_t location) const;            // 3/10.3
  Bytes primary(std::uint32_t number, const std::string& volume_id, std::uint32_t location) const;  // 3/10.1
  Bytes implementation(std::uint32_t number, const std::string& volume_id, std::uint32_t location) const;
  Bytes partition(std::uint32_t number, std::uint16_t partition_number, const Extent& where_blocks, const Extent& space,
                  std::uint32_t location) const;  ///< 3/10.5; the former's bytes are blocks.
  Bytes logical(std::uint32_t number, const std::string& volume_id, const LongAd& file_set, const Extent& integrity,
                const std::vector<Bytes>& maps, std::uint32_t location) const;  // 3/10.6
  Bytes unallocated(std::uint32_t number, std::uint32_t location) const;        // 3/10.8
  Bytes terminating(std::uint32_t location) const;                              // 3/10.9
  struct Counts {
    std::vector<std::uint32_t> free, size;  ///< A partition each, in blocks.
    std::uint32_t files = 0, directories = 0;
    std::uint64_t next_unique_id = 16;
  };
  Bytes integrity(bool closed, const Counts& counts, std::uint32_t location) const;  // 3/10.10, UDF 2.2.6

  // Partition maps (3/10.7) and what they lead to.
  Bytes map_type1(std::uint16_t partition_number) const;
  Bytes map_virtual() const;                                                                      // UDF 2.2.8
  Bytes map_sparable(std::uint32_t table_bytes, const std::vector<std::uint32_t>& tables) const;  // UDF 2.2.9
  Bytes map_metadata(std::uint32_t main, std::uint32_t mirror, std::uint32_t bitmap) const;       // UDF 2.2.10
  Bytes vat(const std::vector<std::uint32_t>& entries, std::uint32_t previous, const Counts& counts) const;
  struct Sparing {
    std::uint32_t original = 0xFFFFFFFF, mapped = 0;
  };
  Bytes sparing_table(std::uint32_t sequence, const std::vector<Sparing>& entries, std::uint32_t location) const;

 private:
  Draft type2(std::string_view id) const;
  const UdfOptions& o_;
};

}  // namespace lacuna::test::udf

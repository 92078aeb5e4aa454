// SPDX-License-Identifier: GPL-3.0-or-later
// Structures of ECMA-167, laid out by hand after the clauses for tests and seeds: nothing here uses the decoders.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

namespace lacuna::test {

/// What Layout::time() lays out.
inline constexpr std::string_view kSampleTime = "2004-05-06T07:08:09.123456+02:00";

/// Bytes under assembly; offsets are those of the standard.
class Layout {
 public:
  explicit Layout(std::size_t bytes) : bytes_(bytes) {}

  Layout& u8(std::size_t at, unsigned v) { return number(at, v, 1); }
  Layout& u16(std::size_t at, unsigned v) { return number(at, v, 2); }
  Layout& u32(std::size_t at, std::uint32_t v) { return number(at, v, 4); }
  Layout& u64(std::size_t at, std::uint64_t v) { return number(at, v, 8); }
  Layout& text(std::size_t at, std::string_view s);
  Layout& put(std::size_t at, const std::vector<std::uint8_t>& what);

  /// charspec, UDF 2.1.2.
  Layout& charspec(std::size_t at) { return text(at + 1, "OSTA Compressed Unicode"); }
  /// regid, 1/7.4, its suffix an UDF revision.
  Layout& regid(std::size_t at, std::string_view name, unsigned revision = 0) {
    return text(at + 1, name).u16(at + 24, revision);
  }
  /// dstring of 8-bit characters in a field of `field_bytes`, 1/7.2.12.
  Layout& dstring(std::size_t at, std::size_t field_bytes, std::string_view s);
  /// short_ad and long_ad, 4/14.14; the two top bits of `length` are the type.
  Layout& short_ad(std::size_t at, std::uint32_t length, std::uint32_t block) {
    return u32(at, length).u32(at + 4, block);
  }
  Layout& long_ad(std::size_t at, std::uint32_t length, std::uint32_t block, unsigned partition = 0) {
    return short_ad(at, length, block).u16(at + 8, partition);
  }
  /// timestamp, 1/7.3: kSampleTime.
  Layout& time(std::size_t at);
  /// ICB tag, 4/14.6, at 16.
  Layout& icb(unsigned file_type, unsigned flags, unsigned strategy = 4);

  /// Puts a right tag in front (3/7.2), its CRC over `crc_bytes`, everything by default.
  std::vector<std::uint8_t> tagged(unsigned identifier, std::uint32_t location, std::size_t crc_bytes = ~std::size_t{0},
                                   unsigned version = 2) const;
  const std::vector<std::uint8_t>& bytes() const { return bytes_; }

 private:
  Layout& number(std::size_t at, std::uint64_t v, std::size_t width);
  std::vector<std::uint8_t> bytes_;
};

/// Corrects the checksum and CRC of the tag at `at` (its CRC length stays).
void seal(std::vector<std::uint8_t>& b, std::size_t at = 0);

using Sample = std::vector<std::uint8_t>;

// Each is right in every respect, its tag's location included.
Sample sample_anchor();                   // at sector 256
Sample sample_primary_volume();           // at sector 32, and so on
Sample sample_volume_pointer();           // 33
Sample sample_lv_info();                  // 34
Sample sample_partition();                // 35
Sample sample_logical_volume();           // 36: maps of type 1, virtual, sparable, metadata
Sample sample_unallocated_space();        // 37: two extents
Sample sample_terminating();              // 38
Sample sample_integrity();                // 64: two partitions
Sample sample_sparing_table();            // 80: three entries
Sample sample_vat_150();                  // five entries, the table before at block 77
Sample sample_vat_200();                  // three entries, the table before at block 77
Sample sample_file_set();                 // block 0
Sample sample_indirect_entry();           // block 5, to block 9
Sample sample_terminal_entry();           // block 6
Sample sample_file_entry();               // block 7: 5000 bytes in two short descriptors
Sample sample_extended_file_entry();      // block 8: 11 bytes embedded, extended attributes of all kinds
Sample sample_unallocated_space_entry();  // block 10
Sample sample_space_bitmap();             // block 11: 100 bits
Sample sample_allocation_extent();        // block 12: two long descriptors
/// Block 13: the parent, a hidden file, a directory with a name of 16 bits and implementation use, a deleted file.
Sample sample_directory();
/// An attribute space with its header (block 8): file times, information times, device, both kinds of use.
Sample sample_extended_attributes();
/// /../ä/./x: root, parent, names of 8 and 16 bits.
Sample sample_path();
/// A file identifier descriptor of ECMA-167 4/14.4; `name` with its compression id.
Sample fid(std::string_view name, unsigned characteristics, std::uint32_t icb_block, std::uint32_t location,
           std::size_t use_bytes = 0);

}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
// Allocation descriptors (ECMA-167 4/12, 4/14.14) and the extents that continue them (4/14.5).
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "udf/decode/basic.h"
#include "udf/decode/icb.h"
#include "udf/decode/tag.h"

namespace lacuna::udf {

/// One descriptor of any form.
struct Allocation {
  ExtentType type = ExtentType::kRecorded;
  bool erased = false;                     ///< UDF 2.3.10.1: the extent's content was erased. Long ones only.
  std::optional<std::uint16_t> partition;  ///< Nothing: that of the structure which holds the descriptor (short form).
  std::uint32_t length_bytes = 0;          ///< Of the extent, never 0.
  std::uint32_t recorded_bytes = 0;        ///< The same in short and long ones.
  std::uint32_t information_bytes = 0;     ///< The same in short and long ones. Differs from it: UDF forbids that.
  std::uint32_t block = 0;                 ///< Logical block; without meaning for kUnallocated.
  std::size_t offset = 0;                  ///< Of the descriptor in the area, bytes.
};

/// Walks over one allocation area.
class AllocationReader {
 public:
  enum class Stop : std::uint8_t {
    kNone,        ///< There may be more.
    kEnd,         ///< The area is used up.
    kLengthZero,  ///< 4/12: an extent of no bytes ends the descriptors.
    kContinued,   ///< The last one given leads to an allocation extent descriptor; what may follow it doesn't count.
    kPartial,     ///< The area ends within a descriptor: damage, or another form.
    kBadForm,     ///< Embedded content or a reserved form: no descriptors.
  };

  AllocationReader(Bytes area, AllocationForm form) noexcept;

  std::optional<Allocation> next() noexcept;
  Stop stop() const noexcept { return stop_; }
  /// Byte at which the next descriptor starts, or at which reading stopped.
  std::size_t offset() const noexcept { return at_; }

 private:
  Bytes area_;
  std::size_t at_ = 0;
  AllocationForm form_;
  Stop stop_ = Stop::kNone;
};

/// Bytes of one descriptor; 0 for embedded and reserved forms.
std::size_t descriptor_bytes(AllocationForm form) noexcept;

inline constexpr std::size_t kAllocationExtentFixedBytes = 24;

/// Allocation extent descriptor, 4/14.5. Its descriptors have the form that the ICB tag of the file entry says.
struct AllocationExtent {
  Tag tag;
  std::uint32_t previous_block = 0;  ///< The allocation extent before; 0: none, or not recorded (UDF 2.3.11).
  Bytes allocation;                  ///< Cut when it runs over the end.
  bool cut = false;
  std::uint64_t bytes = 0;  ///< With descriptors as long as recorded; for check_tag.
};
/// UDF 2.3.11 (from memory): the CRC may cover the first 8 bytes after the tag only; then it proves no descriptor, as
/// check_tag with `bytes` says. Nothing: the tag's identifier is another one, or the fixed part isn't there.
std::optional<AllocationExtent> decode_allocation_extent(Bytes b) noexcept;

}  // namespace lacuna::udf

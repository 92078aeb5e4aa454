// SPDX-License-Identifier: GPL-3.0-or-later
// Extended attributes (ECMA-167 4/9.1, 4/14.10), in a file entry or in a file of their own.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "lacuna/timestamp.h"
#include "udf/decode/basic.h"
#include "udf/decode/tag.h"

namespace lacuna::udf {

inline constexpr std::size_t kAttributeHeaderBytes = 24;

/// Extended attribute header descriptor, 4/14.10.1.
struct AttributeHeader {
  Tag tag;
  std::uint32_t implementation_offset = 0;  ///< Bytes from the header's start to the implementation use attributes.
  std::uint32_t application_offset = 0;     ///< The same for the application use ones. FFFFFFFF (UDF: or beyond): none.
  std::uint64_t bytes = 0;                  ///< For check_tag.
};
/// Nothing: the tag's identifier is another one, or there are fewer than 24 bytes.
std::optional<AttributeHeader> decode_attribute_header(Bytes space) noexcept;

/// 4/14.10.2 and following.
namespace attribute_type {
inline constexpr std::uint32_t kCharacterSet = 1;
inline constexpr std::uint32_t kAlternatePermissions = 3;
inline constexpr std::uint32_t kFileTimes = 5;
inline constexpr std::uint32_t kInformationTimes = 6;
inline constexpr std::uint32_t kDevice = 12;
inline constexpr std::uint32_t kImplementationUse = 2048;
inline constexpr std::uint32_t kApplicationUse = 65536;
}  // namespace attribute_type

struct Attribute {
  std::uint32_t type = 0;    ///< attribute_type
  std::uint8_t subtype = 0;  ///< 1
  std::size_t offset = 0;    ///< In the attribute space, bytes.
  Bytes data;                ///< Behind the 12 bytes that all begin with.
};

/// Walks over an attribute space, behind its header. That is: space[24] is where the first one starts, whether there is
/// a header or not.
class AttributeReader {
 public:
  enum class Stop : std::uint8_t {
    kNone,       ///< There may be more.
    kEnd,        ///< The space is used up.
    kPadding,    ///< Only zeros are left.
    kBadLength,  ///< 4/14.10.2.4: an attribute shorter than its start, or longer than what is left.
  };

  explicit AttributeReader(Bytes space) noexcept;

  std::optional<Attribute> next() noexcept;
  Stop stop() const noexcept { return stop_; }

 private:
  Bytes space_;
  std::size_t at_ = 0;
  Stop stop_ = Stop::kNone;
};

// Decoders of single attributes. Each gives nothing when the type is another one, or the attribute is too short.

/// File times, 4/14.10.5. Times that aren't recorded, and those that aren't times, are not known.
struct FileTimes {
  Timestamp created, deleted, effective, backed_up;
};
std::optional<FileTimes> decode_file_times(const Attribute& a) noexcept;

/// Information times, 4/14.10.6.
struct InformationTimes {
  Timestamp created, modified, expires, effective;
};
std::optional<InformationTimes> decode_information_times(const Attribute& a) noexcept;

/// Device specification, 4/14.10.7.
struct DeviceSpecification {
  std::uint32_t major_number = 0, minor_number = 0;
  Bytes implementation_use;  ///< Starts with a regid, UDF 3.3.4.4.
};
std::optional<DeviceSpecification> decode_device_specification(const Attribute& a) noexcept;

/// Implementation use and application use, 4/14.10.8 and 4/14.10.9.
struct UseAttribute {
  Regid identifier;  ///< "*UDF FreeEASpace" is only room, UDF 3.3.4.5.1.
  Bytes use;
};
std::optional<UseAttribute> decode_use_attribute(const Attribute& a) noexcept;

/// "*UDF VAT LVExtension", UDF 1.50 3.3.4.5.1.3 (from memory): what the VAT's file entry says of the volume.
struct VatExtension {
  std::uint64_t verification_id = 0;  ///< The VAT's own unique id: the rest counts only if it is.
  std::uint32_t files = 0, directories = 0;
  Bytes logical_volume_id;  ///< dstring of 128 bytes.
};
/// Nothing: another identifier, or too few bytes.
std::optional<VatExtension> decode_vat_extension(const UseAttribute& a) noexcept;

}  // namespace lacuna::udf

// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/extended_attributes.h"

#include <algorithm>

#include "udf/decode/read_tag.h"

namespace lacuna::udf {
namespace {

/// 4/14.10.2: type, subtype, 3 bytes reserved, length.
constexpr std::size_t kAttributeStartBytes = 12;

/// 4/14.10.5.6 and 4/14.10.6.6: the times that `existence` names, in the order of its bits.
class RecordedTimes {
 public:
  /// Behind an attribute's start: the length of the times, what exists, the times.
  explicit RecordedTimes(Bytes data) noexcept
      : existence_(le32(data, 4)), times_(cut_view(data, kTimesAt, le32(data, 0))) {}

  /// That of bit `bit`; bits are asked for in rising order or not.
  Timestamp operator[](unsigned bit) const noexcept {
    if ((existence_ >> bit & 1) == 0) return {};
    std::size_t before = 0;
    for (unsigned i = 0; i < bit; ++i) before += existence_ >> i & 1;
    const Bytes rest = times_.subspan(std::min(before * kTimestampBytes, times_.size()));
    return decode_timestamp(rest).time;
  }

  static constexpr std::size_t kTimesAt = 8;

 private:
  std::uint32_t existence_;
  Bytes times_;
};

}  // namespace

// ECMA-167 4/14.10.1
std::optional<AttributeHeader> decode_attribute_header(Bytes space) noexcept {
  const auto tag = read_tag(space, tag_id::kExtendedAttributeHeader, kAttributeHeaderBytes);
  if (!tag) return {};
  return AttributeHeader{*tag, le32(space, 16), le32(space, 20), kAttributeHeaderBytes};
}

AttributeReader::AttributeReader(Bytes space) noexcept
    : space_(space), at_(std::min(kAttributeHeaderBytes, space.size())) {}

// ECMA-167 4/14.10.2
std::optional<Attribute> AttributeReader::next() noexcept {
  if (stop_ != Stop::kNone) return {};
  const Bytes rest = space_.subspan(at_);
  if (rest.empty()) {
    stop_ = Stop::kEnd;
    return {};
  }
  const std::size_t length = rest.size() < kAttributeStartBytes ? 0 : le32(rest, 8);
  if (length < kAttributeStartBytes || length > rest.size()) {
    stop_ = all_zero(rest) ? Stop::kPadding : Stop::kBadLength;
    return {};
  }
  const Attribute a{le32(rest, 0), rest[4], at_, rest.subspan(kAttributeStartBytes, length - kAttributeStartBytes)};
  at_ += length;
  return a;
}

// ECMA-167 4/14.10.5
std::optional<FileTimes> decode_file_times(const Attribute& a) noexcept {
  if (a.type != attribute_type::kFileTimes || a.data.size() < RecordedTimes::kTimesAt) return {};
  const RecordedTimes times(a.data);
  return FileTimes{times[0], times[2], times[3], times[5]};
}

// ECMA-167 4/14.10.6
std::optional<InformationTimes> decode_information_times(const Attribute& a) noexcept {
  if (a.type != attribute_type::kInformationTimes || a.data.size() < RecordedTimes::kTimesAt) return {};
  const RecordedTimes times(a.data);
  return InformationTimes{times[0], times[1], times[2], times[3]};
}

// ECMA-167 4/14.10.7
std::optional<DeviceSpecification> decode_device_specification(const Attribute& a) noexcept {
  if (a.type != attribute_type::kDevice || a.data.size() < 12) return {};
  return DeviceSpecification{le32(a.data, 4), le32(a.data, 8), cut_view(a.data, 12, le32(a.data, 0))};
}

// ECMA-167 4/14.10.8 and 4/14.10.9
std::optional<UseAttribute> decode_use_attribute(const Attribute& a) noexcept {
  constexpr std::size_t kUseAt = 4 + kRegidBytes;
  const bool is_use = a.type == attribute_type::kImplementationUse || a.type == attribute_type::kApplicationUse;
  if (!is_use || a.data.size() < kUseAt) return {};
  return UseAttribute{regid_at(a.data, 4), cut_view(a.data, kUseAt, le32(a.data, 0))};
}

// UDF 1.50 3.3.4.5.1.3: a checksum of 2 bytes stands before the fields (3.3.4.5)
std::optional<VatExtension> decode_vat_extension(const UseAttribute& a) noexcept {
  if (!a.identifier.is("*UDF VAT LVExtension") || a.use.size() < 146) return {};
  return VatExtension{le64(a.use, 2), le32(a.use, 10), le32(a.use, 14), a.use.subspan(18, 128)};
}

}  // namespace lacuna::udf

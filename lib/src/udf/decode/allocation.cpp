// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/allocation.h"

#include "udf/decode/read_tag.h"

namespace lacuna::udf {
namespace {

/// 4/14.14; the caller has checked the form and that the bytes are there.
Allocation decode_descriptor(Bytes b, std::size_t at, AllocationForm form) {
  Allocation a;
  a.offset = at;
  if (form == AllocationForm::kShort) {
    const ShortAd d = short_ad_at(b, at);
    a.type = d.type;
    a.length_bytes = a.recorded_bytes = a.information_bytes = d.length_bytes;
    a.block = d.block;
  } else if (form == AllocationForm::kLong) {
    const LongAd d = long_ad_at(b, at);
    a.type = d.type;
    a.length_bytes = a.recorded_bytes = a.information_bytes = d.length_bytes;
    a.block = d.location.block;
    a.partition = d.location.partition;
    a.erased = d.erased();
  } else {
    const ExtAd d = ext_ad_at(b, at);
    a.type = d.type;
    a.length_bytes = d.length_bytes;
    a.recorded_bytes = d.recorded_bytes;
    a.information_bytes = d.information_bytes;
    a.block = d.location.block;
    a.partition = d.location.partition;
  }
  return a;
}

}  // namespace

std::size_t descriptor_bytes(AllocationForm form) noexcept {
  switch (form) {
    case AllocationForm::kShort:
      return kShortAdBytes;
    case AllocationForm::kLong:
      return kLongAdBytes;
    case AllocationForm::kExtended:
      return kExtAdBytes;
    case AllocationForm::kEmbedded:
      break;
  }
  return 0;
}

AllocationReader::AllocationReader(Bytes area, AllocationForm form) noexcept
    : area_(area), form_(form), stop_(descriptor_bytes(form) == 0 ? Stop::kBadForm : Stop::kNone) {}

// ECMA-167 4/12
std::optional<Allocation> AllocationReader::next() noexcept {
  if (stop_ != Stop::kNone) return {};
  const std::size_t rest = area_.size() - at_;
  if (rest < descriptor_bytes(form_)) {
    stop_ = rest == 0 ? Stop::kEnd : Stop::kPartial;
    return {};
  }
  const Allocation a = decode_descriptor(area_, at_, form_);
  if (a.length_bytes == 0) {
    stop_ = Stop::kLengthZero;
    return {};
  }
  at_ += descriptor_bytes(form_);
  if (a.type == ExtentType::kContinued) stop_ = Stop::kContinued;
  return a;
}

// ECMA-167 4/14.5
std::optional<AllocationExtent> decode_allocation_extent(Bytes b) noexcept {
  const auto tag = read_tag(b, tag_id::kAllocationExtent, kAllocationExtentFixedBytes);
  if (!tag) return {};
  AllocationExtent e;
  e.tag = *tag;
  e.previous_block = le32(b, 16);
  const std::uint64_t allocation_bytes = le32(b, 20);
  e.allocation = cut_view(b, kAllocationExtentFixedBytes, allocation_bytes);
  e.cut = e.allocation.size() < allocation_bytes;
  e.bytes = kAllocationExtentFixedBytes + allocation_bytes;
  return e;
}

}  // namespace lacuna::udf

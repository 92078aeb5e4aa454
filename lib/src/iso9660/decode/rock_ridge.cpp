// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/rock_ridge.h"

#include <algorithm>

#include "iso9660/decode/date.h"

namespace lacuna::iso9660 {
namespace {

/// RRIP 4.1.4
namespace nm_flag {
constexpr std::uint8_t kContinue = 0x01, kSelf = 0x02, kParent = 0x04, kHost = 0x20;
}  // namespace nm_flag

/// RRIP 4.1.3, 4.1.3.1
namespace sl_flag {
constexpr std::uint8_t kContinue = 0x01;  // of the entry, and of a component
constexpr std::uint8_t kSelf = 0x02, kParent = 0x04, kRoot = 0x08, kVolumeRoot = 0x10, kHost = 0x20;
constexpr std::uint8_t kSpecial = kSelf | kParent | kRoot | kVolumeRoot | kHost;
}  // namespace sl_flag

bool is(const SuspEntry& e, std::uint16_t signature, std::size_t data_bytes) {
  return e.signature == signature && e.data.size() >= data_bytes;
}

std::optional<BothEndian<std::uint32_t>> decode_block(const SuspEntry& e, std::uint16_t signature) {
  if (!is(e, signature, 8)) return {};
  return both32(e.data, 0);
}

/// Appends as much as kMaxRripText allows; false when something was cut off.
bool append_bounded(std::string& to, Bytes text) {
  const std::size_t room = kMaxRripText - std::min(kMaxRripText, to.size());
  to += as_text(text.first(std::min(room, text.size())));
  return text.size() <= room;
}

}  // namespace

// RRIP 4.1.1
std::optional<PosixAttributes> decode_px(const SuspEntry& e) noexcept {
  if (!is(e, susp_signature("PX"), 32)) return {};
  PosixAttributes a{both32(e.data, 0), both32(e.data, 8), both32(e.data, 16), both32(e.data, 24), {}};
  if (e.data.size() >= 40) a.serial = both32(e.data, 32);
  return a;
}

// RRIP 4.1.2
std::optional<DeviceNumber> decode_pn(const SuspEntry& e) noexcept {
  if (!is(e, susp_signature("PN"), 16)) return {};
  return DeviceNumber{both32(e.data, 0), both32(e.data, 8)};
}

// RRIP 4.1.5.1 to 4.1.5.3
std::optional<BothEndian<std::uint32_t>> decode_cl(const SuspEntry& e) noexcept {
  return decode_block(e, susp_signature("CL"));
}
std::optional<BothEndian<std::uint32_t>> decode_pl(const SuspEntry& e) noexcept {
  return decode_block(e, susp_signature("PL"));
}
bool is_re(const SuspEntry& e) noexcept { return is(e, susp_signature("RE"), 0); }

// RRIP 4.1.6
std::optional<FileTimes> decode_tf(const SuspEntry& e) {
  constexpr std::uint8_t kLongForm = 0x80;
  if (!is(e, susp_signature("TF"), 1)) return {};
  FileTimes times;
  const std::uint8_t flags = e.data[0];
  const std::size_t stamp_bytes = (flags & kLongForm) != 0 ? kLongDateBytes : kShortDateBytes;
  Bytes rest = e.data.subspan(1);
  times.recorded = flags & 0x7f;
  for (std::size_t i = 0; i < FileTimes::kCount; ++i) {
    const auto bit = static_cast<std::uint8_t>(1u << i);
    if ((times.recorded & bit) == 0) continue;
    // Both date decoders give nothing when too few bytes are left.
    const auto stamp = (flags & kLongForm) != 0 ? decode_long_date(rest) : decode_short_date(rest);
    if (stamp) {
      times.stamps[i] = *stamp;
    } else {
      times.undecodable |= bit;
    }
    rest = rest.subspan(std::min(stamp_bytes, rest.size()));
  }
  return times;
}

// RRIP 4.1.7
std::optional<SparseFile> decode_sf(const SuspEntry& e) noexcept {
  if (!is(e, susp_signature("SF"), 8)) return {};
  const auto first = both32(e.data, 0);
  if (e.data.size() < 17) return SparseFile{first.value(), 0, first.agree()};
  const auto low = both32(e.data, 8);
  return SparseFile{std::uint64_t{first.value()} << 32 | low.value(), e.data[16], first.agree() && low.agree()};
}

std::optional<std::uint8_t> decode_rr(const SuspEntry& e) noexcept {
  if (!is(e, susp_signature("RR"), 1)) return {};
  return e.data[0];
}

// RRIP 4.1.4
void NameBuilder::clear() noexcept {
  text_.clear();
  problems_ = 0;
  started_ = more_ = self_ = parent_ = false;
}

void NameBuilder::add(const SuspEntry& nm) {
  if (!is(nm, susp_signature("NM"), 1)) {
    problems_ |= rrip_text_problem::kShort;
    return;
  }
  if (complete()) {
    problems_ |= rrip_text_problem::kAfterEnd;
    return;
  }
  const std::uint8_t flags = nm.data[0];
  started_ = true;
  more_ = (flags & nm_flag::kContinue) != 0;
  self_ |= (flags & nm_flag::kSelf) != 0;
  parent_ |= (flags & nm_flag::kParent) != 0;
  if ((flags & nm_flag::kHost) != 0) problems_ |= rrip_text_problem::kHost;
  if ((flags & ~(nm_flag::kContinue | nm_flag::kSelf | nm_flag::kParent | nm_flag::kHost)) != 0) {
    problems_ |= rrip_text_problem::kUnknownFlags;
  }
  if (!append_bounded(text_, nm.data.subspan(1))) problems_ |= rrip_text_problem::kTooLong;
}

// RRIP 4.1.3
void SymlinkBuilder::clear() noexcept {
  text_.clear();
  problems_ = 0;
  started_ = more_ = any_ = open_ = false;
}

bool SymlinkBuilder::complete() const noexcept {
  constexpr std::uint32_t kCut =
      rrip_text_problem::kShort | rrip_text_problem::kComponent | rrip_text_problem::kTooLong;
  return started_ && !more_ && !open_ && (problems_ & kCut) == 0;
}

void SymlinkBuilder::add(const SuspEntry& sl) {
  if (!is(sl, susp_signature("SL"), 1)) {
    problems_ |= rrip_text_problem::kShort;
    return;
  }
  if (started_ && !more_) {
    problems_ |= rrip_text_problem::kAfterEnd;
    return;
  }
  started_ = true;
  more_ = (sl.data[0] & sl_flag::kContinue) != 0;
  if ((sl.data[0] & ~sl_flag::kContinue) != 0) problems_ |= rrip_text_problem::kUnknownFlags;
  for (Bytes rest = sl.data.subspan(1); !rest.empty();) {
    if (rest.size() < 2) {
      // One zero byte pads the entry to an even length.
      if (rest[0] != 0) problems_ |= rrip_text_problem::kComponent;
      return;
    }
    const std::size_t content_bytes = std::min<std::size_t>(rest[1], rest.size() - 2);
    if (content_bytes < rest[1]) problems_ |= rrip_text_problem::kComponent;
    add_component(rest[0], rest.subspan(2, content_bytes));
    rest = rest.subspan(2 + content_bytes);
  }
}

/// 4.1.3.1: components are joined by '/', but not to a root before them and not inside a continued one.
void SymlinkBuilder::add_component(std::uint8_t flags, Bytes content) {
  const bool joins = any_ && !open_;
  const bool is_root = (flags & (sl_flag::kRoot | sl_flag::kVolumeRoot)) != 0;
  if (joins && !text_.ends_with('/')) append(as_bytes("/"));
  if ((flags & ~(sl_flag::kSpecial | sl_flag::kContinue)) != 0) problems_ |= rrip_text_problem::kUnknownFlags;
  if ((flags & sl_flag::kVolumeRoot) != 0) problems_ |= rrip_text_problem::kVolumeRoot;
  if ((flags & sl_flag::kHost) != 0) problems_ |= rrip_text_problem::kHost;
  if (is_root && any_) problems_ |= rrip_text_problem::kRootInside;

  if (is_root) {
    if (!text_.ends_with('/')) append(as_bytes("/"));
  } else if ((flags & sl_flag::kParent) != 0) {
    append(as_bytes(".."));
  } else if ((flags & sl_flag::kSelf) != 0) {
    append(as_bytes("."));
  } else {
    append(content);
  }
  any_ = true;
  open_ = (flags & sl_flag::kContinue) != 0;
}

void SymlinkBuilder::append(Bytes content) {
  if (!append_bounded(text_, content)) problems_ |= rrip_text_problem::kTooLong;
}

}  // namespace lacuna::iso9660

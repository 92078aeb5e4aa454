// SPDX-License-Identifier: GPL-3.0-or-later
// Rock Ridge Interchange Protocol (IEEE P1282) entries. Offsets are from 0. Each decoder gives nothing when the
// signature is another one, or the entry is too short for it.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>

#include "base/bytes.h"
#include "iso9660/decode/susp.h"
#include "lacuna/timestamp.h"

namespace lacuna::iso9660 {

/// PX, RRIP 4.1.1: 36 bytes, or 44 with the serial number (1.12).
struct PosixAttributes {
  BothEndian<std::uint32_t> mode, links, user, group;
  std::optional<BothEndian<std::uint32_t>> serial;

  bool agree() const noexcept {
    return mode.agree() && links.agree() && user.agree() && group.agree() && (!serial || serial->agree());
  }
};
std::optional<PosixAttributes> decode_px(const SuspEntry& e) noexcept;

/// PN, RRIP 4.1.2.
struct DeviceNumber {
  BothEndian<std::uint32_t> high, low;
};
std::optional<DeviceNumber> decode_pn(const SuspEntry& e) noexcept;

/// CL, RRIP 4.1.5.1: logical block of the directory that was moved away from here.
std::optional<BothEndian<std::uint32_t>> decode_cl(const SuspEntry& e) noexcept;
/// PL, RRIP 4.1.5.2: logical block of the parent that a moved directory had.
std::optional<BothEndian<std::uint32_t>> decode_pl(const SuspEntry& e) noexcept;
/// RE, RRIP 4.1.5.3: the record is a moved directory's place in the directory that collects them.
bool is_re(const SuspEntry& e) noexcept;

/// TF, RRIP 4.1.6. Several TF entries may stand in one area, each with other stamps.
struct FileTimes {
  enum Index : std::uint8_t {
    kCreated,
    kModified,
    kAccessed,
    kAttributesChanged,
    kBackedUp,
    kExpires,
    kEffective,
    kCount,
  };
  std::array<Timestamp, kCount> stamps;  ///< Not known: not recorded, not specified, or undecodable.
  std::uint8_t recorded = 0;             ///< Bit i: stamp i is in the entry.
  std::uint8_t undecodable = 0;          ///< Bit i: it is, but is not a date or lies beyond the entry's end.
};
std::optional<FileTimes> decode_tf(const SuspEntry& e);

/// SF, RRIP 4.1.7: 12 bytes (1.10, a 32-bit size) or 21 (1.12).
struct SparseFile {
  std::uint64_t plain_bytes = 0;  ///< Size of the file with its holes.
  std::uint8_t table_depth = 0;   ///< 0 in the short form, which has none.
  bool agree = true;              ///< The halves of the size fields do.
};
std::optional<SparseFile> decode_sf(const SuspEntry& e) noexcept;

/// RR (before 1.12): which entries the record has; bit 0 PX, 1 PN, 2 SL, 3 NM, 4 CL, 5 PL, 6 RE, 7 TF.
std::optional<std::uint8_t> decode_rr(const SuspEntry& e) noexcept;

/// What was wrong with a name or a target that entries were put together to; a bit set.
namespace rrip_text_problem {
inline constexpr std::uint32_t kShort = 1;           ///< An entry without its flags byte.
inline constexpr std::uint32_t kAfterEnd = 2;        ///< An entry after one that said it was the last; left out.
inline constexpr std::uint32_t kComponent = 4;       ///< A component runs over its entry's end; cut off there.
inline constexpr std::uint32_t kRootInside = 8;      ///< A root that is not the first component.
inline constexpr std::uint32_t kVolumeRoot = 16;     ///< "Root of this volume": stands as '/'.
inline constexpr std::uint32_t kHost = 32;           ///< "Name of this host": stands as nothing.
inline constexpr std::uint32_t kTooLong = 64;        ///< Cut off at kMaxRripText.
inline constexpr std::uint32_t kUnknownFlags = 128;  ///< A flag that the protocol doesn't define.
}  // namespace rrip_text_problem

/// Bytes that a name or target may grow to; far beyond what any system takes.
inline constexpr std::size_t kMaxRripText = 65536;

/// NM, RRIP 4.1.4: puts a name together from its entries, in order.
class NameBuilder {
 public:
  void clear() noexcept;  ///< For the next record; keeps the memory.
  void add(const SuspEntry& nm);

  bool empty() const noexcept { return text_.empty() && !self_ && !parent_; }
  /// An entry was added, and the last one didn't say that more follow.
  bool complete() const noexcept { return started_ && !more_; }
  bool is_self() const noexcept { return self_; }      ///< Flag 02: "."
  bool is_parent() const noexcept { return parent_; }  ///< Flag 04: ".."
  Bytes text() const noexcept { return as_bytes(text_); }
  std::uint32_t problems() const noexcept { return problems_; }  ///< rrip_text_problem

 private:
  std::string text_;
  std::uint32_t problems_ = 0;
  bool started_ = false, more_ = false, self_ = false, parent_ = false;
};

/// SL, RRIP 4.1.3: puts a symbolic link's target together from its entries, in order.
class SymlinkBuilder {
 public:
  void clear() noexcept;  ///< For the next record; keeps the memory.
  void add(const SuspEntry& sl);

  /// At least one component was added.
  bool empty() const noexcept { return !any_; }
  /// An entry was added, the last one didn't say that more follow, and no component was left open or cut off.
  bool complete() const noexcept;
  Bytes text() const noexcept { return as_bytes(text_); }
  std::uint32_t problems() const noexcept { return problems_; }  ///< rrip_text_problem

 private:
  void add_component(std::uint8_t flags, Bytes content);
  void append(Bytes content);

  std::string text_;
  std::uint32_t problems_ = 0;
  bool started_ = false, more_ = false, any_ = false;
  bool open_ = false;  ///< The last component goes on in the next one.
};

}  // namespace lacuna::iso9660

// SPDX-License-Identifier: GPL-3.0-or-later
// System Use Sharing Protocol (IEEE P1281): entries in the system use area of a directory record, and the protocol's
// own entries. Offsets are from 0; BP n of the document is n - 1.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"

namespace lacuna::iso9660 {

/// The two letters of an entry as one number, for switch: susp_signature("NM").
constexpr std::uint16_t susp_signature(const char (&letters)[3]) noexcept {
  return static_cast<std::uint16_t>(static_cast<unsigned char>(letters[0]) << 8 |
                                    static_cast<unsigned char>(letters[1]));
}

/// SUSP 4.1.
struct SuspEntry {
  std::uint16_t signature = 0;
  std::uint8_t length = 0;  ///< Whole entry, bytes; at least 4.
  std::uint8_t version = 0;
  Bytes data;   ///< What follows the first 4 bytes.
  Bytes whole;  ///< `length` bytes.
};

/// Walks over one area: a record's system use field or a continuation area. What an entry means is not looked at, so CE
/// entries come out as any other; an area's continuation is read after the area (5.1), and the caller guards against
/// loops.
class SuspReader {
 public:
  enum class Stop : std::uint8_t {
    kNone,        ///< There may be more.
    kEnd,         ///< Fewer than 4 bytes are left.
    kTerminator,  ///< ST (5.4); a following continuation area is not to be read either.
    kPadding,     ///< Only zeros are left, which the protocol doesn't provide for but writers do.
    kBadLength,   ///< An entry shorter than 4 bytes or longer than what is left: not SUSP, or damaged.
  };

  /// `skip` is SP's LEN_SKP, for every record's area but the root's own "."; 0 for continuation areas.
  explicit SuspReader(Bytes area, std::size_t skip = 0) noexcept
      : rest_(skip < area.size() ? area.subspan(skip) : Bytes{}) {}

  std::optional<SuspEntry> next() noexcept;
  Stop stop() const noexcept { return stop_; }

 private:
  Bytes rest_;
  Stop stop_ = Stop::kNone;
};

// Decoders of single entries. Each gives nothing when the signature is another one, or the entry is too short.

/// SP, SUSP 5.3: gives LEN_SKP. Nothing as well when the check bytes are not BE EF.
std::optional<std::uint8_t> decode_sp(const SuspEntry& e) noexcept;

/// CE, SUSP 5.1.
struct ContinuationArea {
  BothEndian<std::uint32_t> block;   ///< Logical block.
  BothEndian<std::uint32_t> offset;  ///< Bytes from the start of that block; may lie beyond it.
  BothEndian<std::uint32_t> length;  ///< Bytes.
};
std::optional<ContinuationArea> decode_ce(const SuspEntry& e) noexcept;

/// ER, SUSP 5.5.
struct ExtensionReference {
  std::uint8_t extension_version = 0;
  Bytes id, descriptor, source;
};
std::optional<ExtensionReference> decode_er(const SuspEntry& e) noexcept;
/// One of the three identifiers under which Rock Ridge is recorded.
bool is_rock_ridge(const ExtensionReference& er) noexcept;

/// ES, SUSP 5.6: number of the extension that the following entries belong to, from 0.
std::optional<std::uint8_t> decode_es(const SuspEntry& e) noexcept;

/// LEN_SKP when the root's "." is lost: 0 or 14 (the length of CD-ROM XA attributes), whichever makes the area of some
/// record begin a walk that meets PX, NM or TF and doesn't stop at a bad length. Nothing: neither does, so it is not
/// Rock Ridge, as far as this record tells.
std::optional<std::uint8_t> infer_skip(Bytes system_use) noexcept;

}  // namespace lacuna::iso9660

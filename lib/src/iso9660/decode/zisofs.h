// SPDX-License-Identifier: GPL-3.0-or-later
// zisofs: files stored as compressed blocks. The ZF entry (in SUSP areas) and the header and pointers of the file
// itself. Source: libisofs doc/zisofs_format.txt and doc/zisofs2_format.txt. Offsets are from 0.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "iso9660/decode/susp.h"
#include "lacuna/tree.h"

namespace lacuna::iso9660 {

inline constexpr std::size_t kZisofsHeaderBytes = 16;
inline constexpr std::size_t kZisofs2HeaderBytes = 24;

/// Algorithms, as the version 2 header numbers them.
namespace zisofs_algorithm {
inline constexpr std::uint8_t kUnknown = 0;
inline constexpr std::uint8_t kZlib = 1, kXz = 2, kLz4 = 3, kZstd = 4, kBzip2 = 5;
}  // namespace zisofs_algorithm

/// ZF (or Z2) entry. The letters of an unknown algorithm give kUnknown. Nothing: another entry, too short, a version
/// that is neither 1 nor 2, or a header size or block size that no reader could take (blocks of 2^15..2^20).
/// Both halves of version 1's size are in `size_agrees`.
struct ZisofsEntry {
  Zisofs zisofs;
  bool size_agrees = true;
};
std::optional<ZisofsEntry> decode_zf(const SuspEntry& e) noexcept;

/// The first bytes of a stored file. Nothing: too short, another magic, or absurd sizes (as for decode_zf()).
std::optional<Zisofs> decode_zisofs_header(Bytes file) noexcept;

/// Blocks of the plain content, the last one shorter. There is one pointer more than that.
std::uint64_t zisofs_block_count(const Zisofs& z) noexcept;
/// 4 or 8: width of a block pointer.
std::size_t zisofs_pointer_bytes(const Zisofs& z) noexcept;
/// Byte of the stored file where the block pointers start.
std::uint64_t zisofs_pointers_at(const Zisofs& z) noexcept;
/// Bytes of header and pointers; nothing of the content lies before. No overflow for any Zisofs.
std::uint64_t zisofs_table_end(const Zisofs& z) noexcept;
/// Pointer `index` of a run of pointers; the run holds it.
std::uint64_t zisofs_pointer(const Zisofs& z, Bytes pointers, std::size_t index) noexcept;

/// Whether the pointers of a run (the whole table, or a readable part of it) could be right: none before the end of the
/// table or beyond the stored file, none less than the one before. A run that is not made of whole pointers is not
/// valid.
bool pointers_valid(const Zisofs& z, Bytes pointers, std::uint64_t stored_bytes) noexcept;

}  // namespace lacuna::iso9660

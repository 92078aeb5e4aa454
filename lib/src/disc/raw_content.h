// SPDX-License-Identifier: GPL-3.0-or-later
// Content that is whole sectors (node_flag::kRawSectors): where what its extents count lies in it, and its header.
// "Stored" offsets count kSectorBytes a sector, like extents; content offsets count the file's own bytes.
#pragma once

#include <array>
#include <cstdint>

#include "lacuna/tree.h"

namespace lacuna {

/// Bytes of whole sectors, of which `stored` counts kSectorBytes each.
constexpr std::uint64_t raw_bytes(std::uint64_t stored) noexcept { return stored / kSectorBytes * kRawSectorBytes; }
/// Content offset of the first byte of the sector that holds stored byte `stored`.
constexpr std::uint64_t raw_begin(std::uint64_t stored) noexcept { return kRiffHeaderBytes + raw_bytes(stored); }
/// Content offset behind the sector that holds the stored byte before `stored`.
constexpr std::uint64_t raw_end(std::uint64_t stored) noexcept {
  return raw_begin(stored) + (stored % kSectorBytes != 0 ? kRawSectorBytes : 0);
}
/// Stored offset of the sector that holds byte `content` (of none: 0), for content offsets behind the header.
constexpr std::uint64_t stored_begin(std::uint64_t content) noexcept {
  return content < kRiffHeaderBytes ? 0 : (content - kRiffHeaderBytes) / kRawSectorBytes * kSectorBytes;
}

/// Bytes of a node's content that come from the disc: all but a header that is made.
inline std::uint64_t disc_bytes(const Node& n) noexcept {
  return n.has(node_flag::kRawSectors) && n.size >= kRiffHeaderBytes ? n.size - kRiffHeaderBytes : n.size;
}

/// The header of a node of this tree whose content is whole sectors.
std::array<std::uint8_t, kRiffHeaderBytes> riff_header(const Tree& tree, NodeId id);

}  // namespace lacuna

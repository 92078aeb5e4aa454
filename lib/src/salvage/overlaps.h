// SPDX-License-Identifier: GPL-3.0-or-later
// Overlaps: two files can't both be right about bytes that each says are its own.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/verdict.h"
#include "salvage/pieces.h"

namespace lacuna {

/// Every file whose place contradicts another file's or a structure's gets one doubt of each kind, naming one partner.
/// Files on exactly the same bytes are one file with several names and no contradiction; nor is a file that lies within
/// a file entry, behind its beginning (embedded, ECMA-167 4/14.6.8). Earlier states of a volume (SessionSource::kTable)
/// are each held against themselves only: they share with later ones what did not change of a file. Files set aside
/// doubt no other and are not doubted here. `order` is by_position(pieces), `aside` as in PieceList.
/// O(pieces + structures log structures), whatever overlaps.
std::vector<JudgedDoubt> find_overlaps(const Disc& disc, std::span<const FilePiece> pieces,
                                       std::span<const std::uint32_t> order, std::span<const NodeId> aside);

}  // namespace lacuna

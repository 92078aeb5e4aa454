// SPDX-License-Identifier: GPL-3.0-or-later
// The sectors of one image that lies in one or more pieces: a whole file or device, or numbered parts.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "lacuna/image.h"
#include "media/byte_store.h"

namespace lacuna {

/// Bytes [first_byte, first_byte + store->size_bytes()) of the image.
struct Piece {
  std::uint64_t first_byte = 0;
  std::unique_ptr<ByteStore> store;
};

/// One past the last byte that an image may have.
inline constexpr std::uint64_t kMaxImageBytes = kMaxSectors * kSectorBytes;

/// `pieces` ascend and don't overlap; bytes between them are missing, and each sector that touches such bytes is
/// absent. Sectors may cross from one piece to the next. `starts_at` is the LBA of byte 0; `name` stands in messages.
/// Errors: kNotReadable when the image would have more than kMaxSectors, or more holes than can be kept.
Result<std::unique_ptr<SectorSource>> make_piece_source(std::vector<Piece> pieces, std::uint64_t starts_at,
                                                        const std::string& name);

}  // namespace lacuna

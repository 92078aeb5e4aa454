// SPDX-License-Identifier: GPL-3.0-or-later
// Volume descriptor sequences (ECMA-167 3/8.4): main and reserve, descriptor by descriptor, become what is known of a
// volume.
#pragma once

#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/disc.h"
#include "media/byte_reader.h"
#include "udf/decode/volume.h"

namespace lacuna::udf {

/// The best of all descriptors of one kind, with the bytes that its views lie in.
template <class T>
struct Found {
  T descriptor;
  std::uint64_t position = 0;  ///< Byte address on the disc.
};

/// What the sequences of one volume say; where several descriptors of one kind are proven, the highest volume
/// descriptor sequence number wins (3/8.4.3), and the main sequence among equals.
struct VolumeDescriptors {
  VolumeDescriptors() = default;
  // A copy's views would lie in the original: to be moved only. (Moving a deque may throw, so that a vector of these
  // would copy them if it could.)
  VolumeDescriptors(VolumeDescriptors&&) = default;
  VolumeDescriptors& operator=(VolumeDescriptors&&) = default;

  std::uint32_t sector_bytes = kSectorBytes;
  /// Added to a sector's number times its bytes: its byte address on the disc. Not 0 where the image starts late and
  /// nobody said so; may point before its first byte.
  std::int64_t shift_bytes = 0;
  bool rebuilt = false;  ///< Descriptors are missing and were made of what the sectors hold.
  std::string doubt;     ///< Why what they say of places is not beyond doubt.
  std::optional<Found<PrimaryVolume>> primary;
  std::optional<Found<ImplementationUseVolume>> lv_info;
  std::map<std::uint16_t, Found<Partition>> partitions;  ///< By partition number.
  std::vector<Found<LogicalVolume>> logical;             ///< One for each identifier, the best of each.
  std::vector<Structure> structures;
  std::size_t proven = 0;  ///< Descriptors that counted.
  bool weak = false;       ///< One that counted is not wholly covered by its CRC, and no map vouches for its sector.

  std::deque<std::vector<std::uint8_t>> blocks;  ///< What the views lie in.

  /// Of a sector of the volume, byte address on the disc. Nothing: it lies before the image.
  std::optional<std::uint64_t> position_of(std::uint32_t sector) const {
    const auto position = static_cast<std::int64_t>(std::uint64_t{sector} * sector_bytes) + shift_bytes;
    return position < 0 ? std::nullopt : std::optional(static_cast<std::uint64_t>(position));
  }
};

/// A stretch of the volume, in bytes.
struct SequenceExtent {
  std::uint64_t position = 0;
  std::uint64_t bytes = 0;
  std::string label;  ///< "main", "reserve"
};

/// Reads the sequences, follows their pointers (3/10.3), and merges. `session_start` is added to no address: sectors of
/// a volume count from the disc's first (ECMA-167 3/8.1 as UDF's multi-session media have it). Descriptors that fail
/// become findings.
VolumeDescriptors read_sequences(ByteReader& reader, std::uint32_t sector_bytes,
                                 const std::vector<SequenceExtent>& sequences, Findings& findings);

/// Without any anchor or sequence: takes every proven descriptor that stands in [first, end), bytes of the disc.
VolumeDescriptors gather_descriptors(ByteReader& reader, std::uint32_t sector_bytes, std::uint64_t first,
                                     std::uint64_t end, Findings& findings);

}  // namespace lacuna::udf

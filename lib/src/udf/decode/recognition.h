// SPDX-License-Identifier: GPL-3.0-or-later
// The volume recognition sequence (ECMA-167 2/8.3, 2/9.1; ECMA-119; ECMA-168): which standards a volume follows.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"

namespace lacuna::udf {

/// 2/9.1: bytes of a descriptor. On sectors larger than this, one starts at each sector (2/8.4).
inline constexpr std::size_t kVolumeStructureBytes = 2048;
/// 2/8.3: where the sequence starts, in bytes from the start of the volume.
inline constexpr std::size_t kRecognitionStartByte = 32768;

enum class VolumeStructureKind : std::uint8_t {
  kBeginning,    ///< BEA01, 2/9.2: start of the extended area.
  kNsr02,        ///< ECMA-167 2nd edition, 3/9.1: UDF up to 1.50.
  kNsr03,        ///< ECMA-167 3rd edition, 3/9.1: UDF from 2.00 on.
  kTerminating,  ///< TEA01, 2/9.3: end of the extended area.
  kBoot,         ///< BOOT2, 2/9.4
  kCd001,        ///< ECMA-119
  kCdw02,        ///< ECMA-168
};

struct VolumeStructure {
  VolumeStructureKind kind = VolumeStructureKind::kBeginning;
  std::uint8_t type = 0;     ///< 0 in all of ECMA-167's; the type of the volume descriptor for kCd001.
  std::uint8_t version = 0;  ///< 1
  bool conforming = false;   ///< Type and version are what the standard demands.
};

/// 2/9.1. Nothing: fewer than 7 bytes, or another identifier (the end of the sequence: zeros, in most cases).
std::optional<VolumeStructure> decode_volume_structure(Bytes b) noexcept;

}  // namespace lacuna::udf

// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/recognition.h"

#include <string_view>
#include <utility>

namespace lacuna::udf {

// ECMA-167 2/9.1
std::optional<VolumeStructure> decode_volume_structure(Bytes b) noexcept {
  using Kind = VolumeStructureKind;
  constexpr std::pair<std::string_view, Kind> kIdentifiers[] = {
      {"BEA01", Kind::kBeginning}, {"NSR02", Kind::kNsr02}, {"NSR03", Kind::kNsr03}, {"TEA01", Kind::kTerminating},
      {"BOOT2", Kind::kBoot},      {"CD001", Kind::kCd001}, {"CDW02", Kind::kCdw02},
  };
  if (b.size() < 7) return {};
  for (const auto& [identifier, kind] : kIdentifiers) {
    if (as_text(b.subspan(1, 5)) != identifier) continue;
    const bool conforming = kind == Kind::kCd001 || (b[0] == 0 && b[6] == 1);
    return VolumeStructure{kind, b[0], b[6], conforming};
  }
  return {};
}

}  // namespace lacuna::udf

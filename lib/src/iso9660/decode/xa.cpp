// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/xa.h"

#include <algorithm>

namespace lacuna::iso9660 {

std::optional<XaAttributes> decode_xa(Bytes system_use) noexcept {
  if (system_use.size() < kXaBytes || system_use[6] != 'X' || system_use[7] != 'A') return {};
  XaAttributes a;
  a.group = be16(system_use, 0);
  a.user = be16(system_use, 2);
  a.attributes = be16(system_use, 4);
  a.file_number = system_use[8];
  a.reserved_zero = std::ranges::all_of(system_use.subspan(9, 5), [](std::uint8_t c) { return c == 0; });
  return a;
}

}  // namespace lacuna::iso9660

// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/extended_attributes.h"

#include "iso9660/decode/date.h"

namespace lacuna::iso9660 {

// ECMA-119 9.5; offsets from memory of the standard's table.
std::optional<ExtendedAttributes> decode_extended_attributes(Bytes ear) {
  namespace problem = ear_problem;
  if (ear.size() < kEarFixedBytes) return {};
  ExtendedAttributes a;
  a.owner = both16(ear, 0);
  a.group = both16(ear, 4);
  a.permissions = be16(ear, 8);
  const auto date = [&](std::size_t at) {
    const auto stamp = decode_long_date(ear.subspan(at));
    if (!stamp) a.problems |= problem::kDate;
    return stamp.value_or(Timestamp{});
  };
  a.created = date(10);
  a.modified = date(27);
  a.expires = date(44);
  a.effective = date(61);
  a.record_format = ear[78];
  a.record_attributes = ear[79];
  a.record_length = both16(ear, 80);
  a.system_id = ear.subspan(84, 32);
  a.system_use = ear.subspan(116, 64);
  a.version = ear[180];

  const std::size_t escape_bytes = ear[181];
  const auto application = both16(ear, 246);
  const std::size_t application_bytes = application.value();
  const Bytes variable = ear.subspan(kEarFixedBytes);
  if (application.agree() && application_bytes <= variable.size() &&
      escape_bytes <= variable.size() - application_bytes) {
    a.application_use = variable.first(application_bytes);
    a.escape_sequences = variable.subspan(application_bytes, escape_bytes);
  } else {
    a.problems |= problem::kLengths;
  }

  if (!a.owner.agree()) a.problems |= problem::kOwnerHalves;
  if (!a.group.agree()) a.problems |= problem::kGroupHalves;
  if (a.version != 1) a.problems |= problem::kVersion;
  // 9.5.3: bits 1, 3, 5, … 15 shall be ONE.
  if ((a.permissions & 0xaaaa) != 0xaaaa) a.problems |= problem::kPermissions;
  return a;
}

}  // namespace lacuna::iso9660

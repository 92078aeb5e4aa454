// SPDX-License-Identifier: GPL-3.0-or-later
#include "capi/handles.h"
#include "capi/structs.h"
#include "capi/text.h"

namespace lacuna::capi {

void give_finding(const Findings& findings, std::size_t index, lacuna_finding* to) {
  need(index < findings.list().size(), "there is no finding of this number");
  const Finding& f = findings.list()[index];
  lacuna_finding out{};
  out.severity = static_cast<std::uint32_t>(f.severity);
  out.has_lba = f.lba ? 1 : 0;
  out.lba = f.lba.value_or(0);
  out.kind = to_c(f.kind);
  out.subject = to_c(f.subject);
  out.clause = to_c(f.clause);
  out.text = to_c(f.text);
  give_struct(to, out, "lacuna_finding");
}

}  // namespace lacuna::capi

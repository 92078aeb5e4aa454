// SPDX-License-Identifier: GPL-3.0-or-later
// The forms of a plan.
#pragma once

#include "lacuna/report.h"
#include "report/out.h"

namespace lacuna::report {

struct PlanFacts {
  const Disc& disc;
  const Verdicts& verdicts;
  const Plan& plan;
  const PlanReport& report;
  const ReportContext& context;
};

void plan_as_text(const PlanFacts& facts, Out& out);
void plan_as_json(const PlanFacts& facts, Out& out);

/// Sectors of a step.
std::uint64_t sectors_of(const Plan& plan, const PlanStep& step);

}  // namespace lacuna::report

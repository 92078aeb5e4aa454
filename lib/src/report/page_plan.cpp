// SPDX-License-Identifier: GPL-3.0-or-later
// The re-read plan of a page, step by step, as far as kMostPageSteps.
#include <algorithm>

#include "report/page.h"
#include "report/plan.h"

namespace lacuna::report {
namespace {

template <class T>
std::span<const T> first_of(std::span<const T> all, std::size_t most) {
  return all.first(std::min(all.size(), most));
}

void put_step(const PageFacts& facts, const PlanStep& step, Json& json) {
  const Plan& plan = facts.plan;
  json.open_object();
  json.put("reason", to_string(step.reason));
  json.put("sectors", sectors_of(plan, step));
  json.open_array("ranges");
  for (const Range& r : first_of(plan.ranges_of(step), kMostPageStepRanges)) {
    json.value(r.first);
    json.value(r.length());
  }
  json.close_array();
  json.put("range_count", step.range_count);
  json.open_array("files");
  for (const NodeId id : first_of(plan.files_of(step), kMostPageStepFiles)) json.value(std::uint64_t{id});
  json.close_array();
  json.put("file_count", step.file_count);
  json.open_array("structures");
  for (const PlanStructure& s : first_of(plan.structures_of(step), kMostPageStepFiles)) {
    json.value(structure_title(facts.disc(), s.structure));
  }
  json.close_array();
  json.put("structure_count", step.structure_count);
  const PlanTotals& t = step.so_far;
  json.open_array("so_far");  // Sectors, names, files whole, bytes whole, files doubtful.
  for (const std::uint64_t n : {t.sectors, t.names, t.files_whole, t.bytes_whole, t.files_doubtful}) json.value(n);
  json.close_array();
  json.close_object();
}

}  // namespace

void put_page_plan(const PageFacts& facts, Out& out) {
  const Plan& plan = facts.plan;
  Json json(out), item(out);
  json.open_object();
  json.put("block_sectors", plan.block_sectors);
  json.put("sectors_not_good", plan.sectors_not_good);
  json.put("all_steps", std::uint64_t{plan.steps.size()});
  json.put("files_unplaced", plan.left.files_unplaced);
  json.put("files_outside", plan.left.files_outside);
  json.open_array("steps");
  bool first = true;
  for (const PlanStep& step : first_of(std::span(plan.steps), kMostPageSteps)) {
    if (!first) out.add(',');
    first = false;
    item.restart();
    put_step(facts, step, item);
  }
  json.close_array();
  json.close_object();
}

}  // namespace lacuna::report

// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/plan.h"

#include "report/json.h"

namespace lacuna {
namespace report {
namespace {

void put_totals(Json& json, std::string_view key, const PlanTotals& t) {
  json.open_object(key);
  json.put("sectors", t.sectors);
  json.put("names", t.names);
  json.put("files_whole", t.files_whole);
  json.put("bytes_whole", t.bytes_whole);
  json.put("files_doubtful", t.files_doubtful);
  json.close_object();
}

void put_structure(Json& json, const Disc& disc, const PlanStructure& s) {
  json.open_object();
  json.put("kind", to_string(s.structure.kind));
  json.put("view", to_string(s.structure.view));
  json.put_text("label", s.structure.label);
  if (s.structure.node != kNoNode) json.put("path", disc.tree().path(s.structure.node));
  json.put("names", s.names);
  json.close_object();
}

void put_step(Json& json, const PlanFacts& f, const PlanStep& step) {
  json.open_object();
  json.put("reason", to_string(step.reason));
  json.put("sectors", sectors_of(f.plan, step));
  json.open_array("ranges");
  for (const Range& r : f.plan.ranges_of(step)) {
    json.open_array();
    json.value(r.first);
    json.value(r.length());
    json.close_array();
  }
  json.close_array();
  json.open_array("structures");
  for (const PlanStructure& s : f.plan.structures_of(step)) put_structure(json, f.disc, s);
  json.close_array();
  json.open_array("files");
  for (const NodeId id : f.plan.files_of(step)) json.value(std::string_view(f.disc.tree().path(id)));
  json.close_array();
  put_totals(json, "so_far", step.so_far);
  json.close_object();
}

void put_left(Json& json, const PlanLeft& left) {
  json.open_object("left");
  json.put("files_unplaced", left.files_unplaced);
  json.put("files_outside", left.files_outside);
  json.put("files_skipped", left.files_skipped);
  json.put("files_over_budget", left.files_over_budget);
  json.put("files_tangled", left.files_tangled);
  json.put("structures_known", left.structures_known);
  json.put("structures_over_budget", left.structures_over_budget);
  json.put("structures_tangled", left.structures_tangled);
  json.put("sectors_idle", left.sectors_idle);
  json.close_object();
}

}  // namespace

std::uint64_t sectors_of(const Plan& plan, const PlanStep& step) {
  std::uint64_t sum = 0;
  for (const Range& r : plan.ranges_of(step)) sum += r.length();
  return sum;
}

void plan_as_json(const PlanFacts& f, Out& out) {
  Json head(out), item(out);
  head.open_object();
  head.put("schema", "lacuna/plan/1");
  put_image(head, f.disc, f.verdicts, f.context);
  open_summary(head, f.disc, f.verdicts);
  head.close_object();
  head.put("medium", to_string(f.plan.medium));
  head.put_text("medium_why", f.plan.medium_why);
  head.put("block_sectors", f.plan.block_sectors);
  head.put("sectors_not_good", f.plan.sectors_not_good);
  put_totals(head, "totals", f.plan.totals());
  put_left(head, f.plan.left);
  head.open_array("steps");
  for (std::size_t i = 0; i < f.plan.steps.size(); ++i) {
    out.add(i == 0 ? "\n" : ",\n");
    item.restart();
    put_step(item, f, f.plan.steps[i]);
  }
  out.add('\n');
  head.close_array();
  head.close_object();
  out.add('\n');
}

}  // namespace report

void write_plan(const Disc& disc, const Verdicts& verdicts, const Plan& plan, const PlanReport& report,
                const ReportContext& context, Format format, const Sink& sink) {
  report::Out out(sink);
  const report::PlanFacts facts{disc, verdicts, plan, report, context};
  if (format == Format::kText) {
    plan_as_text(facts, out);
  } else {
    plan_as_json(facts, out);
  }
  out.finish();
}

void write_plan_list(const Plan& plan, const Sink& sink) {
  report::Out out(sink);
  for (const PlanStep& step : plan.steps) {
    for (const Range& r : plan.ranges_of(step)) out.print("{} {}\n", r.first, r.length());
  }
  out.finish();
}

}  // namespace lacuna

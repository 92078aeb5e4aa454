// SPDX-License-Identifier: GPL-3.0-or-later
// A plan is made in three rounds (structures, wanted files, others), each put in order by read_order(); what a round
// has read costs the later ones nothing.
#include "lacuna/plan.h"

#include <algorithm>
#include <array>
#include <string_view>
#include <unordered_map>

#include "combine/budget.h"
#include "combine/capacity.h"
#include "combine/plan_parts.h"
#include "combine/plan_targets.h"
#include "combine/read_order.h"
#include "salvage/gaps.h"

namespace lacuna {
namespace {

using namespace std::string_view_literals;
using combine::BlockSize;
using combine::OrderProblem;
using combine::PartList;
using combine::Target;
using combine::TargetList;

constexpr std::array kReasonWords{"structure"sv, "wanted"sv, "file"sv, "rest"sv};

class Planner {
 public:
  Planner(const Disc& disc, const Verdicts& verdicts, const PlanOptions& options, MediumGuess medium)
      : disc_(disc),
        options_(options),
        to_read_(disc.image(), verdicts.states(), combine::capacity_sectors(medium.medium)) {
    plan_.medium = medium.medium;
    plan_.medium_why = std::move(medium.why);
    plan_.block_sectors = block_sectors(plan_.medium);
    list_ = combine::find_targets(disc, verdicts, options, to_read_, plan_.block_sectors);
    size_ = {plan_.block_sectors, std::max(disc.image().end_lba(), list_.last_lba_end)};
    parts_ = combine::find_parts(list_, to_read_, size_);
  }

  Plan run() {
    plan_.left = list_.left;
    plan_.sectors_not_good = to_read_.inside().total() + list_.sectors_outside;
    read_.resize(parts_.parts.size());
    open_.resize(list_.targets.size());
    for (std::size_t t = 0; t < open_.size(); ++t) {
      open_[t] = static_cast<std::uint32_t>(parts_.parts_of(t).size());
      if (!parts_.left_out[t]) continue;
      const bool structure = list_.targets[t].reason == PlanReason::kStructure;
      ++(structure ? plan_.left.structures_tangled : plan_.left.files_tangled);
    }
    for (const PlanReason reason : {PlanReason::kStructure, PlanReason::kWanted, PlanReason::kFile}) round(reason);
    count_over_budget();
    rest();
    return std::move(plan_);
  }

 private:
  /// Targets of this round that need the same parts are one job.
  void round(PlanReason reason) {
    OrderProblem problem;
    std::vector<std::uint32_t> part_number(parts_.parts.size(), kNone), part_of;
    std::vector<std::uint32_t> target_of;  // by job
    std::unordered_map<std::uint64_t, std::uint32_t> seen;
    for (std::uint32_t t = 0; t < list_.targets.size(); ++t) {
      if (list_.targets[t].reason != reason || open_[t] == 0) continue;
      const auto needs = parts_.parts_of(t);
      const auto job = static_cast<std::uint32_t>(target_of.size());
      const auto [at, added] = seen.emplace(combine::hash_of(needs), job);
      if (!added && std::ranges::equal(parts_.parts_of(target_of[at->second]), needs)) {
        problem.jobs[at->second].weight += list_.targets[t].weight;
        continue;
      }
      target_of.push_back(t);
      problem.jobs.push_back({list_.targets[t].weight, 0, 0});
      for (const std::uint32_t p : needs) {
        if (!read_[p]) part_number[p] = 0;
      }
    }
    for (std::uint32_t p = 0; p < part_number.size(); ++p) {
      if (part_number[p] == kNone) continue;
      part_number[p] = static_cast<std::uint32_t>(problem.parts.size());
      problem.parts.push_back({parts_.parts[p].cost, parts_.parts[p].unread});
    }
    for (std::size_t j = 0; j < target_of.size(); ++j) {
      problem.jobs[j].first_need = static_cast<std::uint32_t>(problem.needs.size());
      for (const std::uint32_t p : parts_.parts_of(target_of[j])) {
        if (!read_[p]) problem.needs.push_back(part_number[p]);
      }
      problem.jobs[j].need_count = static_cast<std::uint32_t>(problem.needs.size()) - problem.jobs[j].first_need;
    }
    const auto order = options_.budget_sectors
                           ? combine::affordable_order(problem, *options_.budget_sectors - so_far_.sectors)
                           : combine::read_order(problem);
    for (const std::uint32_t j : order) take(target_of[j], reason);
  }

  /// Reads what a target still lacks, as a step of its own.
  void take(std::uint32_t target, PlanReason reason) {
    if (open_[target] == 0) return;  // an earlier step completed it
    std::uint64_t cost = 0;
    for (const std::uint32_t p : parts_.parts_of(target)) cost += read_[p] ? 0 : parts_.parts[p].cost;
    std::vector<Range> blocks;
    done_.clear();
    for (const std::uint32_t p : parts_.parts_of(target)) {
      if (read_[p]) continue;
      read_[p] = true;
      const auto more = parts_.blocks_of(parts_.parts[p]);
      blocks.insert(blocks.end(), more.begin(), more.end());
      for (const std::uint32_t user : parts_.users_of(parts_.parts[p])) {
        if (--open_[user] == 0) done_.push_back(user);
      }
    }
    so_far_.sectors += cost;
    add_step(reason, RangeSet::from_unsorted(std::move(blocks)));
  }

  void add_step(PlanReason reason, const RangeSet& blocks) {
    PlanStep step;
    step.reason = reason;
    step.first_range = static_cast<std::uint32_t>(plan_.ranges.size());
    for (const Range& r : blocks.ranges()) plan_.ranges.push_back(size_.lbas(r));
    step.range_count = static_cast<std::uint32_t>(plan_.ranges.size()) - step.first_range;
    step.first_file = static_cast<std::uint32_t>(plan_.files.size());
    step.first_structure = static_cast<std::uint32_t>(plan_.structures.size());
    std::sort(done_.begin(), done_.end());
    for (const std::uint32_t t : done_) complete(list_.targets[t]);
    step.file_count = static_cast<std::uint32_t>(plan_.files.size()) - step.first_file;
    step.structure_count = static_cast<std::uint32_t>(plan_.structures.size()) - step.first_structure;
    step.so_far = so_far_;
    plan_.steps.push_back(step);
  }

  void complete(const Target& t) {
    if (t.reason == PlanReason::kStructure) {
      plan_.structures.push_back(list_.structures[t.subject]);
      so_far_.names = saturating_add(so_far_.names, list_.structures[t.subject].names);
      return;
    }
    plan_.files.push_back(t.subject);
    if (t.stays_doubtful) {
      ++so_far_.files_doubtful;
      return;
    }
    ++so_far_.files_whole;
    so_far_.bytes_whole = saturating_add(so_far_.bytes_whole, disc_.tree().node(t.subject).size);
  }

  void count_over_budget() {
    for (std::size_t t = 0; t < open_.size(); ++t) {
      if (open_[t] == 0) continue;
      ++(list_.targets[t].reason == PlanReason::kStructure ? plan_.left.structures_over_budget
                                                           : plan_.left.files_over_budget);
    }
  }

  /// What no step reads. With all, as one step more; a budget cuts it.
  void rest() {
    std::vector<Range> planned(plan_.ranges.begin(), plan_.ranges.end());
    const RangeSet lbas = RangeSet::from_unsorted(std::move(planned));
    const RangeSet idle = to_read_.inside().minus(lbas);
    plan_.left.sectors_idle = idle.total();
    if (!options_.all || idle.empty()) return;
    std::vector<Range> blocks;
    for (const Range& r : idle.ranges()) {
      blocks.push_back({r.first / size_.sectors, (r.end - 1) / size_.sectors + 1});
    }
    // A block that a step reads has no idle sector, so that none is read twice.
    const RangeSet whole_blocks = RangeSet::from_unsorted(std::move(blocks));
    std::vector<Range> within;
    for (const Range& r : whole_blocks.ranges()) {
      const std::uint64_t left =
          options_.budget_sectors ? *options_.budget_sectors - so_far_.sectors : ~std::uint64_t{0};
      Range part = r;
      if (size_.lbas(part).length() > left) part.end = part.first + left / size_.sectors;
      if (part.first < part.end) {
        so_far_.sectors += size_.lbas(part).length();
        within.push_back(part);
      }
      if (part.end != r.end) break;
    }
    done_.clear();
    if (!within.empty()) add_step(PlanReason::kRest, RangeSet::from_unsorted(std::move(within)));
  }

  static constexpr std::uint32_t kNone = ~std::uint32_t{0};
  const Disc& disc_;
  const PlanOptions& options_;
  combine::ToRead to_read_;
  Plan plan_;
  TargetList list_;
  BlockSize size_;
  PartList parts_;
  std::vector<bool> read_;           // by part
  std::vector<std::uint32_t> open_;  // by target: how many of its parts are not read
  std::vector<std::uint32_t> done_;  // targets that the step at hand completes
  PlanTotals so_far_;
};

}  // namespace

std::string_view to_string(PlanReason r) noexcept { return kReasonWords[static_cast<std::size_t>(r)]; }

Result<Plan> make_plan(const Disc& disc, const Verdicts& verdicts, const PlanOptions& options) {
  if (options.budget_sectors == std::uint64_t{0}) {
    return Error{ErrorCode::kUsage, "a plan for no sectors is none: the budget must be at least 1"};
  }
  MediumGuess medium{options.medium, {}};
  if (medium.medium == Medium::kAuto) medium = guess_medium(disc);
  return Planner(disc, verdicts, options, std::move(medium)).run();
}

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/budget.h"

#include <algorithm>
#include <bit>

#include "combine/tangle.h"

namespace lacuna::combine {
namespace {

using Jobs = std::vector<std::uint32_t>;

constexpr std::size_t kMostTried = 14;  // jobs of which all subsets are looked at

std::uint64_t cost_of(const OrderProblem& problem, std::uint32_t job, const std::vector<bool>& read) {
  std::uint64_t cost = 0;
  for (const std::uint32_t p : problem.needs_of(problem.jobs[job])) cost += read[p] ? 0 : problem.parts[p].cost;
  return cost;
}

/// The problem with some of its jobs only; parts keep their numbers.
OrderProblem only(const OrderProblem& problem, const Jobs& jobs) {
  OrderProblem few;
  few.parts = problem.parts;
  for (const std::uint32_t j : jobs) {
    const auto needs = problem.needs_of(problem.jobs[j]);
    few.jobs.push_back({problem.jobs[j].weight, static_cast<std::uint32_t>(few.needs.size()),
                        static_cast<std::uint32_t>(needs.size())});
    few.needs.insert(few.needs.end(), needs.begin(), needs.end());
  }
  return few;
}

Jobs ordered(const OrderProblem& problem, const Jobs& jobs) {
  Jobs order = read_order(only(problem, jobs));
  for (std::uint32_t& j : order) j = jobs[j];
  return order;
}

struct Choice {
  Jobs jobs;
  std::uint64_t weight = 0;
};

Choice fill(const OrderProblem& problem, const Jobs& order, std::uint64_t budget) {
  Choice choice;
  std::vector<bool> read(problem.parts.size());
  for (const std::uint32_t j : order) {
    const std::uint64_t cost = cost_of(problem, j, read);
    if (cost > budget) continue;
    budget -= cost;
    choice.jobs.push_back(j);
    choice.weight += problem.jobs[j].weight;
    for (const std::uint32_t p : problem.needs_of(problem.jobs[j])) read[p] = true;
  }
  return choice;
}

/// All subsets, for what each costs; the heaviest that is affordable, and of equals the cheapest.
Choice heaviest(const OrderProblem& problem, const Jobs& jobs, std::uint64_t budget) {
  TangleMaker maker(problem);
  const Tangle tangle = maker.make(jobs, std::vector<bool>(problem.parts.size()));
  const std::vector<std::uint64_t> costs = cost_of_subsets(tangle);
  Choice best;
  std::uint64_t best_cost = 0;
  std::size_t best_set = 0;
  for (std::size_t set = 0; set < costs.size(); ++set) {
    if (costs[set] > budget) continue;
    std::uint64_t weight = 0;
    for (std::size_t rest = set; rest != 0; rest &= rest - 1) {
      weight += tangle.weights[static_cast<std::size_t>(std::countr_zero(rest))];
    }
    if (weight < best.weight || (weight == best.weight && costs[set] >= best_cost)) continue;
    best.weight = weight;
    best_cost = costs[set];
    best_set = set;
  }
  for (std::size_t j = 0; j < jobs.size(); ++j) {
    if ((best_set >> j & 1) != 0) best.jobs.push_back(jobs[j]);
  }
  return best;
}

}  // namespace

std::vector<std::uint32_t> affordable_order(const OrderProblem& problem, std::uint64_t budget) {
  const Jobs order = read_order(problem);
  Jobs possible;
  const std::vector<bool> nothing(problem.parts.size());
  for (std::uint32_t j = 0; j < problem.jobs.size(); ++j) {
    if (cost_of(problem, j, nothing) <= budget) possible.push_back(j);
  }
  if (possible.size() <= kMostTried) return ordered(problem, heaviest(problem, possible, budget).jobs);
  Choice best = fill(problem, order, budget);
  if (best.jobs.size() == problem.jobs.size()) return best.jobs;
  Jobs greedy = greedy_order(TangleMaker(problem).make(possible, nothing));
  for (std::uint32_t& j : greedy) j = possible[j];
  for (const Jobs& other : {ordered(problem, possible), greedy}) {
    Choice choice = fill(problem, other, budget);
    if (choice.weight > best.weight) best = std::move(choice);
  }
  std::sort(best.jobs.begin(), best.jobs.end());
  return ordered(problem, best.jobs);
}

}  // namespace lacuna::combine

// SPDX-License-Identifier: GPL-3.0-or-later
// How close the order of a plan comes to the best one: random small cases against the exact optimum, by the area above
// the curve of files whole by sectors spent, and by the weight complete within a budget.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdint>
#include <numeric>
#include <random>
#include <string>
#include <vector>

#include "combine/budget.h"
#include "combine/order_problems.h"
#include "combine/read_order.h"

namespace {

using namespace lacuna::combine;
using namespace lacuna::test;
using Numbers = std::vector<std::uint32_t>;

enum class Method { kPlan, kDensity, kGreedy, kAscending, kRandom };
constexpr int kMethods = 5;
constexpr const char* kMethodNames[kMethods] = {"plan", "exact up to 6", "greedy only", "ascending", "random"};

Numbers order_by(Method m, const OrderProblem& problem, std::mt19937& random) {
  OrderLimits limits;
  if (m != Method::kPlan) limits.exact_jobs = 1;
  limits.by_density = m != Method::kGreedy;
  if (m <= Method::kGreedy) return read_order(problem, limits);
  Numbers order(problem.jobs.size());
  std::iota(order.begin(), order.end(), 0U);
  if (m == Method::kRandom) std::shuffle(order.begin(), order.end(), random);
  if (m == Method::kAscending) {  // complete when the last part is: parts are read as they lie
    std::ranges::stable_sort(order, {}, [&](std::uint32_t j) { return problem.needs_of(problem.jobs[j]).back(); });
  }
  return order;
}

/// What is complete within a budget when jobs that don't fit are passed over.
std::uint64_t within(const OrderProblem& problem, const Numbers& order, std::uint64_t budget) {
  std::vector<bool> read(problem.parts.size());
  std::uint64_t weight = 0;
  for (const std::uint32_t j : order) {
    std::uint64_t cost = 0;
    for (const std::uint32_t p : problem.needs_of(problem.jobs[j])) cost += read[p] ? 0 : problem.parts[p].cost;
    if (cost > budget) continue;
    budget -= cost;
    weight += problem.jobs[j].weight;
    for (const std::uint32_t p : problem.needs_of(problem.jobs[j])) read[p] = true;
  }
  return weight;
}

/// The most that any choice of jobs completes, by budget.
std::vector<std::uint64_t> most_within(const OrderProblem& problem, const std::vector<std::uint64_t>& budgets) {
  std::vector<std::uint64_t> most(budgets.size());
  const std::size_t n = problem.jobs.size();
  std::vector<bool> read(problem.parts.size());
  for (std::size_t set = 0; set < std::size_t{1} << n; ++set) {
    read.assign(problem.parts.size(), false);
    std::uint64_t cost = 0, weight = 0;
    for (std::size_t j = 0; j < n; ++j) {
      if ((set >> j & 1) == 0) continue;
      weight += problem.jobs[j].weight;
      for (const std::uint32_t p : problem.needs_of(problem.jobs[j])) {
        if (!read[p]) cost += problem.parts[p].cost;
        read[p] = true;
      }
    }
    for (std::size_t b = 0; b < budgets.size(); ++b) {
      if (cost <= budgets[b]) most[b] = std::max(most[b], weight);
    }
  }
  return most;
}

struct Score {
  double sum = 0, worst = 1;
  int best = 0, trials = 0;
  void add(double ratio, bool worst_is_high) {
    sum += ratio;
    worst = trials == 0 ? ratio : worst_is_high ? std::max(worst, ratio) : std::min(worst, ratio);
    best += ratio > 0.9999999 && ratio < 1.0000001;
    ++trials;
  }
  std::string text() const {
    return fmt::format("{:7.4f} {:7.4f} {:6.1f} %", sum / trials, worst, 100.0 * best / trials);
  }
};

void run(const char* name, std::uint32_t jobs, std::uint32_t parts, Sharing sharing, int trials, std::uint32_t seed) {
  std::mt19937 random(seed);
  Score area[kMethods], budget[kMethods];
  for (int t = 0; t < trials; ++t) {
    const OrderProblem problem = random_problem(random, jobs, parts, sharing);
    std::uint64_t all = 0;
    std::vector<bool> needed(problem.parts.size());
    for (const std::uint32_t p : problem.needs) needed[p] = true;
    for (std::size_t p = 0; p < needed.size(); ++p) all += needed[p] ? problem.parts[p].cost : 0;
    std::vector<std::uint64_t> budgets;
    for (std::uint64_t tenth = 1; tenth < 10; ++tenth) budgets.push_back(all * tenth / 10);
    const auto most = most_within(problem, budgets);
    const auto least = static_cast<double>(least_area(problem));
    for (int m = 0; m < kMethods; ++m) {
      const Numbers order = order_by(static_cast<Method>(m), problem, random);
      area[m].add(static_cast<double>(order_area(problem, order)) / least, true);
      for (std::size_t b = 0; b < budgets.size(); ++b) {
        if (most[b] == 0) continue;
        const Numbers chosen = static_cast<Method>(m) == Method::kPlan ? affordable_order(problem, budgets[b]) : order;
        budget[m].add(static_cast<double>(within(problem, chosen, budgets[b])) / static_cast<double>(most[b]), false);
      }
    }
  }
  fmt::print("\n{}: {} jobs, {} parts, {} trials\n", name, jobs, parts, trials);
  fmt::print("{:<17} {:>26}   {:>26}\n", "", "area: mean, worst, best", "budgets: mean, worst, best");
  for (int m = 0; m < kMethods; ++m) fmt::print("{:<17} {}   {}\n", kMethodNames[m], area[m].text(), budget[m].text());
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app("Orders of reading against the best there are");
  int trials = 300;
  std::uint32_t seed = 1;
  app.add_option("--trials", trials, "Random cases a row");
  app.add_option("--seed", seed, "Of the cases");
  CLI11_PARSE(app, argc, argv);
  run("files anywhere", 10, 12, Sharing::kAny, trials, seed);
  run("files in a row", 10, 12, Sharing::kNeighbours, trials, seed);
  run("larger tangles", 15, 20, Sharing::kAny, trials, seed);
  run("larger, few parts", 15, 9, Sharing::kAny, trials, seed);
  run("more than exact", 18, 12, Sharing::kAny, trials / 10, seed);
  run("larger, in a row", 15, 20, Sharing::kNeighbours, trials, seed);
}

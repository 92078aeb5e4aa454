// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/read_order.h"

#include <gtest/gtest.h>

#include "combine/budget.h"
#include "combine/order_problems.h"

namespace lacuna::test {
namespace {

using combine::OrderLimits;
using combine::OrderProblem;
using combine::read_order;
using Numbers = std::vector<std::uint32_t>;

OrderProblem with_parts(const std::vector<std::uint64_t>& costs) {
  OrderProblem problem;
  for (const std::uint64_t c : costs) problem.parts.push_back({c, 0});
  return problem;
}

/// Each job once.
void expect_all(const OrderProblem& problem, Numbers order) {
  std::sort(order.begin(), order.end());
  Numbers all(problem.jobs.size());
  std::iota(all.begin(), all.end(), 0U);
  EXPECT_EQ(order, all);
}

TEST(ReadOrder, CheapestFirstWhereNothingIsShared) {
  OrderProblem problem = with_parts({5, 1, 3});
  add_job(problem, 1, {0});
  add_job(problem, 1, {1});
  add_job(problem, 1, {2});
  EXPECT_EQ(read_order(problem), (Numbers{1, 2, 0}));
}

TEST(ReadOrder, WeightCountsAgainstCost) {
  OrderProblem problem = with_parts({5, 1});
  add_job(problem, 6, {0});
  add_job(problem, 1, {1});
  EXPECT_EQ(read_order(problem), (Numbers{0, 1}));
}

TEST(ReadOrder, ABundleThatSharesAPartComesBeforeACheaperJob) {
  // One at a time the lone job looks best (1 for 4); the three together are 3 for 8.
  OrderProblem problem = with_parts({5, 1, 1, 1, 4});
  add_job(problem, 1, {0, 1});
  add_job(problem, 1, {0, 2});
  add_job(problem, 1, {0, 3});
  add_job(problem, 1, {4});
  EXPECT_EQ(read_order(problem), (Numbers{0, 1, 2, 3}));
  OrderLimits greedy;
  greedy.exact_jobs = 1;
  greedy.by_density = false;
  EXPECT_EQ(read_order(problem, greedy), (Numbers{0, 1, 2, 3})) << "the greedy order of each tangle is merged so, too";
}

TEST(ReadOrder, BetweenEqualsWhatWasNeverTriedComesFirst) {
  OrderProblem problem = with_parts({2, 2, 2});
  problem.parts[1].unread = 2;
  add_job(problem, 1, {0});
  add_job(problem, 1, {1});
  add_job(problem, 1, {2});
  EXPECT_EQ(read_order(problem), (Numbers{1, 0, 2}));
}

TEST(ReadOrder, JobsThatNeedNothingComeFirstAndNoJobsGiveNoOrder) {
  OrderProblem problem = with_parts({2});
  EXPECT_TRUE(read_order(problem).empty());
  add_job(problem, 1, {0});
  add_job(problem, 1, {});
  EXPECT_EQ(read_order(problem), (Numbers{1, 0}));
}

struct Trial {
  std::uint32_t jobs, parts;
  Sharing sharing;
};

class Trials : public ::testing::TestWithParam<Trial> {};

TEST_P(Trials, TheAreaIsTheLeastThereIs) {
  std::mt19937 random(7);
  for (int round = 0; round < 150; ++round) {
    const OrderProblem problem = random_problem(random, GetParam().jobs, GetParam().parts, GetParam().sharing);
    const Numbers order = read_order(problem);
    expect_all(problem, order);
    ASSERT_EQ(combine::order_area(problem, order), least_area(problem)) << "round " << round;
  }
}

INSTANTIATE_TEST_SUITE_P(ReadOrder, Trials,
                         ::testing::Values(Trial{3, 4, Sharing::kAny}, Trial{8, 12, Sharing::kAny},
                                           Trial{10, 6, Sharing::kAny}, Trial{10, 30, Sharing::kAny},
                                           Trial{10, 12, Sharing::kNeighbours}));

TEST(ReadOrder, TakenApartByDensityItIsBestAlsoWhereTanglesAreLarger) {
  std::mt19937 random(8);
  OrderLimits limits;
  limits.exact_jobs = 8;
  for (int round = 0; round < 60; ++round) {
    const OrderProblem problem = random_problem(random, 12, 30, Sharing::kAny);
    const Numbers order = read_order(problem, limits);
    expect_all(problem, order);
    const long double best = least_area(problem), area = combine::order_area(problem, order);
    EXPECT_GE(area, best);
    EXPECT_LE(area, best * 1.03L) << "round " << round;
  }
}

TEST(ReadOrder, NeverWorseThanTwiceTheBestWithoutAnythingExact) {
  // An order by falling density is within a factor of 2 (Chekuri and Motwani 1999, from memory).
  std::mt19937 random(9);
  OrderLimits limits;
  limits.exact_jobs = 1;
  for (int round = 0; round < 100; ++round) {
    const OrderProblem problem = random_problem(random, 10, 14, Sharing::kAny);
    const Numbers order = read_order(problem, limits);
    expect_all(problem, order);
    EXPECT_LE(combine::order_area(problem, order), 2 * least_area(problem));
  }
}

/// Weight and cost of the jobs chosen.
std::pair<std::uint64_t, std::uint64_t> sums(const OrderProblem& problem, const Numbers& jobs) {
  std::vector<bool> read(problem.parts.size());
  std::uint64_t weight = 0, cost = 0;
  for (const std::uint32_t j : jobs) {
    weight += problem.jobs[j].weight;
    for (const std::uint32_t p : problem.needs_of(problem.jobs[j])) {
      if (!read[p]) cost += problem.parts[p].cost;
      read[p] = true;
    }
  }
  return {weight, cost};
}

TEST(AffordableOrder, TheHeaviestChoiceOfFewJobs) {
  std::mt19937 random(12);
  for (int round = 0; round < 40; ++round) {
    const OrderProblem problem = random_problem(random, 9, 11, Sharing::kAny);
    const std::uint64_t budget = 1 + random() % 60;
    std::uint64_t most = 0;
    for (std::uint32_t set = 0; set < 1U << 9; ++set) {
      Numbers jobs;
      for (std::uint32_t j = 0; j < 9; ++j) {
        if ((set >> j & 1) != 0) jobs.push_back(j);
      }
      if (const auto sum = sums(problem, jobs); sum.second <= budget) most = std::max(most, sum.first);
    }
    const auto chosen = sums(problem, combine::affordable_order(problem, budget));
    EXPECT_EQ(chosen.first, most) << "round " << round;
    EXPECT_LE(chosen.second, budget);
  }
}

TEST(AffordableOrder, OfManyJobsNoMoreThanTheBudgetAndNoLessThanTheOrderGives) {
  std::mt19937 random(13);
  const OrderProblem problem = random_problem(random, 400, 500, Sharing::kNeighbours);
  const auto all = sums(problem, read_order(problem));
  for (std::uint64_t budget : {all.second / 10, all.second / 2, all.second}) {
    const auto chosen = sums(problem, combine::affordable_order(problem, budget));
    EXPECT_LE(chosen.second, budget);
    Numbers begun;  // as far as the order goes before the first that does not fit
    for (const std::uint32_t j : read_order(problem)) {
      begun.push_back(j);
      if (sums(problem, begun).second > budget) {
        begun.pop_back();
        break;
      }
    }
    EXPECT_GE(chosen.first, sums(problem, begun).first);
  }
  EXPECT_EQ(sums(problem, combine::affordable_order(problem, all.second)), all);
}

TEST(ReadOrder, WithoutStepsToSpendItIsStillAnOrder) {
  std::mt19937 random(10);
  OrderLimits limits;
  limits.exact_jobs = 2;
  limits.steps_per_need = 0;
  const OrderProblem problem = random_problem(random, 3000, 3000, Sharing::kAny);
  expect_all(problem, read_order(problem, limits));
}

TEST(ReadOrder, HugeCostsAndWeightsDoNotOverflow) {
  OrderProblem problem;
  for (int p = 0; p < 40; ++p) problem.parts.push_back({std::uint64_t{1} << 33, 0});
  for (std::uint32_t j = 0; j + 1 < 40; ++j) add_job(problem, std::uint64_t{1} << 40, {j, j + 1});
  add_job(problem, 1, {0, 39});
  expect_all(problem, read_order(problem));
}

}  // namespace
}  // namespace lacuna::test

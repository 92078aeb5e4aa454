// SPDX-License-Identifier: GPL-3.0-or-later
// Small problems of ordering, and their best orders found by trying all.
#pragma once

#include <algorithm>
#include <cstdint>
#include <numeric>
#include <random>
#include <utility>
#include <vector>

#include "combine/read_order.h"

namespace lacuna::test {

inline void add_job(combine::OrderProblem& problem, std::uint64_t weight, std::vector<std::uint32_t> needs) {
  std::sort(needs.begin(), needs.end());
  needs.erase(std::unique(needs.begin(), needs.end()), needs.end());
  problem.jobs.push_back(
      {weight, static_cast<std::uint32_t>(problem.needs.size()), static_cast<std::uint32_t>(needs.size())});
  problem.needs.insert(problem.needs.end(), needs.begin(), needs.end());
}

/// How parts are shared.
enum class Sharing {
  kAny,        ///< Each job needs some parts, whichever.
  kNeighbours  ///< Jobs lie one behind the other and share the part at their border, as small files share ECC blocks.
};

inline combine::OrderProblem random_problem(std::mt19937& random, std::uint32_t jobs, std::uint32_t parts,
                                            Sharing sharing) {
  const auto below = [&](std::uint32_t n) { return static_cast<std::uint32_t>(random() % n); };
  combine::OrderProblem problem;
  for (std::uint32_t p = 0; p < parts; ++p) problem.parts.push_back({1 + below(below(3) == 0 ? 40 : 4), 0});
  std::uint32_t at = 0;
  for (std::uint32_t j = 0; j < jobs; ++j) {
    std::vector<std::uint32_t> needs;
    if (sharing == Sharing::kAny) {
      for (std::uint32_t n = 1 + below(4); n > 0; --n) needs.push_back(below(parts));
    } else {
      for (std::uint32_t n = 1 + below(3); n > 0; --n) needs.push_back(std::min(at++, parts - 1));
      if (below(5) != 0) --at;
      at = std::min(at, parts - 1);
    }
    add_job(problem, 1 + below(below(4) == 0 ? 5 : 1), needs);
  }
  return problem;
}

/// The least area of any order: over all subsets, what the last job to be complete costs. Up to 20 jobs.
inline long double least_area(const combine::OrderProblem& problem) {
  const std::size_t n = problem.jobs.size();
  std::vector<long double> area(std::size_t{1} << n, 0);
  for (std::size_t set = 1; set < area.size(); ++set) {
    std::vector<bool> read(problem.parts.size());
    long double cost = 0;
    for (std::size_t j = 0; j < n; ++j) {
      if ((set >> j & 1) == 0) continue;
      for (const std::uint32_t p : problem.needs_of(problem.jobs[j])) {
        if (!read[p]) cost += static_cast<long double>(problem.parts[p].cost);
        read[p] = true;
      }
    }
    area[set] = -1;
    for (std::size_t j = 0; j < n; ++j) {
      if ((set >> j & 1) == 0) continue;
      const long double with =
          area[set ^ (std::size_t{1} << j)] + cost * static_cast<long double>(problem.jobs[j].weight);
      if (area[set] < 0 || with < area[set]) area[set] = with;
    }
  }
  return area.back();
}

}  // namespace lacuna::test

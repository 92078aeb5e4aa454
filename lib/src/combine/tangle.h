// SPDX-License-Identifier: GPL-3.0-or-later
// Tangle: jobs that share parts, small enough to be numbered anew; and what can be done with one.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "combine/read_order.h"

namespace lacuna::combine {

/// A set of jobs of a problem with their parts that are not read yet, numbered from 0. For one thread.
struct Tangle {
  std::vector<std::uint32_t> jobs;   ///< Numbers in the problem, ascending.
  std::vector<std::uint64_t> costs;  ///< By part.
  std::vector<std::uint64_t> weights;
  std::vector<std::uint32_t> first_need;  ///< By job, and one more behind.
  std::vector<std::uint32_t> needs;       ///< Part numbers of this tangle.

  std::span<const std::uint32_t> needs_of(std::size_t job) const noexcept {
    return std::span(needs).subspan(first_need[job], first_need[job + 1] - first_need[job]);
  }
};

/// Renumbers parts; one for a whole problem, because it keeps an entry a part.
class TangleMaker {
 public:
  explicit TangleMaker(const OrderProblem& problem) : problem_(problem), local_(problem.parts.size(), kNone) {}
  /// Parts that are read already, by number in the problem, are left out.
  Tangle make(std::vector<std::uint32_t> jobs, const std::vector<bool>& read);

 private:
  static constexpr std::uint32_t kNone = ~std::uint32_t{0};
  const OrderProblem& problem_;
  std::vector<std::uint32_t> local_;
  std::vector<std::uint32_t> touched_;
};

/// What reading all that a subset of the jobs needs costs, by subset: bit j for job j. Up to 20 jobs.
std::vector<std::uint64_t> cost_of_subsets(const Tangle& tangle);

/// The jobs (numbers within the tangle) in the best order there is, by dynamic programming over all subsets. At
/// most 20.
std::vector<std::uint32_t> exact_order(const Tangle& tangle);

/// By the greatest weight for the least cost at each step, what is read already costing nothing.
std::vector<std::uint32_t> greedy_order(const Tangle& tangle);

/// Cuts into sets that follow each other in falling density, each closed under need together with those before it:
/// numbers within the tangle. Parametric maximum closures by maximum flow. `steps` is what may be spent and is counted
/// down; when it is used up, what is left stays in one piece.
std::vector<std::vector<std::uint32_t>> by_density(const Tangle& tangle, std::uint64_t& steps);

}  // namespace lacuna::combine

// SPDX-License-Identifier: GPL-3.0-or-later
// ReadOrder: in which order to read parts so that what needs them is complete as early as can be.
//
// A job is complete when each of its parts is read; parts may serve several jobs. The order is measured by the sum,
// over all jobs, of weight times what has been spent when the job is complete: the area above the curve of completed
// weight by cost. That is scheduling under precedence, 1|prec|sum w C, with parts as jobs of no weight. Sidney
// (Operations Research 23, 1975, from memory): an order is best only if it begins with a set of greatest density
// (weight by cost) that is closed under need, best in itself, and goes on so with the rest.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace lacuna::combine {

/// Flat, so that half a million jobs are a few allocations.
struct OrderProblem {
  struct Part {
    std::uint64_t cost = 0;    ///< At least 1, 2^33 at most.
    std::uint64_t unread = 0;  ///< How much of the cost was never tried: between equals, that is tried first.
  };
  struct Job {
    std::uint64_t weight = 1;  ///< At least 1.
    std::uint32_t first_need = 0, need_count = 0;
  };
  std::vector<Part> parts;  ///< In the order in which they are read between equals.
  std::vector<Job> jobs;
  std::vector<std::uint32_t> needs;  ///< Of job j, ascending part numbers without repetition.

  std::span<const std::uint32_t> needs_of(const Job& j) const noexcept {
    return std::span(needs).subspan(j.first_need, j.need_count);
  }
};

struct OrderLimits {
  /// Sets that hold together are put in order exactly up to this many jobs; at most 20. Up to five more while steps
  /// last.
  std::uint32_t exact_jobs = 10;
  /// Whether larger ones are taken apart by density first.
  bool by_density = true;
  /// Steps that taking apart may take a piece of need; what is beyond is ordered by density at each step alone.
  std::uint64_t steps_per_need = 400;
};

/// All jobs, each once. Those that need no part come first. Best when no set that holds together, after being taken
/// apart by density, has more than `exact_jobs` jobs; else within such sets by the greatest density at each step.
std::vector<std::uint32_t> read_order(const OrderProblem& problem, const OrderLimits& limits = {});

/// Sum over all jobs of weight times the cost spent when it is complete.
long double order_area(const OrderProblem& problem, std::span<const std::uint32_t> order);

/// True when a weight for a cost is more than another weight for another cost; a cost of 0 is more than any other.
bool denser(std::uint64_t weight, std::uint64_t cost, std::uint64_t other_weight, std::uint64_t other_cost) noexcept;

}  // namespace lacuna::combine

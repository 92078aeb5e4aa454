// SPDX-License-Identifier: GPL-3.0-or-later
// The exact order of few jobs, and the greedy one of many.
#include <algorithm>
#include <bit>
#include <queue>

#include "combine/tangle.h"

namespace lacuna::combine {
std::vector<std::uint64_t> cost_of_subsets(const Tangle& t) {
  const std::size_t n = t.jobs.size();
  const std::size_t subsets = std::size_t{1} << n;
  std::vector<std::uint32_t> users(t.costs.size());
  for (std::size_t j = 0; j < n; ++j) {
    for (const std::uint32_t p : t.needs_of(j)) users[p] |= std::uint32_t{1} << j;
  }
  // First by who uses a part exactly, then summed over all subsets: a part is spared by those who use none of it.
  std::vector<std::uint64_t> sums(subsets);
  std::uint64_t all = 0;
  for (std::size_t p = 0; p < t.costs.size(); ++p) {
    sums[users[p]] += t.costs[p];
    all += t.costs[p];
  }
  for (std::size_t j = 0; j < n; ++j) {
    const std::size_t bit = std::size_t{1} << j;
    for (std::size_t s = 0; s < subsets; ++s) {
      if ((s & bit) != 0) sums[s] += sums[s ^ bit];
    }
  }
  std::vector<std::uint64_t> costs(subsets);
  for (std::size_t s = 0; s < subsets; ++s) costs[s] = all - sums[(subsets - 1) ^ s];
  return costs;
}

std::vector<std::uint32_t> exact_order(const Tangle& t) {
  const std::size_t n = t.jobs.size();
  if (n < 2) return std::vector<std::uint32_t>(n);
  const std::vector<std::uint64_t> costs = cost_of_subsets(t);
  // The last job of a subset is complete when all of it is read.
  std::vector<double> area(costs.size());
  std::vector<std::uint8_t> last(costs.size());
  for (std::size_t s = 1; s < costs.size(); ++s) {
    double best = -1;
    for (std::size_t rest = s; rest != 0; rest &= rest - 1) {
      const auto j = static_cast<std::size_t>(std::countr_zero(rest));
      const double with =
          area[s ^ (std::size_t{1} << j)] + static_cast<double>(t.weights[j]) * static_cast<double>(costs[s]);
      // Of equals the later job comes last.
      if (best < 0 || with <= best) {
        best = with;
        last[s] = static_cast<std::uint8_t>(j);
      }
    }
    area[s] = best;
  }
  std::vector<std::uint32_t> order(n);
  for (std::size_t s = costs.size() - 1, at = n; s != 0; s ^= std::size_t{1} << last[s]) order[--at] = last[s];
  return order;
}

std::vector<std::uint32_t> greedy_order(const Tangle& t) {
  const std::size_t n = t.jobs.size();
  std::vector<std::uint64_t> open(n);
  std::vector<std::uint32_t> first_user(t.costs.size() + 1);
  for (const std::uint32_t p : t.needs) ++first_user[p + 1];
  for (std::size_t p = 0; p < t.costs.size(); ++p) first_user[p + 1] += first_user[p];
  std::vector<std::uint32_t> users(t.needs.size());
  std::vector<std::uint32_t> at(first_user.begin(), first_user.end() - 1);
  for (std::size_t j = 0; j < n; ++j) {
    for (const std::uint32_t p : t.needs_of(j)) {
      users[at[p]++] = static_cast<std::uint32_t>(j);
      open[j] += t.costs[p];
    }
  }
  // An entry counts only as long as its cost is the job's; each fall of a job's cost brings a new one.
  struct Entry {
    std::uint64_t cost;
    std::uint32_t job;
  };
  const auto worse = [&](const Entry& a, const Entry& b) {
    if (denser(t.weights[b.job], b.cost, t.weights[a.job], a.cost)) return true;
    if (denser(t.weights[a.job], a.cost, t.weights[b.job], b.cost)) return false;
    return a.job > b.job;
  };
  std::priority_queue<Entry, std::vector<Entry>, decltype(worse)> queue(worse);
  for (std::size_t j = 0; j < n; ++j) queue.push({open[j], static_cast<std::uint32_t>(j)});
  std::vector<bool> done(n), read(t.costs.size());
  std::vector<std::uint32_t> order;
  order.reserve(n);
  while (!queue.empty()) {
    const Entry e = queue.top();
    queue.pop();
    if (done[e.job] || e.cost != open[e.job]) continue;
    done[e.job] = true;
    order.push_back(e.job);
    for (const std::uint32_t p : t.needs_of(e.job)) {
      if (read[p]) continue;
      read[p] = true;
      for (std::uint32_t u = first_user[p]; u < first_user[p + 1]; ++u) {
        open[users[u]] -= t.costs[p];
        if (!done[users[u]]) queue.push({open[users[u]], users[u]});
      }
    }
  }
  return order;
}

}  // namespace lacuna::combine

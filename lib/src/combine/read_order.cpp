// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/read_order.h"

#include <algorithm>

#include "combine/tangle.h"

namespace lacuna::combine {
namespace {

__extension__ using Wide = unsigned __int128;

/// A job in its place of an order: what is to be spent for it when all before it is complete.
struct Link {
  std::uint32_t job = 0;
  std::uint64_t cost = 0, unread = 0;
};
using Chain = std::vector<Link>;

class Orderer {
 public:
  Orderer(const OrderProblem& problem, const OrderLimits& limits)
      : problem_(problem),
        limits_(limits),
        maker_(problem),
        read_(problem.parts.size()),
        user_(problem.parts.size(), kNone),
        group_(problem.jobs.size()),
        steps_(limits.by_density ? kFreeSteps + limits.steps_per_need * problem.needs.size() : 0) {}

  std::vector<std::uint32_t> run() {
    std::vector<std::uint32_t> order, jobs;
    for (std::uint32_t j = 0; j < problem_.jobs.size(); ++j) {
      (problem_.jobs[j].need_count == 0 ? order : jobs).push_back(j);
    }
    for (const Link& link : solve(std::move(jobs), false, 0)) order.push_back(link.job);
    return order;
  }

 private:
  static constexpr std::uint32_t kNone = ~std::uint32_t{0};
  static constexpr std::uint64_t kFreeSteps = 1'000'000;
  static constexpr std::uint64_t kGreedySteps = 8;  // a need, about
  static constexpr int kMostDepth = 200;
  static constexpr std::size_t kMoreJobs = 5, kMostExact = 20;

  /// Orders jobs whose parts that are not read serve no others. `tight`: no part of the set is denser than the whole.
  Chain solve(std::vector<std::uint32_t> jobs, bool tight, int depth) {
    std::vector<std::vector<std::uint32_t>> components = split(std::move(jobs));
    if (components.size() == 1) return order_component(std::move(components.front()), tight, depth);
    std::vector<Chain> chains;
    chains.reserve(components.size());
    for (auto& c : components) chains.push_back(order_component(std::move(c), false, depth));
    return merge(std::move(chains));
  }

  /// Sets that share no part which is not read.
  std::vector<std::vector<std::uint32_t>> split(std::vector<std::uint32_t> jobs) {
    for (const std::uint32_t j : jobs) group_[j] = j;
    const auto root = [this](std::uint32_t j) {
      while (group_[j] != j) j = group_[j] = group_[group_[j]];
      return j;
    };
    for (const std::uint32_t j : jobs) {
      for (const std::uint32_t p : problem_.needs_of(problem_.jobs[j])) {
        if (read_[p]) continue;
        if (user_[p] == kNone) {
          user_[p] = j;
          continue;
        }
        const std::uint32_t a = root(user_[p]), b = root(j);
        group_[std::max(a, b)] = std::min(a, b);
      }
    }
    for (const std::uint32_t j : jobs) {
      for (const std::uint32_t p : problem_.needs_of(problem_.jobs[j])) user_[p] = kNone;
    }
    for (const std::uint32_t j : jobs) group_[j] = root(j);
    // The root of a set is its lowest number, so that it is met first.
    std::sort(jobs.begin(), jobs.end());
    std::vector<std::vector<std::uint32_t>> sets;
    std::vector<std::uint32_t> roots;
    for (const std::uint32_t j : jobs) {
      if (group_[j] == j) roots.push_back(j);
    }
    sets.resize(roots.size());
    for (const std::uint32_t j : jobs) {
      const auto at = std::lower_bound(roots.begin(), roots.end(), group_[j]) - roots.begin();
      sets[static_cast<std::size_t>(at)].push_back(j);
    }
    return sets;
  }

  Chain order_component(std::vector<std::uint32_t> jobs, bool tight, int depth) {
    Chain chain;
    chain.reserve(jobs.size());
    if (jobs.size() == 1) {
      append(chain, jobs.front());
      return chain;
    }
    // What is left to be ordered goes on without the tangle, so that few of them are there at a time.
    for (std::vector<std::uint32_t>& set : order_or_cut(std::move(jobs), chain, tight, depth)) {
      const Chain more = solve(std::move(set), tight, depth + 1);
      chain.insert(chain.end(), more.begin(), more.end());
    }
    return chain;
  }

  /// Orders a set that hangs together, or a part of it, and gives what is to be ordered behind that, set by set.
  /// `tight` comes in for the set and goes out for those.
  std::vector<std::vector<std::uint32_t>> order_or_cut(std::vector<std::uint32_t> jobs, Chain& chain, bool& tight,
                                                       int depth) {
    const Tangle tangle = maker_.make(std::move(jobs), read_);
    const auto numbers = [&tangle](std::vector<std::uint32_t> set) {
      for (std::uint32_t& j : set) j = tangle.jobs[j];
      return set;
    };
    const auto append_all = [&](const std::vector<std::uint32_t>& order) {
      for (const std::uint32_t j : numbers(order)) append(chain, j);
    };
    if (tangle.jobs.size() <= limits_.exact_jobs || afford_exact(tangle.jobs.size())) {
      append_all(exact_order(tangle));
      return {};
    }
    if (steps_ != 0 && depth < kMostDepth && !tight) {
      std::vector<std::vector<std::uint32_t>> sets = by_density(tangle, steps_);
      if (sets.size() > 1) {
        for (auto& set : sets) set = numbers(std::move(set));
        tight = true;
        return sets;
      }
    }
    std::vector<std::uint32_t> order = greedy_order(tangle);
    if (steps_ == 0 || depth >= kMostDepth) {
      append_all(order);
      return {};
    }
    // Nothing in it is denser than the whole: one job is put first, what it spares the others is seen then.
    steps_ -= std::min<std::uint64_t>(steps_, kGreedySteps * tangle.needs.size());
    append(chain, tangle.jobs[order.front()]);
    order.erase(order.begin());
    tight = false;
    return {numbers(std::move(order))};
  }

  /// Whether what may be spent is enough for a few jobs more than are always put in order exactly.
  bool afford_exact(std::size_t jobs) {
    if (!limits_.by_density || jobs > limits_.exact_jobs + kMoreJobs || jobs > kMostExact) return false;
    const std::uint64_t needed = jobs << (jobs + 1);
    if (steps_ < needed) return false;
    steps_ -= needed;
    return true;
  }

  void append(Chain& chain, std::uint32_t job) {
    Link link{job, 0, 0};
    for (const std::uint32_t p : problem_.needs_of(problem_.jobs[job])) {
      if (read_[p]) continue;
      read_[p] = true;
      link.cost += problem_.parts[p].cost;
      link.unread += problem_.parts[p].unread;
    }
    chain.push_back(link);
  }

  /// Links of a chain that are best done together, because those behind are denser than those before.
  struct Block {
    std::uint64_t weight = 0, cost = 0, unread = 0;
    std::uint32_t place = 0;  ///< Its lowest part.
    std::uint32_t chain = 0;
    std::size_t first = 0, end = 0;
  };

  void add_blocks(const Chain& chain, std::uint32_t index, std::vector<Block>& blocks) {
    const std::size_t before = blocks.size();
    for (std::size_t i = 0; i < chain.size(); ++i) {
      const OrderProblem::Job& job = problem_.jobs[chain[i].job];
      Block b{job.weight, chain[i].cost, chain[i].unread, problem_.needs[job.first_need], index, i, i + 1};
      while (blocks.size() > before) {
        const Block& last = blocks.back();
        if (denser(last.weight, last.cost, b.weight, b.cost)) break;
        b = {b.weight + last.weight,
             b.cost + last.cost,
             b.unread + last.unread,
             std::min(b.place, last.place),
             index,
             last.first,
             b.end};
        blocks.pop_back();
      }
      blocks.push_back(b);
    }
  }

  Chain merge(std::vector<Chain> chains) {
    std::vector<Block> blocks;
    blocks.reserve(chains.size());
    for (std::size_t c = 0; c < chains.size(); ++c) add_blocks(chains[c], static_cast<std::uint32_t>(c), blocks);
    // Densities fall strictly within a chain, so that its order stays.
    std::stable_sort(blocks.begin(), blocks.end(), [](const Block& a, const Block& b) {
      if (denser(a.weight, a.cost, b.weight, b.cost)) return true;
      if (denser(b.weight, b.cost, a.weight, a.cost)) return false;
      if (denser(a.unread, a.cost, b.unread, b.cost)) return true;
      if (denser(b.unread, b.cost, a.unread, a.cost)) return false;
      return a.place < b.place;
    });
    Chain all;
    for (const Block& b : blocks) {
      const auto links = chains[b.chain].begin();
      all.insert(all.end(), links + static_cast<std::ptrdiff_t>(b.first), links + static_cast<std::ptrdiff_t>(b.end));
    }
    return all;
  }

  const OrderProblem& problem_;
  const OrderLimits& limits_;
  TangleMaker maker_;
  std::vector<bool> read_;            // by part
  std::vector<std::uint32_t> user_;   // by part, while sets are being found
  std::vector<std::uint32_t> group_;  // by job, the same
  std::uint64_t steps_;
};

}  // namespace

Tangle TangleMaker::make(std::vector<std::uint32_t> jobs, const std::vector<bool>& read) {
  Tangle t;
  t.jobs = std::move(jobs);
  t.first_need.push_back(0);
  for (const std::uint32_t j : t.jobs) {
    const OrderProblem::Job& job = problem_.jobs[j];
    t.weights.push_back(job.weight);
    for (const std::uint32_t p : problem_.needs_of(job)) {
      if (read[p]) continue;
      if (local_[p] == kNone) {
        local_[p] = static_cast<std::uint32_t>(t.costs.size());
        touched_.push_back(p);
        t.costs.push_back(problem_.parts[p].cost);
      }
      t.needs.push_back(local_[p]);
    }
    t.first_need.push_back(static_cast<std::uint32_t>(t.needs.size()));
  }
  for (const std::uint32_t p : touched_) local_[p] = kNone;
  touched_.clear();
  return t;
}

bool denser(std::uint64_t weight, std::uint64_t cost, std::uint64_t other_weight, std::uint64_t other_cost) noexcept {
  return static_cast<Wide>(weight) * other_cost > static_cast<Wide>(other_weight) * cost;
}

std::vector<std::uint32_t> read_order(const OrderProblem& problem, const OrderLimits& limits) {
  return Orderer(problem, limits).run();
}

long double order_area(const OrderProblem& problem, std::span<const std::uint32_t> order) {
  std::vector<bool> read(problem.parts.size());
  long double area = 0, spent = 0;
  for (const std::uint32_t j : order) {
    for (const std::uint32_t p : problem.needs_of(problem.jobs[j])) {
      if (!read[p]) spent += static_cast<long double>(problem.parts[p].cost);
      read[p] = true;
    }
    area += spent * static_cast<long double>(problem.jobs[j].weight);
  }
  return area;
}

}  // namespace lacuna::combine

// SPDX-License-Identifier: GPL-3.0-or-later
// Sets of falling density. For a set with weight W and cost C, that subset is looked for whose weight exceeds its cost
// at the price W / C by most: a maximum closure, which a minimum cut gives (Picard 1976, from memory). When no subset
// exceeds it, no part of the set is denser than the whole; else the subset comes first, and both halves are looked at
// again (Fujishige's decomposition, from memory): every set is cut at most once more than there are sets in the end.
#include <algorithm>
#include <numeric>

#include "combine/tangle.h"

namespace lacuna::combine {
namespace {

/// Maximum flow by shortest augmenting paths (Dinic). Nodes: source, sink, jobs, parts.
class Flow {
 public:
  explicit Flow(std::size_t nodes) : first_(nodes, kNone), level_(nodes), at_(nodes) {}

  void add(std::uint32_t from, std::uint32_t to, std::uint64_t capacity) {
    edges_.push_back({to, first_[from], capacity});
    first_[from] = static_cast<std::uint32_t>(edges_.size() - 1);
    edges_.push_back({from, first_[to], 0});
    first_[to] = static_cast<std::uint32_t>(edges_.size() - 1);
  }

  /// False when `steps` was used up first; then there is no maximum flow yet.
  bool run(std::uint64_t& steps) {
    while (find_levels(steps)) {
      at_ = first_;
      while (push_path(steps)) {
      }
      if (steps == 0) return false;
    }
    return steps != 0;
  }
  /// After run(): whether the source still reaches a node.
  bool reached(std::uint32_t node) const noexcept { return level_[node] != kNone; }

  static constexpr std::uint32_t kSource = 0, kSink = 1, kFirst = 2;

 private:
  struct Edge {
    std::uint32_t to, next;
    std::uint64_t left;
  };
  static constexpr std::uint32_t kNone = ~std::uint32_t{0};

  static bool spend(std::uint64_t& steps) noexcept { return steps != 0 && --steps != 0; }

  /// Breadth first; true when the sink can be reached.
  bool find_levels(std::uint64_t& steps) {
    std::fill(level_.begin(), level_.end(), kNone);
    level_[kSource] = 0;
    queue_.assign(1, kSource);
    for (std::size_t i = 0; i < queue_.size(); ++i) {
      for (std::uint32_t e = first_[queue_[i]]; e != kNone; e = edges_[e].next) {
        if (!spend(steps)) return false;
        if (edges_[e].left == 0 || level_[edges_[e].to] != kNone) continue;
        level_[edges_[e].to] = level_[queue_[i]] + 1;
        queue_.push_back(edges_[e].to);
      }
    }
    return level_[kSink] != kNone;
  }

  /// One path from source to sink, depth first without recursion.
  bool push_path(std::uint64_t& steps) {
    path_.clear();
    std::uint32_t node = kSource;
    while (node != kSink) {
      std::uint32_t& e = at_[node];
      while (e != kNone && (edges_[e].left == 0 || level_[edges_[e].to] != level_[node] + 1)) {
        if (!spend(steps)) return false;
        e = edges_[e].next;
      }
      if (!spend(steps)) return false;
      if (e != kNone) {
        path_.push_back(e);
        node = edges_[e].to;
        continue;
      }
      if (path_.empty()) return false;
      node = edges_[path_.back() ^ 1].to;  // a dead end: back, and past the edge that led there
      at_[node] = edges_[path_.back()].next;
      path_.pop_back();
    }
    std::uint64_t amount = ~std::uint64_t{0};
    for (const std::uint32_t e : path_) amount = std::min(amount, edges_[e].left);
    for (const std::uint32_t e : path_) {
      edges_[e].left -= amount;
      edges_[e ^ 1].left += amount;
    }
    return true;
  }

  std::vector<Edge> edges_;  // each beside its reverse
  std::vector<std::uint32_t> first_, level_, at_, queue_, path_;
};

class Decomposer {
 public:
  Decomposer(const Tangle& tangle, std::uint64_t& steps)
      : t_(tangle), steps_(steps), local_(tangle.costs.size(), kNone), taken_(tangle.costs.size()) {}

  std::vector<std::vector<std::uint32_t>> run() {
    std::vector<std::uint32_t> all(t_.jobs.size());
    std::iota(all.begin(), all.end(), std::uint32_t{0});
    // The denser half lies on top of the other, so that sets come out, and their parts are taken, in order.
    std::vector<std::vector<std::uint32_t>> open;
    open.push_back(std::move(all));
    while (!open.empty()) {
      std::vector<std::uint32_t> set = std::move(open.back());
      open.pop_back();
      std::vector<std::uint32_t> first, rest;
      if (set.size() > 1 && steps_ != 0 && split(set, first, rest)) {
        open.push_back(std::move(rest));
        open.push_back(std::move(first));
        continue;
      }
      for (const std::uint32_t j : set) {
        for (const std::uint32_t p : t_.needs_of(j)) taken_[p] = true;
      }
      out_.push_back(std::move(set));
    }
    return std::move(out_);
  }

 private:
  static constexpr std::uint32_t kNone = ~std::uint32_t{0};
  static constexpr unsigned kMostBits = 62;

  bool split(const std::vector<std::uint32_t>& set, std::vector<std::uint32_t>& first,
             std::vector<std::uint32_t>& rest) {
    std::vector<std::uint32_t> parts;
    std::uint64_t weight = 0, cost = 0;
    for (const std::uint32_t j : set) {
      weight += t_.weights[j];
      for (const std::uint32_t p : t_.needs_of(j)) {
        if (taken_[p] || local_[p] != kNone) continue;
        local_[p] = static_cast<std::uint32_t>(parts.size());
        parts.push_back(p);
        cost += t_.costs[p];
      }
    }
    // Capacities are products; sums too large for them lose their last digits, and the cut is then nearly the best.
    unsigned weight_shift = 0, cost_shift = 0;
    while ((weight >> weight_shift) != 0 &&
           (cost >> cost_shift) > (std::uint64_t{1} << kMostBits) / ((weight >> weight_shift) + 1)) {
      ++((weight >> weight_shift) > (cost >> cost_shift) ? weight_shift : cost_shift);
    }
    const auto scaled = [](std::uint64_t v, unsigned shift) { return std::max<std::uint64_t>(1, v >> shift); };
    std::uint64_t scaled_weight = 0, scaled_cost = 0;
    for (const std::uint32_t j : set) scaled_weight += scaled(t_.weights[j], weight_shift);
    for (const std::uint32_t p : parts) scaled_cost += scaled(t_.costs[p], cost_shift);

    Flow flow(Flow::kFirst + set.size() + parts.size());
    const auto node_of_part = [&](std::uint32_t p) {
      return Flow::kFirst + static_cast<std::uint32_t>(set.size()) + local_[p];
    };
    for (std::size_t i = 0; i < set.size(); ++i) {
      const auto node = Flow::kFirst + static_cast<std::uint32_t>(i);
      flow.add(Flow::kSource, node, scaled(t_.weights[set[i]], weight_shift) * scaled_cost);
      for (const std::uint32_t p : t_.needs_of(set[i])) {
        if (!taken_[p]) flow.add(node, node_of_part(p), ~std::uint64_t{0} >> 1);
      }
    }
    for (const std::uint32_t p : parts) {
      flow.add(node_of_part(p), Flow::kSink, scaled(t_.costs[p], cost_shift) * scaled_weight);
    }
    for (const std::uint32_t p : parts) local_[p] = kNone;
    if (!flow.run(steps_)) return false;
    for (std::size_t i = 0; i < set.size(); ++i) {
      (flow.reached(Flow::kFirst + static_cast<std::uint32_t>(i)) ? first : rest).push_back(set[i]);
    }
    return !first.empty() && !rest.empty();
  }

  const Tangle& t_;
  std::uint64_t& steps_;
  std::vector<std::uint32_t> local_;  // by part: its number in the set that is being split
  std::vector<bool> taken_;           // by part: needed by a set that is out already
  std::vector<std::vector<std::uint32_t>> out_;
};

}  // namespace

std::vector<std::vector<std::uint32_t>> by_density(const Tangle& tangle, std::uint64_t& steps) {
  return Decomposer(tangle, steps).run();
}

}  // namespace lacuna::combine

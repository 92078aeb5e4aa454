// SPDX-License-Identifier: GPL-3.0-or-later
// Which jobs to choose when not all can be afforded.
#pragma once

#include <cstdint>
#include <vector>

#include "combine/read_order.h"

namespace lacuna::combine {

/// Jobs whose parts together cost no more than `budget`, of the greatest weight, in the order of read_order(). Exact up
/// to 14 jobs; of more, the best of three: the order of all, that of those which are affordable at all, and the densest
/// that still fits at each step, what does not fit being passed over.
std::vector<std::uint32_t> affordable_order(const OrderProblem& problem, std::uint64_t budget);

}  // namespace lacuna::combine

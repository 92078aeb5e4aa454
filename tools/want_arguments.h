// SPDX-License-Identifier: GPL-3.0-or-later
// The options that say what comes first when sectors are read again.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

#include "lacuna/plan.h"
#include "options.h"

namespace lacuna::tool {

/// --want, --want-kind, --skip, --medium.
struct WantArguments {
  GlobArguments want, skip;
  std::vector<std::string> want_kinds;
  std::string medium = "auto";

  void add_to(CLI::App& app);
  PlanOptions plan_options() const;
};

}  // namespace lacuna::tool

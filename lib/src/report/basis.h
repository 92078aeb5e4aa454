// SPDX-License-Identifier: GPL-3.0-or-later
// What "whole" rests on, said the same in every text report.
#pragma once

#include <string>

#include "lacuna/report.h"

namespace lacuna::report {

/// Lines of at most 90 columns, each ended; empty when a map or the sectors' own codes speak for every sector.
std::string basis_statement(Basis basis, const ReportContext& context);

}  // namespace lacuna::report

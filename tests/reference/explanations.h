// SPDX-License-Identifier: GPL-3.0-or-later
// Why other readers differ from Lacuna: a table of the differences that were looked into, each with what decides.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "reference/lacuna_listing.h"

namespace lacuna::test {

struct Explanation {
  std::string_view reader;
  std::string_view images;  ///< A glob.
  std::optional<View> view;
  std::vector<Difference::What> what;
  std::string_view paths;  ///< A glob.
  std::string_view why;
  bool used = false;
};

struct Refusal {
  std::string_view reader;
  std::string_view images;  ///< A glob.
  View view;
  std::string_view why;
};

/// The lines for views of UDF, kept in a file of their own.
std::vector<Explanation> udf_explanations();
std::vector<Refusal> udf_refusals();

/// True when a line of the table explains the difference; the line then counts as used.
bool explained(std::string_view reader, std::string_view image, View view, const Difference& difference);

/// Why a reader's listing of a whole view can't be compared; empty when it can.
std::string explained_refusal(std::string_view reader, std::string_view image, View view, bool has_rock_ridge);

/// Why a file among the shared images is not compared at all; empty when it is.
std::string explained_omission(std::string_view image);

/// Lines for images with this prefix that have explained nothing so far.
std::vector<std::string> unused_explanations(std::string_view prefix);

}  // namespace lacuna::test

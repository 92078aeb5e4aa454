// SPDX-License-Identifier: GPL-3.0-or-later
// The forms of the listing of files: one class each, fed node by node.
#pragma once

#include <memory>
#include <string_view>

#include "lacuna/report.h"
#include "report/out.h"

namespace lacuna::report {

/// What one listing is about.
struct Listing {
  const Disc& disc;
  const Verdicts& verdicts;
  const ReportContext& context;
};

/// One form of the listing. For one thread.
class FilesForm {
 public:
  virtual ~FilesForm() = default;
  virtual void begin() = 0;
  virtual void file(NodeId id, const Node& n, std::string_view path) = 0;
  virtual void end(const ListingTotals& totals) = 0;
};

std::unique_ptr<FilesForm> files_as_text(const Listing& listing, Out& out);
std::unique_ptr<FilesForm> files_as_json(const Listing& listing, Out& out, bool lines);
std::unique_ptr<FilesForm> files_as_csv(const Listing& listing, Out& out);

/// Why a node is not beyond doubt; asks only where there can be something to say.
std::vector<std::string> doubts_of(const Listing& listing, NodeId id);

}  // namespace lacuna::report

// SPDX-License-Identifier: GPL-3.0-or-later
// Page: one self-contained HTML page about one disc or a box of them. It fetches nothing and runs from a file.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/hits.h"
#include "lacuna/picture.h"
#include "lacuna/progress.h"
#include "lacuna/report.h"
#include "lacuna/result.h"
#include "lacuna/verdict.h"

namespace lacuna {

/// What a page shows, and how.
struct LACUNA_API PageOptions {
  bool box = false;         ///< Several discs: the page begins with an overview of them.
  std::string when;         ///< When it is made, for people; empty: the page does not say.
  PictureOptions picture;   ///< What the discs are.
  bool thumbnails = false;  ///< Small pictures of whole JPEG and PNG files; their contents are read for it.
  ProgressCallback progress;
};

/// One disc of a page, with what the disc itself does not tell.
struct LACUNA_API PageDisc {
  const Disc& disc;
  const Verdicts& verdicts;
  const Hits& hits;
  const ReportContext& context;
  std::vector<std::string> maps;  ///< The maps that were given, as named.
};

/// Writes a page piece by piece into a sink, which must outlive it. What is held in memory does not grow with the
/// number of discs, but for a row of the overview each. For one thread.
class LACUNA_API Page {
 public:
  Page(const PageOptions& options, const Sink& sink);
  ~Page();
  Page(const Page&) = delete;
  Page& operator=(const Page&) = delete;

  /// Makes the disc's plan and, when asked for, its thumbnails. Errors: kCancelled; the page is then of no use.
  Result<Done> add(const PageDisc& disc);
  /// An image that could not be read, for the overview.
  void add_unreadable(const std::string& image, const std::string& why);
  /// The rest of the page; nothing may be added after it.
  void finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// Reports: the same facts as text for people and as JSON, NDJSON or CSV for scripts. Everything is handed to a sink
// piece by piece, so that memory stays flat; the library itself writes nowhere.
#pragma once

#include <functional>
#include <string_view>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/glob.h"
#include "lacuna/hits.h"
#include "lacuna/pull.h"
#include "lacuna/verdict.h"

namespace lacuna {

/// Takes the next piece of output; pieces need not end at lines.
using Sink = std::function<void(std::string_view)>;

enum class Format : std::uint8_t { kText, kJson, kNdjson, kCsv };

/// Which files a listing shows.
struct FileFilter {
  GlobSet only;
  std::vector<FileState> states;  ///< Empty: all.
};

/// What a listing came upon, for the exit code and for messages.
struct ListingTotals {
  std::uint64_t listed = 0;
  std::uint64_t not_whole = 0;
};

/// Schema "lacuna/survey/1" in JSON; NDJSON and CSV are the same as JSON here.
void write_survey(const Disc& disc, const Verdicts& verdicts, const Hits& hits, Format format, const Sink& sink);
/// Schema "lacuna/files/1".
ListingTotals write_files(const Disc& disc, const Verdicts& verdicts, const FileFilter& filter, Format format,
                          const Sink& sink);
/// Schema "lacuna/hits/1".
void write_hits(const Disc& disc, const Verdicts& verdicts, const Hits& hits, Format format, const Sink& sink);
/// Schema "lacuna/pull/1".
void write_pull(const Disc& disc, const Verdicts& verdicts, const PullReport& report, const PullOptions& options,
                Format format, const Sink& sink);
/// Schema "lacuna/verify/1".
void write_verify(const VerifyReport& report, Format format, const Sink& sink);

/// "1.4 GB": decimal units, three significant digits, as drives and file managers show them.
std::string human_bytes(std::uint64_t bytes);

}  // namespace lacuna

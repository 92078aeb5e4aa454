// SPDX-License-Identifier: GPL-3.0-or-later
// Reports: the same facts as text for people and as JSON, NDJSON or CSV for scripts. Everything is handed to a sink
// piece by piece, so that memory stays flat; the library itself writes nowhere.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/combine.h"
#include "lacuna/disc.h"
#include "lacuna/export.h"
#include "lacuna/glob.h"
#include "lacuna/hits.h"
#include "lacuna/plan.h"
#include "lacuna/pull.h"
#include "lacuna/result.h"
#include "lacuna/twins.h"
#include "lacuna/verdict.h"

namespace lacuna {

/// Takes the next piece of output; pieces need not end at lines.
using Sink = std::function<void(std::string_view)>;

enum class Format : std::uint8_t { kText, kJson, kNdjson, kCsv };

/// Which files a listing shows.
struct LACUNA_API FileFilter {
  GlobSet only;
  std::vector<FileState> states;  ///< Empty: all.
};

/// What a listing came upon, for the exit code and for messages.
struct LACUNA_API ListingTotals {
  std::uint64_t listed = 0;     ///< Files, and directories that are not whole.
  std::uint64_t not_whole = 0;  ///< Of those.
};

/// What a report needs to know of the request and the disc does not tell.
struct LACUNA_API ReportContext {
  /// How a command names this image, shell-quoted, with the options that shape the reading ("harbour.iso --map
  /// harbour.map"); suggested commands repeat it. Empty: the image's name.
  std::string image_arguments;
  bool looked_inside = true;  ///< JudgeOptions::look_inside; when false, every report says what that costs.
  std::string donor_arguments = {};  ///< The same of donors, each with a blank before: " --twins backup.iso".
};

/// What the disc is, what is hurt, what can be had, what to do next. Schema "lacuna/survey/1" in JSON; kNdjson and
/// kCsv are the same as JSON here.
LACUNA_API void write_survey(const Disc& disc, const Verdicts& verdicts, const Hits& hits, const ReportContext& context,
                             Format format, const Sink& sink);
/// Every node that is not a directory and passes the filter, and the directories that are not whole. Schema
/// "lacuna/files/1".
LACUNA_API ListingTotals write_files(const Disc& disc, const Verdicts& verdicts, const FileFilter& filter,
                                     const ReportContext& context, Format format, const Sink& sink);
/// Every range that is not good, and what it hits. Schema "lacuna/hits/1".
LACUNA_API void write_hits(const Disc& disc, const Verdicts& verdicts, const Hits& hits, const ReportContext& context,
                           Format format, const Sink& sink);
/// What a report of a plan needs to know besides.
struct LACUNA_API PlanReport {
  std::size_t rows = 20;      ///< Of the table of steps, about; 0: one each step. In text only.
  std::string combine_image;  ///< How a command that combines reads names this image; empty: none is suggested.
};
/// The plan as a table with running totals, the steps of a row growing in number. Schema "lacuna/plan/1"; kNdjson and
/// kCsv are the same as JSON here.
LACUNA_API void write_plan(const Disc& disc, const Verdicts& verdicts, const Plan& plan, const PlanReport& report,
                           const ReportContext& context, Format format, const Sink& sink);
/// "FIRST COUNT" a line, in LBAs and sectors, in the order of the plan; nothing else.
LACUNA_API void write_plan_list(const Plan& plan, const Sink& sink);
/// Schema "lacuna/pull/1"; kNdjson and kCsv are the same as JSON here.
LACUNA_API void write_pull(const Disc& disc, const Verdicts& verdicts, const PullReport& report,
                           const PullOptions& options, const ReportContext& context, Format format, const Sink& sink);
/// What donors can do for the files that are not whole. Schema "lacuna/twins/1"; kCsv is the same as JSON here.
LACUNA_API void write_twins(const Disc& disc, const Verdicts& verdicts, const Twins& twins,
                            const ReportContext& context, Format format, const Sink& sink);
/// Schema "lacuna/verify/1"; kNdjson and kCsv are the same as JSON here.
LACUNA_API void write_verify(const VerifyReport& report, const std::filesystem::path& folder, Format format,
                             const Sink& sink);

/// Schema "lacuna/combine/1"; kNdjson and kCsv are the same as JSON here.
LACUNA_API void write_combine(const CombineReport& report, const std::filesystem::path& to, Format format,
                              const Sink& sink);

/// A file that is written out of sight and gets its name when it is complete, never in the place of another one. Not safe
/// for concurrent use.
class LACUNA_API NewFile {
 public:
  /// Errors: kCannotWrite, also when something of that name is there.
  static Result<NewFile> open(const std::filesystem::path& path);
  ~NewFile();
  NewFile(NewFile&&) noexcept;
  NewFile& operator=(NewFile&&) = delete;

  /// Appends. What fails is told by publish().
  void write(std::string_view bytes);
  /// True when something could not be written: there is no use in writing more.
  bool failed() const noexcept;
  /// Gives it its name; nothing may be written afterwards. Without it, nothing is left behind. Errors: kCannotWrite.
  Result<Done> publish();

 private:
  struct Impl;
  explicit NewFile(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

/// "1.4 GB": decimal units, at most three significant digits, as drives and file managers show them.
LACUNA_API std::string human_bytes(std::uint64_t bytes);
/// "12,345"
LACUNA_API std::string grouped(std::uint64_t number);
/// Text as it can be put on a terminal: control characters and those that reorder what is shown stand as %HH.
LACUNA_API std::string shown(std::string_view text);
/// The text as one word of a POSIX shell; unchanged when it needs no quoting.
LACUNA_API std::string shell_quoted(std::string_view text);

}  // namespace lacuna

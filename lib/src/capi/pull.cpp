// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/pull.h"

#include <algorithm>
#include <string>
#include <vector>

#include "capi/callbacks.h"
#include "capi/handles.h"
#include "capi/structs.h"
#include "capi/text.h"
#include "lacuna/c/pull.h"

struct lacuna_pull_report {
  std::shared_ptr<const lacuna::capi::OpenDisc> open;
  lacuna::PullReport report;
  std::vector<std::string> paths;  // by file
};

namespace lacuna::capi {
namespace {

constexpr std::uint32_t kPullFlags = LACUNA_PULL_IGNORE_CASE | LACUNA_PULL_DAMAGED | LACUNA_PULL_SKIP_PROGRAMS |
                                     LACUNA_PULL_PORTABLE_NAMES | LACUNA_PULL_REPLACE | LACUNA_PULL_FLAC |
                                     LACUNA_PULL_BAG | LACUNA_PULL_ONCE;

constexpr bool is_outcome(std::uint32_t number, PullOutcome value) {
  return number == static_cast<std::uint32_t>(value);
}
static_assert(is_outcome(LACUNA_OUTCOME_PULLED, PullOutcome::kPulled) &&
              is_outcome(LACUNA_OUTCOME_ALREADY_THERE, PullOutcome::kAlreadyThere) &&
              is_outcome(LACUNA_OUTCOME_LEFT_DAMAGED, PullOutcome::kLeftDamaged) &&
              is_outcome(LACUNA_OUTCOME_LEFT_PROGRAM, PullOutcome::kLeftProgram) &&
              is_outcome(LACUNA_OUTCOME_LEFT_SPECIAL, PullOutcome::kLeftSpecial) &&
              is_outcome(LACUNA_OUTCOME_BLOCKED, PullOutcome::kBlocked) &&
              is_outcome(LACUNA_OUTCOME_FAILED, PullOutcome::kFailed) &&
              sizeof(lacuna_pull_info::outcomes) == kPullOutcomeCount * sizeof(std::uint64_t));

constexpr bool is_arrangement(std::uint32_t number, Arrangement value) {
  return number == static_cast<std::uint32_t>(value);
}
static_assert(is_arrangement(LACUNA_ARRANGE_TREE, Arrangement::kTree) &&
              is_arrangement(LACUNA_ARRANGE_YEAR, Arrangement::kYear) &&
              is_arrangement(LACUNA_ARRANGE_KIND, Arrangement::kKind) &&
              is_arrangement(LACUNA_ARRANGE_YEAR_KIND, Arrangement::kYearKind) && kArrangementCount == 4);

std::vector<BagElement> bag_elements_from(const lacuna_string* given, std::size_t count) {
  std::vector<BagElement> elements;
  for (const lacuna_string& text : array_from(given, count, "bag_elements")) {
    Result<BagElement> element = parse_bag_element(text_from(text, "bag_elements"));
    if (!element) fail_usage(element.error().message);
    elements.push_back(std::move(element).value());
  }
  return elements;
}

PullOptions pull_options_from(const lacuna_pull_options& given) {
  check_flags(given.flags, kPullFlags, "lacuna_pull_options");
  const auto has = [&](std::uint32_t flag) { return (given.flags & flag) != 0; };
  PullOptions o;
  o.to = path_from(given.to, "lacuna_pull_options: to");
  o.only = globs_from(given.globs, given.glob_count, has(LACUNA_PULL_IGNORE_CASE));
  o.damaged = has(LACUNA_PULL_DAMAGED);
  o.skip_programs = has(LACUNA_PULL_SKIP_PROGRAMS);
  o.portable_names = has(LACUNA_PULL_PORTABLE_NAMES);
  o.replace = has(LACUNA_PULL_REPLACE);
  if (has(LACUNA_PULL_FLAC)) o.audio_format = AudioFormat::kFlac;
  o.bag = has(LACUNA_PULL_BAG);
  o.once = has(LACUNA_PULL_ONCE);
  o.bag_info = bag_elements_from(given.bag_elements, given.bag_element_count);
  need(given.arrangement < kArrangementCount, "lacuna_pull_options: unknown arrangement");
  o.arrangement = static_cast<Arrangement>(given.arrangement);
  o.threads = given.threads;
  return o;
}

lacuna_pull_report* pull_disc(const std::shared_ptr<const OpenDisc>& open, const lacuna_pull_options& given) {
  ProgressBridge progress(given.progress, given.progress_user);
  PullOptions options = pull_options_from(given);
  options.progress = progress.callback();
  auto handle = std::make_unique<lacuna_pull_report>();
  handle->open = open;
  handle->report = progress.must(pull(*open->disc, open->verdicts, options));
  for (const PulledFile& f : handle->report.files) handle->paths.push_back(open->disc->tree().path(f.node));
  return handle.release();
}

}  // namespace
}  // namespace lacuna::capi

using namespace lacuna::capi;

lacuna_code lacuna_disc_pull(const lacuna_disc* disc, const lacuna_pull_options* options, lacuna_pull_report** report,
                             lacuna_error** error) {
  if (report != nullptr) *report = nullptr;
  return guarded(error, [&] {
    need(disc != nullptr && report != nullptr, "lacuna_disc_pull: disc or report is NULL");
    *report = pull_disc(disc->open, options_from(options, "lacuna_pull_options"));
  });
}

lacuna_code lacuna_pull_report_get_info(const lacuna_pull_report* report, lacuna_pull_info* info,
                                        lacuna_error** error) {
  return guarded(error, [&] {
    need(report != nullptr, "lacuna_pull_report_get_info: report is NULL");
    lacuna_pull_info out{};
    std::copy(report->report.counts.begin(), report->report.counts.end(), out.outcomes);
    out.bytes_written = report->report.bytes_written;
    out.file_count = report->report.files.size();
    out.finding_count = report->report.findings.list().size();
    out.bytes_shared = report->report.bytes_shared;
    out.bag_closed = report->report.bag_closed ? 1 : 0;
    give_struct(info, out, "lacuna_pull_info");
  });
}

lacuna_code lacuna_pull_report_file(const lacuna_pull_report* report, std::size_t index, lacuna_pulled_file* file,
                                    lacuna_error** error) {
  return guarded(error, [&] {
    need(report != nullptr, "lacuna_pull_report_file: report is NULL");
    need(index < report->report.files.size(), "the report has no file of this number");
    const lacuna::PulledFile& f = report->report.files[index];
    lacuna_pulled_file out{};
    out.path = to_c(report->paths[index]);
    out.target = to_c(f.target);
    out.why = to_c(f.why);
    out.outcome = static_cast<lacuna_pull_outcome>(f.outcome);
    out.state = static_cast<lacuna_file_state>(report->open->verdicts.of(f.node).state);
    out.shared = f.shared ? 1 : 0;
    give_struct(file, out, "lacuna_pulled_file");
  });
}

lacuna_code lacuna_pull_report_finding(const lacuna_pull_report* report, std::size_t index, lacuna_finding* finding,
                                       lacuna_error** error) {
  return guarded(error, [&] {
    need(report != nullptr, "lacuna_pull_report_finding: report is NULL");
    give_finding(report->report.findings, index, finding);
  });
}

void lacuna_pull_report_free(lacuna_pull_report* report) { delete report; }

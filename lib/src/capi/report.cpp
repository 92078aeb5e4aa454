// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/report.h"

#include "capi/callbacks.h"
#include "capi/handles.h"

namespace lacuna::capi {
namespace {

void write_report(const OpenDisc& open, std::uint32_t report, Format format, const Sink& sink) {
  ReportContext context;
  context.looked_inside = open.looked_inside;
  switch (report) {
    case LACUNA_REPORT_SURVEY:
      return write_survey(*open.disc, open.verdicts, find_hits(*open.disc, open.verdicts), context, format, sink);
    case LACUNA_REPORT_FILES:
      static_cast<void>(write_files(*open.disc, open.verdicts, {}, context, format, sink));
      return;
    case LACUNA_REPORT_HITS:
      return write_hits(*open.disc, open.verdicts, find_hits(*open.disc, open.verdicts), context, format, sink);
    default:
      fail_usage("lacuna_disc_report: unknown report");
  }
}

}  // namespace
}  // namespace lacuna::capi

using namespace lacuna::capi;

lacuna_code lacuna_disc_report(const lacuna_disc* disc, std::uint32_t report, std::uint32_t format,
                               lacuna_write_function write, void* user, lacuna_error** error) {
  return guarded(error, [&] {
    need(disc != nullptr && write != nullptr, "lacuna_disc_report: disc or write is NULL");
    need(format <= LACUNA_FORMAT_CSV, "lacuna_disc_report: unknown format");
    write_report(*disc->open, report, static_cast<lacuna::Format>(format), [&](std::string_view piece) {
      call(write, user, lacuna_string{piece.data(), piece.size()});
    });
  });
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/files.h"

#include "report/walk.h"

namespace lacuna {

ListingTotals write_files(const Disc& disc, const Verdicts& verdicts, const FileFilter& filter,
                          const ReportContext& context, Format format, const Sink& sink) {
  using namespace report;
  Out out(sink);
  const Listing listing{disc, verdicts, context};
  std::unique_ptr<FilesForm> form;
  switch (format) {
    case Format::kText:
      form = files_as_text(listing, out);
      break;
    case Format::kJson:
    case Format::kNdjson:
      form = files_as_json(listing, out, format == Format::kNdjson);
      break;
    case Format::kCsv:
      form = files_as_csv(listing, out);
      break;
  }

  unsigned states = 0;  // A bit a state; none: all.
  for (const FileState s : filter.states) states |= 1u << static_cast<unsigned>(s);
  ListingTotals totals;
  form->begin();
  for_each_node(disc.tree(), [&](NodeId id, const Node& n, std::string_view path) {
    const FileState state = verdicts.of(id).state;
    if (n.is_directory() && state == FileState::kWhole) return;
    if (states != 0 && (states >> static_cast<unsigned>(state) & 1u) == 0) return;
    if (!filter.only.empty() && !filter.only.matches(path)) return;
    ++totals.listed;
    if (state != FileState::kWhole) ++totals.not_whole;
    form->file(id, n, path);
  });
  form->end(totals);
  out.finish();
  return totals;
}

namespace report {

std::vector<std::string> doubts_of(const Listing& listing, NodeId id) {
  if (listing.verdicts.of(id).state == FileState::kWhole && !listing.disc.tree().has_doubts(id)) return {};
  return listing.verdicts.doubts(listing.disc, id);
}

}  // namespace report
}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// CSV of the listing. Lists within a field: gaps and suspect stretches "OFFSET+LENGTH", extents "OFFSET@LBA+BYTES"
// ("zeros" for the LBA of one that was never recorded, "?" where it is not known), each separated by a space; doubts by
// "; ".
#include "disc/raw_content.h"
#include "report/csv.h"
#include "report/files.h"
#include "report/walk.h"

namespace lacuna::report {
namespace {

class FilesCsv final : public FilesForm {
 public:
  FilesCsv(const Listing& listing, Out& out) : listing_(listing), row_(out), session_of_(listing.disc) {}

  void begin() override {
    for (const char* title : {"path", "kind", "size", "state", "missing_bytes", "gaps", "suspect", "extents", "view",
                              "session", "evidence", "basis", "modified", "doubts"}) {
      row_.add(title);
    }
    row_.end();
  }

  void file(NodeId id, const Node& n, std::string_view path) override {
    const Verdict& v = listing_.verdicts.of(id);
    row_.add(path).add(to_string(n.kind)).add(n.size).add(to_string(v.state)).add(v.missing_bytes);
    row_.add(stretches(v, false)).add(stretches(v, true)).add(extents(n)).add(to_string(n.view));
    const std::uint32_t session = session_of_(path);
    row_.add(session == 0 ? std::string{} : fmt::to_string(session));
    row_.add(to_string(n.evidence)).add(to_string(v.basis)).add(to_iso8601(n.modified));
    std::string doubts;
    for (const std::string& doubt : doubts_of(listing_, id)) doubts += (doubts.empty() ? "" : "; ") + doubt;
    row_.add(doubts);
    row_.end();
  }

  void end(const ListingTotals&) override {}

 private:
  std::string stretches(const Verdict& v, bool suspect) const {
    std::string text;
    for (const Gap& g : listing_.verdicts.gaps(v)) {
      if (has_bytes(g.state) != suspect) continue;
      if (!text.empty()) text += ' ';
      fmt::format_to(std::back_inserter(text), "{}+{}", g.offset, g.length);
    }
    return text;
  }

  std::string extents(const Node& n) const {
    std::string text;
    const bool raw = n.has(node_flag::kRawSectors);
    std::uint64_t offset = raw ? kRiffHeaderBytes : 0;
    for (const Extent& e : listing_.disc.tree().extents(n)) {
      if (!text.empty()) text += ' ';
      fmt::format_to(std::back_inserter(text), "{}@", offset);
      if (e.has_place()) {
        fmt::format_to(std::back_inserter(text), "{}", e.position / kSectorBytes);
      } else {
        text += e.position == kZeros ? "zeros" : "?";
      }
      const std::uint64_t bytes = raw ? raw_bytes(e.bytes) : e.bytes;
      fmt::format_to(std::back_inserter(text), "+{}", bytes);
      offset += bytes;
    }
    return text;
  }

  const Listing listing_;
  CsvRow row_;
  const SessionOf session_of_;
};

}  // namespace

std::unique_ptr<FilesForm> files_as_csv(const Listing& listing, Out& out) {
  return std::make_unique<FilesCsv>(listing, out);
}

}  // namespace lacuna::report

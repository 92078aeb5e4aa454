// SPDX-License-Identifier: GPL-3.0-or-later
// The listing for people: state, size, missing, date, path, in the tree's order; the totals below.
#include "report/basis.h"
#include "report/files.h"
#include "report/words.h"

namespace lacuna::report {
namespace {

constexpr std::size_t kStateWidth = 9;  // "unlocated"
constexpr std::size_t kSizeWidth = 8;   // "1000 kB" does not occur, "23.4 MB" does.
constexpr std::size_t kReasonsShown = 2;

void add_right(std::string& line, std::string_view text, std::size_t width) {
  if (text.size() < width) line.append(width - text.size(), ' ');
  line.append(text);
}

void add_left(std::string& line, std::string_view text, std::size_t width) {
  line.append(text);
  if (text.size() < width) line.append(width - text.size(), ' ');
}

class FilesText final : public FilesForm {
 public:
  FilesText(const Listing& listing, Out& out) : listing_(listing), out_(out) {}

  void begin() override {
    out_.print("{:<{}}  {:>{}}  {:>{}}  {:<{}}  {}\n", "state", kStateWidth, "size", kSizeWidth, "missing", kSizeWidth,
               "date", Dates::kWidth, "path");
  }

  // One line string reused, no formatting machinery: 100,000 lines are to take a fraction of a blink.
  void file(NodeId id, const Node& n, std::string_view path) override {
    const Verdict& v = listing_.verdicts.of(id);
    line_.clear();
    add_left(line_, to_string(v.state), kStateWidth);
    line_.append(2, ' ');
    add_right(line_, n.is_directory() ? "" : human_bytes(n.size), kSizeWidth);
    line_.append(2, ' ');
    add_right(line_, v.missing_bytes == 0 ? "" : human_bytes(v.missing_bytes), kSizeWidth);
    line_.append(2, ' ');
    line_.append(dates_.minute(n.modified));
    line_.append(2, ' ');
    append_shown(line_, path);
    if (n.is_directory()) line_ += '/';
    add_kind(id, n);
    line_ += '\n';
    if (v.state != FileState::kWhole || listing_.disc.tree().has_doubts(id)) add_reasons(id);
    out_.add(line_);

    StateCount& count = counts_[static_cast<std::size_t>(v.state)];
    if (n.is_directory()) {
      ++directories_;
    } else {
      ++count.files;
      count.bytes += n.size;
      count.missing_bytes += v.missing_bytes;
    }
  }

  void end(const ListingTotals& totals) override {
    out_.add('\n');
    if (totals.listed == 0) out_.add("No file is listed.\n");
    for (std::size_t i = 0; i < counts_.size(); ++i) {
      const StateCount& c = counts_[i];
      if (c.files == 0) continue;
      out_.print("{:<{}}  {:>{}}  {:>{}}  {}\n", to_string(static_cast<FileState>(i)), kStateWidth,
                 human_bytes(c.bytes), kSizeWidth, c.missing_bytes == 0 ? "" : human_bytes(c.missing_bytes), kSizeWidth,
                 counted(c.files, "file"));
    }
    if (directories_ != 0) {
      out_.print("{} could not be read in full: files may be missing here.\n",
                 counted(directories_, "directory", "directories"));
    }
    out_.add(basis_statement(listing_.verdicts.basis(), listing_.context));
  }

 private:
  static std::string shown_text(std::string_view text) {
    std::string out;
    append_shown(out, text);
    return out;
  }

  /// Where a link leads, and in brackets what else the file is besides an ordinary one.
  void add_kind(NodeId id, const Node& n) {
    const Tree& tree = listing_.disc.tree();
    bool open = false;
    const auto add = [&](std::string_view word) {
      line_.append(open ? ", " : "  (").append(word);
      open = true;
    };
    if (n.kind == NodeKind::kSymlink) {
      line_ += " -> ";
      append_shown(line_, tree.text(tree.details(n).symlink_target));
    } else if (n.kind != NodeKind::kFile && !n.is_directory()) {
      add(to_string(n.kind));
    }
    if (n.has(node_flag::kDeleted)) add("deleted");
    if (n.has(node_flag::kStream)) add("stream");
    if (n.has(node_flag::kSystem)) add("system");
    if (const RawContent* raw = tree.raw_content(id); raw != nullptr) {
      for (const std::string* text : {&raw->title, &raw->performer}) {
        if (!text->empty()) add(shown_text(*text));
      }
    }
    if (open) line_ += ')';
  }

  void add_reasons(NodeId id) {
    const std::vector<std::string> reasons = listing_.verdicts.doubts(listing_.disc, id);
    for (std::size_t i = 0; i < reasons.size() && i < kReasonsShown; ++i) {
      line_.append(kStateWidth + 2, ' ');
      append_shown(line_, reasons[i]);
      line_ += '\n';
    }
    if (reasons.size() > kReasonsShown) {
      line_.append(kStateWidth + 2, ' ').append("and ").append(grouped(reasons.size() - kReasonsShown));
      line_.append(" more, see --format json\n");
    }
  }

  const Listing listing_;
  Out& out_;
  Dates dates_;
  std::string line_;
  std::array<StateCount, kFileStateCount> counts_{};
  std::uint64_t directories_ = 0;
};

}  // namespace

std::unique_ptr<FilesForm> files_as_text(const Listing& listing, Out& out) {
  return std::make_unique<FilesText>(listing, out);
}

}  // namespace lacuna::report

// SPDX-License-Identifier: GPL-3.0-or-later
// What the fuzz targets that open whole images hold every disc to, beyond not crashing.
#pragma once

#include <algorithm>
#include <vector>

#include "fuzz/promise.h"
#include "lacuna/content.h"
#include "lacuna/disc.h"
#include "lacuna/hits.h"
#include "lacuna/plan.h"
#include "lacuna/report.h"

namespace lacuna::test {

inline void check_name(std::string_view name) {
  require(!name.empty() && name != "." && name != ".." && name.find('/') == std::string_view::npos,
          "a name is one name");
  for (const char c : name)
    require(static_cast<unsigned char>(c) >= 0x20 && c != 0x7f, "no control characters in names");
}

inline void check_tree(const Disc& disc, const Verdicts& verdicts) {
  constexpr std::size_t kFilesRead = 64;
  constexpr std::size_t kBytesRead = std::size_t{1} << 18;
  std::size_t files = 0;
  std::vector<std::uint8_t> buffer(kBytesRead);
  for (const NodeId id : disc.tree().in_order()) {
    const Node& node = disc.tree().node(id);
    check_name(disc.tree().name(node));
    if (node.is_directory() || ++files > kFilesRead) continue;
    FileReader reader(disc, id);
    std::vector<Gap> gaps;
    const std::size_t n = reader.read(0, buffer, gaps);
    require(n <= buffer.size(), "no more read than asked for");
    if (verdicts.of(id).state == FileState::kWhole && node.kind == NodeKind::kFile) {
      // The judge goes by sectors; that a compressed block does not decode shows only when it is read.
      const bool compressed = disc.tree().details(node).zisofs.has_value();
      require(n == std::min<std::uint64_t>(node.size, buffer.size()), "a whole file reads to its end");
      require(gaps.empty() || compressed, "a whole file has no gaps");
      require(!disc.tree().has_doubts(id), "a whole file has no doubts");
    }
    reader.read(node.size - node.size / 3, std::span(buffer).first(4096), gaps);
  }
}

/// A plan reads no sector twice, counts what it reads, and completes nothing that is whole already.
inline void check_plan(const Disc& disc, const Verdicts& verdicts, Medium medium, const Sink& sink) {
  PlanOptions options;
  options.medium = medium;
  options.all = medium == Medium::kCd;
  const auto plan = make_plan(disc, verdicts, options);
  require(plan.ok(), "planning does not fail");
  std::uint64_t sum = 0;
  for (const Range& r : plan->ranges) {
    require(r.first < r.end, "no range is empty");
    sum += r.length();
  }
  require(RangeSet::from_unsorted({plan->ranges.begin(), plan->ranges.end()}).total() == sum,
          "no sector is read twice");
  require(plan->totals().sectors == sum, "each sector is counted");
  for (const NodeId id : plan->files) {
    require(verdicts.of(id).state != FileState::kWhole, "what is whole needs no plan");
  }
  write_plan(disc, verdicts, *plan, {}, {}, medium == Medium::kCd ? Format::kText : Format::kJson, sink);
}

/// Opens an image and does all that can be done with it.
inline void check_image(const Image& image, const DiscOptions& options) {
  const auto disc = open_disc(image, options);
  if (!disc.ok()) return;
  JudgeOptions judge_options;
  judge_options.threads = 1;
  const auto verdicts = judge(**disc, judge_options);
  require(verdicts.ok(), "judging does not fail");
  check_tree(**disc, *verdicts);
  std::size_t written = 0;
  const Sink sink = [&written](std::string_view piece) { written += piece.size(); };
  const Hits hits = find_hits(**disc, *verdicts);
  write_files(**disc, *verdicts, {}, {}, Format::kJson, sink);
  write_hits(**disc, *verdicts, hits, {}, Format::kJson, sink);
  write_survey(**disc, *verdicts, hits, {}, Format::kText, sink);
  check_plan(**disc, *verdicts, Medium::kCd, sink);
  check_plan(**disc, *verdicts, Medium::kBd, sink);
  require(written != 0, "reports say something");
}

}  // namespace lacuna::test

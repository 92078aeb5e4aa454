// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as an image, from opening to the bytes of its files, with every option that changes the way. Beyond not
// crashing, the promises hold: a whole file reads to its last byte without a gap, and no name leaves its folder.
#include <cstdint>
#include <vector>

#include "fuzz/promise.h"
#include "lacuna/content.h"
#include "lacuna/disc.h"
#include "lacuna/hits.h"
#include "lacuna/report.h"
#include "support/memory_image.h"

namespace {

using namespace lacuna;
using lacuna::test::require;

constexpr std::size_t kMostBytes = std::size_t{1} << 20;
constexpr std::size_t kFilesRead = 64;
constexpr std::size_t kBytesRead = std::size_t{1} << 18;

void check_name(std::string_view name) {
  require(!name.empty() && name != "." && name != ".." && name.find('/') == std::string_view::npos,
          "a name is one name");
  for (const char c : name)
    require(static_cast<unsigned char>(c) >= 0x20 && c != 0x7f, "no control characters in names");
}

void check_tree(const Disc& disc, const Verdicts& verdicts) {
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
    if (verdicts.of(id).state == FileState::kWhole) {
      // The judge goes by sectors; that a compressed block does not decode shows only when it is read.
      const bool compressed = disc.tree().details(node).zisofs.has_value();
      require(n == std::min<std::uint64_t>(node.size, buffer.size()), "a whole file reads to its end");
      require(gaps.empty() || compressed, "a whole file has no gaps");
    }
    reader.read(node.size - node.size / 3, std::span(buffer).first(4096), gaps);
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size < 2 || size > kMostBytes) return 0;
  std::vector<std::uint8_t> bytes(std::size_t{16} * kSectorBytes);  // the system area, which nothing reads
  bytes.insert(bytes.end(), data + 2, data + size);
  test::MemoryImage memory(std::move(bytes));
  const unsigned bits = data[0];
  const std::uint64_t where = 16 + data[1] / 2u;
  if ((bits & 1) != 0) memory.mark(where, 2, SectorState::kBad);
  if ((bits & 2) != 0) memory.fail(where + 5, 1);
  const auto image = memory.open();

  DiscOptions options;
  const unsigned view = bits >> 2 & 7;
  if (view >= 1 && view <= kViewCount) options.view = static_cast<View>(view - 1);
  options.all_sessions = (bits & 0x20) != 0;
  if ((bits & 0x40) != 0) options.names_charset = "CP437";
  if ((bits & 0x80) != 0) options.session_starts = {0, where};
  const auto disc = open_disc(*image, options);
  if (!disc.ok()) return 0;

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
  require(written != 0, "reports say something");
  return 0;
}

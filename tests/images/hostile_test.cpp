// SPDX-License-Identifier: GPL-3.0-or-later
// Images that lie. Each is built byte by byte around one lie, told in the comment above its test; whatever the lie,
// opening, judging, listing, reading and pulling come to an end within the time
// limit of the test program, in little memory, with nothing outside the
// target folder, and no file called whole that does not read to its end.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>

#include <algorithm>
#include <set>

#include "lacuna/content.h"
#include "lacuna/disc.h"
#include "lacuna/hits.h"
#include "lacuna/pull.h"
#include "lacuna/report.h"
#include "lacuna/verdict.h"
#include "support/authoring.h"
#include "support/iso_builder.h"
#include "support/memory_image.h"

namespace lacuna::test {
namespace {

namespace fs = std::filesystem;
using ::testing::Contains;
using ::testing::HasSubstr;

// Of the whole test program. Address sanitizers keep what was freed, and shadows of all.
#if defined(__SANITIZE_ADDRESS__)
constexpr long kLittleMemoryKilobytes = long{3} << 20;
#elif defined(__has_feature)
#if __has_feature(address_sanitizer)
constexpr long kLittleMemoryKilobytes = long{3} << 20;
#else
constexpr long kLittleMemoryKilobytes = long{1} << 20;
#endif
#else
constexpr long kLittleMemoryKilobytes = long{1} << 20;
#endif
constexpr std::uint64_t kBytesReadOfEach = std::uint64_t{1} << 20;

/// What came of an image after everything was done to it.
struct Outcome {
  bool opened = false;
  std::string error;
  std::vector<std::string> paths;
  std::map<std::string, FileState> states;
  std::map<std::string, std::uint64_t> sizes;
  std::map<std::string, std::uint64_t> finding_counts;
  std::size_t findings_kept = 0;
  std::vector<std::string> pulled;  ///< Paths in the target folder.
};

Outcome go_through(const MemoryImage& memory, const DiscOptions& options = {}) {
  Outcome outcome;
  const auto image = memory.open();
  const auto opened = open_disc(*image, options);
  outcome.opened = opened.ok();
  if (!opened.ok()) {
    outcome.error = opened.error().message;
    EXPECT_FALSE(outcome.error.empty());
    return outcome;
  }
  const Disc& disc = **opened;
  const auto verdicts = judge(disc);
  EXPECT_TRUE(verdicts.ok());
  std::vector<std::uint8_t> buffer(kBytesReadOfEach);
  for (const NodeId id : disc.tree().in_order()) {
    const Node& node = disc.tree().node(id);
    const std::string path = disc.tree().path(id);
    outcome.paths.push_back(path);
    outcome.states[path] = verdicts->of(id).state;
    outcome.sizes[path] = node.size;
    const std::string_view name = disc.tree().name(node);
    EXPECT_TRUE(!name.empty() && name != "." && name != ".." && name.find('/') == std::string_view::npos) << path;
    EXPECT_TRUE(std::ranges::none_of(name, [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; }))
        << path;
    if (node.is_directory()) continue;
    FileReader reader(disc, id);
    std::vector<Gap> gaps;
    const std::size_t n = reader.read(0, buffer, gaps);
    EXPECT_LE(n, buffer.size());
    if (verdicts->of(id).state == FileState::kWhole) {
      EXPECT_EQ(n, std::min<std::uint64_t>(node.size, buffer.size())) << path << " is called whole";
      EXPECT_TRUE(gaps.empty()) << path << " is called whole";
    }
  }
  for (const Finding& f : disc.findings().list()) {
    EXPECT_EQ(f.text.find('\n'), std::string::npos) << f.kind;
  }
  outcome.finding_counts = disc.findings().counts();
  outcome.findings_kept = disc.findings().list().size();

  std::size_t written = 0;
  const Sink sink = [&written](std::string_view piece) { written += piece.size(); };
  write_files(disc, *verdicts, {}, {}, Format::kJson, sink);
  write_hits(disc, *verdicts, find_hits(disc, *verdicts), {}, Format::kText, sink);

  const ScratchFolder scratch;
  fs::create_directory(scratch / "target");
  write_file(scratch / "bystander", "untouched");
  PullOptions pull_options;
  pull_options.to = scratch / "target";
  const auto report = pull(disc, *verdicts, pull_options);
  EXPECT_TRUE(report.ok()) << (report.ok() ? "" : report.error().message);
  std::vector<std::string> beside;
  for (const auto& entry : fs::directory_iterator(scratch.path())) beside.push_back(entry.path().filename());
  EXPECT_THAT(beside, ::testing::UnorderedElementsAre("target", "bystander"));
  EXPECT_EQ(read_file(scratch / "bystander"), std::vector<std::uint8_t>({'u', 'n', 't', 'o', 'u', 'c', 'h', 'e', 'd'}));
  for (const auto& entry : fs::recursive_directory_iterator(scratch / "target")) {
    outcome.pulled.push_back(entry.path().lexically_relative(scratch / "target"));
    EXPECT_THAT(entry.path().filename(), ::testing::AllOf(testing::Ne("."), testing::Ne("..")));
  }
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  EXPECT_LT(usage.ru_maxrss, kLittleMemoryKilobytes);
  return outcome;
}

Outcome go_through(IsoImage image, const DiscOptions& options = {}) {
  return go_through(MemoryImage(std::move(image.bytes)), options);
}

std::string text_of(std::size_t bytes) {
  std::string s;
  while (s.size() < bytes) s += "some text " + std::to_string(s.size());
  s.resize(bytes);
  return s;
}

/// A root with Rock Ridge, whose children carry the names as NM entries.
IsoNode rock_root(std::vector<IsoNode> children) {
  IsoNode root = iso_directory("", std::move(children));
  root.self_system_use = susp_sp() + susp_er() + rrip_px(040755, 2);
  return root;
}

IsoNode rock_file(std::string id, std::string_view name, std::string content) {
  IsoNode n = iso_file(std::move(id), std::move(content));
  n.system_use = rrip_px(0100644) + rrip_nm(name);
  return n;
}

// A directory's record names the root, itself's parent or itself as its extent (ECMA-119 6.8.2 makes it a tree).
TEST(Hostile, DirectoriesInALoop) {
  for (const char* to : {"", "A", "A/B"}) {
    SCOPED_TRACE(to);
    IsoImage image = build_iso(iso_directory(
        "", {iso_directory("A", {iso_directory("B", {iso_directory("C")}), iso_file("F.TXT;1", text_of(100))})}));
    const IsoPlace target = image.primary.at(to);
    put_both32(image.at(image.primary.at("A/B/C").record), 2, static_cast<std::uint32_t>(target.extent / 2048));
    const Outcome outcome = go_through(std::move(image));
    ASSERT_TRUE(outcome.opened);
    EXPECT_EQ(std::ranges::count_if(outcome.paths, [](const std::string& p) { return p.ends_with("F.TXT"); }), 1);
    EXPECT_EQ(outcome.states.at("A/F.TXT"), FileState::kWhole);
  }
}

// Continuation areas that lead to themselves, to each other, and one after another without end (SUSP 5.1).
TEST(Hostile, ContinuationAreasInALoop) {
  IsoNode self = rock_file("SELF.TXT;1", "self.txt", text_of(10));
  self.continuation = rrip_tf_modified({}) + susp_ce(0, 0, 0) + std::string(100, '\0');
  IsoNode one = rock_file("ONE.TXT;1", "one.txt", text_of(10)), two = rock_file("TWO.TXT;1", "two.txt", text_of(10));
  one.continuation = two.continuation = susp_ce(0, 0, 0) + rrip_nm("more", 1);
  IsoImage image = build_iso(rock_root({self, one, two}));
  const auto forge = [&image](const char* in, std::size_t at, const char* to) {
    const auto ce = image.at(image.primary.at(in).continuation).subspan(at);
    put_both32(ce, 4, static_cast<std::uint32_t>(image.primary.at(to).continuation / 2048));
    put_both32(ce, 20, 200);
  };
  forge("SELF.TXT;1", rrip_tf_modified({}).size(), "SELF.TXT;1");
  forge("ONE.TXT;1", 0, "TWO.TXT;1");
  forge("TWO.TXT;1", 0, "ONE.TXT;1");
  const Outcome outcome = go_through(std::move(image));
  ASSERT_TRUE(outcome.opened);
  EXPECT_EQ(outcome.paths.size(), 3u);
  EXPECT_FALSE(outcome.finding_counts.empty());
}

TEST(Hostile, AChainOfContinuationAreasWithoutEnd) {
  IsoNode file = rock_file("F.TXT;1", "f.txt", text_of(10));
  std::string chain;
  constexpr int kLinks = 20000;
  for (int i = 0; i < kLinks; ++i) chain += susp_ce(0, 0, 28);
  file.continuation = chain;
  IsoImage image = build_iso(rock_root({file}));
  const std::uint64_t first = image.primary.at("F.TXT;1").continuation;
  for (int i = 0; i + 1 < kLinks; ++i) {
    const auto ce = image.at(first + static_cast<std::uint64_t>(i) * 28);
    const std::uint64_t next = first + (static_cast<std::uint64_t>(i) + 1) * 28;
    put_both32(ce, 4, static_cast<std::uint32_t>(next / 2048));
    put_both32(ce, 12, static_cast<std::uint32_t>(next % 2048));
  }
  const Outcome outcome = go_through(std::move(image));
  ASSERT_TRUE(outcome.opened);
  EXPECT_EQ(outcome.paths.size(), 1u);
}

// Every number of a record and of the primary descriptor at values that can't be.
TEST(Hostile, AbsurdNumbers) {
  const IsoImage good = build_iso(rock_root(
      {rock_file("F.TXT;1", "f.txt", text_of(3000)), iso_directory("D", {iso_file("G.TXT;1", text_of(10))})}));
  const std::uint64_t descriptor = good.structures.at("primary");
  struct Place {
    std::uint64_t address;
    std::size_t first, last;
  };
  const std::uint32_t values[] = {0, 1, 15, 16, 0x7fffffff, 0x80000000, 0xfffffff0, 0xffffffff};
  for (const Place& p : {Place{good.primary.at("F.TXT;1").record, 0, 33}, Place{good.primary.at("D").record, 0, 33},
                         Place{good.primary.at("").record, 0, 34}, Place{descriptor, 80, 190}}) {
    for (std::size_t at = p.first; at < p.last; ++at) {
      for (const std::uint32_t value : values) {
        IsoImage image = good;
        put_le32(image.at(p.address), at, value);
        if (value % 2 != 0 && at + 8 <= p.last) put_be32(image.at(p.address), at + 4, value);
        SCOPED_TRACE("byte " + std::to_string(at) + " of " + std::to_string(p.address) + ": " + std::to_string(value));
        MemoryImage memory(std::move(image.bytes));
        const auto opened_image = memory.open();
        const auto disc = open_disc(*opened_image);
        if (!disc.ok()) continue;
        const auto verdicts = judge(**disc);
        ASSERT_TRUE(verdicts.ok());
        for (const NodeId id : (*disc)->tree().in_order()) {
          const Node& node = (*disc)->tree().node(id);
          if (node.is_directory() || verdicts->of(id).state != FileState::kWhole) continue;
          for (const Extent& e : (*disc)->tree().extents(node)) {
            EXPECT_LE(e.position + e.bytes, opened_image->end_byte()) << "called whole, but outside the image";
          }
        }
      }
    }
  }
}

// A file of 4 GiB - 1 at the last block that a record can name, and one whose sections add up to terabytes.
TEST(Hostile, SizesBeyondEverything) {
  IsoNode many = iso_file("MANY.BIN;1", std::string(600, 'x'));
  many.section_bytes.assign(600, 1);
  IsoImage image = build_iso(iso_directory("", {iso_file("F.BIN;1", text_of(4096)), many}));
  const auto record = image.at(image.primary.at("F.BIN;1").record);
  put_both32(record, 2, 0xffffffff);
  put_both32(record, 10, 0xffffffff);
  // All sections of MANY.BIN: their records follow each other, sector by sector.
  std::uint64_t address = image.primary.at("MANY.BIN;1").record;
  for (int i = 0; i < 600; ++i) {
    if (image.at(address)[0] == 0) address = (address / 2048 + 1) * 2048;
    put_both32(image.at(address), 10, 0xffffffff);
    address += image.at(address)[0];
  }
  const Outcome outcome = go_through(std::move(image));
  ASSERT_TRUE(outcome.opened);
  EXPECT_EQ(outcome.states.at("F.BIN"), FileState::kLost);
  EXPECT_EQ(outcome.sizes.at("F.BIN"), 0xffffffffu);
  EXPECT_EQ(outcome.sizes.at("MANY.BIN"), std::uint64_t{600} * 0xffffffffu);
  EXPECT_EQ(outcome.states.at("MANY.BIN"), FileState::kDamaged);
}

// A hundred directories that all claim the whole image as their extent: no work may grow with their product.
TEST(Hostile, DirectoriesThatClaimTheWholeImage) {
  std::vector<IsoNode> children;
  for (int i = 0; i < 100; ++i) children.push_back(iso_directory("D" + std::to_string(i)));
  children.push_back(iso_file("FILL.BIN;1", text_of(4 << 20)));
  IsoImage image = build_iso(iso_directory("", std::move(children)));
  for (int i = 0; i < 100; ++i) {
    const IsoPlace& place = image.primary.at("D" + std::to_string(i));
    put_both32(image.at(place.record), 10, 0xfffff800);
    put_both32(image.at(place.extent), 10, 0xfffff800);
  }
  const Outcome outcome = go_through(std::move(image));
  ASSERT_TRUE(outcome.opened);
  EXPECT_LE(outcome.states.at("FILL.BIN"), FileState::kDoubtful) << "its bytes are all there, though also claimed";
}

// Names that mean something to a file system or a terminal, in identifiers and in NM entries (RRIP 4.1.4).
TEST(Hostile, NamesThatAreNoNames) {
  const std::vector<std::string> names = {"..",
                                          ".",
                                          "/",
                                          "a/b",
                                          "../../escape",
                                          "/etc/passwd",
                                          std::string("nul\0inside", 10),
                                          "new\nline",
                                          "\x1b[31mred",
                                          "\xff\xfe not utf-8",
                                          "%2e%2e",
                                          "tab\there",
                                          std::string(1, '\x7f'),
                                          "CON",
                                          " ",
                                          std::string(200, '.')};
  std::vector<IsoNode> children;
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (names[i].size() <= 150) {
      children.push_back(rock_file("F" + std::to_string(i) + ".TXT;1", names[i], text_of(10 + i)));
    }
    children.push_back(iso_file(names[i], text_of(40 + i)));
    children.back().system_use = names[i].size() < 100 ? rrip_px(0100644) : "";
  }
  const std::size_t files = children.size();
  IsoNode up = iso_directory("UP", {rock_file("IN.TXT;1", "in.txt", text_of(5))});
  up.system_use = rrip_px(040755) + rrip_nm("..");
  children.push_back(up);
  const Outcome outcome = go_through(build_iso(rock_root(std::move(children))));
  ASSERT_TRUE(outcome.opened);
  EXPECT_EQ(outcome.paths.size(), files + 2) << "each file and directory stays reachable under some name";
  EXPECT_EQ(std::set<std::string>(outcome.paths.begin(), outcome.paths.end()).size(), outcome.paths.size());
  EXPECT_THAT(outcome.pulled, Contains(HasSubstr("etc")));
}

// The same in Joliet: separators, controls, a lone surrogate, an odd length.
TEST(Hostile, JolietNamesThatAreNoNames) {
  std::vector<IsoNode> children;
  const std::vector<std::string> names = {ucs2(".."),
                                          ucs2("a/b"),
                                          ucs2("a\nb"),
                                          std::string("\xd8\x00\0x", 4),
                                          std::string("\0a\0", 3),
                                          std::string("\0\0", 2),
                                          ucs2("%41")};
  for (std::size_t i = 0; i < names.size(); ++i) {
    children.push_back(iso_file("F" + std::to_string(i) + ".TXT;1", text_of(10 + i)));
    children.back().joliet_id = names[i];
  }
  IsoOptions options;
  options.joliet_escape = "%/E";
  DiscOptions joliet;
  joliet.view = View::kJoliet;
  const Outcome outcome = go_through(build_iso(iso_directory("", std::move(children)), options), joliet);
  ASSERT_TRUE(outcome.opened);
  EXPECT_EQ(outcome.paths.size(), names.size());
}

// 255 levels of directories, and 3,000: recursion must not follow the input.
TEST(Hostile, DeepTrees) {
  for (const int levels : {255, 3000}) {
    IsoNode inner = iso_file("F.TXT;1", text_of(100));
    for (int i = 0; i < levels; ++i) {
      IsoNode directory = iso_directory("D");
      directory.children.push_back(std::move(inner));
      inner = std::move(directory);
    }
    IsoNode root = iso_directory("");
    root.children.push_back(std::move(inner));  // moved, not copied: a copy would go as deep as the tree
    const Outcome outcome = go_through(build_iso(std::move(root)));
    ASSERT_TRUE(outcome.opened);
    EXPECT_GE(outcome.paths.size(), 256u);
    if (levels == 255) {
      EXPECT_TRUE(outcome.paths.back().ends_with("/F.TXT")) << outcome.paths.back();
      EXPECT_EQ(outcome.states.at(outcome.paths.back()), FileState::kWhole);
    }
  }
}

// A link that leads out of the folder, and a directory of the same name with a file in it: written through the link,
// the file would land outside.
TEST(Hostile, LinksThatLeadOutside) {
  IsoNode link = iso_file("X.;1", "");
  link.system_use = rrip_px(0120777) + rrip_nm("x") + rrip_sl(std::string("\x04\x00\x00\x06target", 10));
  IsoNode absolute = iso_file("Y.;1", "");
  absolute.system_use = rrip_px(0120777) + rrip_nm("y") + rrip_sl(std::string("\x08\x00\x00\x03tmp", 7));
  IsoNode folder = iso_directory("X", {rock_file("EVIL.TXT;1", "evil.txt", text_of(30))});
  folder.system_use = rrip_px(040755) + rrip_nm("x");
  IsoNode other = iso_directory("Y", {rock_file("EVIL.TXT;1", "evil-lacuna-test.txt", text_of(30))});
  other.system_use = rrip_px(040755) + rrip_nm("y");
  const Outcome outcome = go_through(build_iso(rock_root({link, absolute, folder, other})));
  ASSERT_TRUE(outcome.opened);
  EXPECT_EQ(std::ranges::count_if(outcome.pulled, [](const std::string& p) { return p.ends_with("evil.txt"); }), 1);
  EXPECT_FALSE(fs::exists("/tmp/evil-lacuna-test.txt"));
}

// zisofs headers that promise more than there is: sizes of 4 GiB, blocks of 2^0 and 2^255, pointers that go anywhere.
TEST(Hostile, CompressedFilesThatLie) {
  std::vector<IsoNode> children;
  int number = 0;
  std::uint64_t stored_bytes = 0;
  for (const std::uint32_t plain : {0u, 1u, 4096u, 0x7fffffffu, 0xffffffffu}) {
    for (const int log2 : {0, 1, 15, 17, 31, 32, 63, 255}) {
      std::string content("\x37\xe4\x53\x96\xc9\xdb\xd6\x07", 8);
      for (int i = 0; i < 4; ++i) content.push_back(static_cast<char>(plain >> (8 * i) & 0xff));
      content += '\x04';
      content += static_cast<char>(log2);
      content += std::string(2, '\0');
      for (int i = 0; i < 200; ++i) content += std::string("\xff\xff\xff\x7f\x10\x00\x00\x00", 8);
      stored_bytes = content.size();
      const std::string name = "Z" + std::to_string(++number);
      IsoNode n = rock_file(name + ".Z;1", name, content);
      n.system_use += zisofs_zf(plain, static_cast<std::uint8_t>(log2));
      children.push_back(std::move(n));
    }
  }
  const Outcome outcome = go_through(build_iso(rock_root(std::move(children))));
  ASSERT_TRUE(outcome.opened);
  EXPECT_EQ(outcome.paths.size(), static_cast<std::size_t>(number));
  for (const auto& [path, state] : outcome.states) {
    // Under an entry that can't be, the file is what is stored; else it is what the entry promises, and not whole.
    const std::uint64_t size = outcome.sizes.at(path);
    if (size != stored_bytes && size != 0) {
      EXPECT_NE(state, FileState::kWhole) << path;
    }
  }
}

// 6,000 records whose halves disagree: findings are kept a bounded number of times and counted beyond.
TEST(Hostile, AFloodOfFindings) {
  std::vector<IsoNode> children;
  for (int i = 0; i < 6000; ++i) children.push_back(iso_file("F" + std::to_string(i) + ".TXT;1", "x"));
  IsoImage image = build_iso(iso_directory("", std::move(children)));
  for (int i = 0; i < 6000; ++i) {
    put_be32(image.at(image.primary.at("F" + std::to_string(i) + ".TXT;1").record), 6, 17);
  }
  const Outcome outcome = go_through(std::move(image));
  ASSERT_TRUE(outcome.opened);
  EXPECT_EQ(outcome.paths.size(), 6000u);
  std::uint64_t met = 0;
  for (const auto& [kind, count] : outcome.finding_counts) met += count;
  EXPECT_GE(met, 6000u);
  EXPECT_LE(outcome.findings_kept, outcome.finding_counts.size() * Findings::kPerKind);
  for (const auto& [path, state] : outcome.states) EXPECT_NE(state, FileState::kWhole) << "its place is in doubt";
}

// Descriptors only: a set without an end, and sets at every sector, each of them a would-be session.
TEST(Hostile, DescriptorsWithoutEnd) {
  IsoImage image = build_iso(iso_directory("", {iso_file("F.TXT;1", text_of(10))}));
  const std::vector<std::uint8_t> descriptor(image.at(16 * 2048).begin(), image.at(16 * 2048).begin() + 2048);
  MemoryImage memory(std::move(image.bytes));
  for (int i = 0; i < 4000; ++i) memory.bytes().insert(memory.bytes().end(), descriptor.begin(), descriptor.end());
  DiscOptions all;
  all.all_sessions = true;
  EXPECT_TRUE(go_through(memory, all).opened);
  std::fill_n(memory.bytes().begin() + 17 * 2048, 2048, std::uint8_t{0});
  std::ranges::copy(descriptor, memory.bytes().begin() + 17 * 2048);
  EXPECT_TRUE(go_through(memory).opened);
}

// No image at all.
TEST(Hostile, NothingToRead) {
  EXPECT_FALSE(go_through(MemoryImage({})).opened);
  EXPECT_FALSE(go_through(MemoryImage(std::vector<std::uint8_t>(1))).opened);
  EXPECT_FALSE(go_through(MemoryImage(std::vector<std::uint8_t>(40 * 2048, 0xff))).opened);
  IsoImage image = build_iso(iso_directory(""));
  image.bytes.resize(16 * 2048 + 100);
  go_through(MemoryImage(std::move(image.bytes)));
}

}  // namespace
}  // namespace lacuna::test

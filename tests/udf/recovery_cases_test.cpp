// SPDX-License-Identifier: GPL-3.0-or-later
// Cases of recovery, each with exactly what must come out: tables of write-once discs, images that start late or are
// cut, discs used twice, images stored as files.
#include <gmock/gmock.h>

#include <set>

#include "udf_box.h"

namespace lacuna::test {
namespace {

using Bytes = std::vector<std::uint8_t>;

std::set<std::string> paths_of(const UdfBox& box) {
  std::set<std::string> paths;
  for (const auto& [path, id] : box.nodes()) {
    if (!box.tree().node(id).is_directory()) paths.insert(path);
  }
  return paths;
}

std::set<std::string> paths_of(const std::map<std::string, UdfFile>& files) {
  std::set<std::string> paths;
  for (const auto& [path, file] : files) {
    if (file.type == UdfType::kFile) paths.insert(path);
  }
  return paths;
}

MemoryImage without(const UdfImage& image, const std::vector<UdfStructure>& lost) {
  MemoryImage memory = memory_of(image);
  memory.with_map();
  for (const UdfStructure& s : lost) {
    const std::uint64_t first = s.address / kSectorBytes, end = (s.address + s.bytes - 1) / kSectorBytes + 1;
    memory.mark(first, end - first, SectorState::kBad);
  }
  return memory;
}

void expect_all(const UdfBox& box, const std::map<std::string, UdfFile>& files, FileState state, Evidence evidence) {
  ASSERT_TRUE(box.ok()) << box.error().message;
  EXPECT_EQ(paths_of(box), paths_of(files)) << box.all_findings();
  for (const std::string& path : paths_of(files)) {
    const auto id = box.find(path);
    if (!id) continue;
    EXPECT_EQ(to_string(box.verdicts().of(*id).state), to_string(state))
        << path << ": " << ::testing::PrintToString(box.doubts(*id));
    EXPECT_EQ(box.tree().node(*id).evidence, evidence) << path;
    EXPECT_TRUE(box.reads_as(*id, files.at(path))) << path;
  }
}

UdfOptions with_vat(bool embedded = false) {
  UdfOptions o;
  o.vat = true;
  o.vat_embedded = embedded;
  o.anchors = {256, -257};
  return o;
}

UdfNode small_tree(std::uint32_t seed) {
  return udf_directory("",
                       {udf_file("letter.txt", udf_noise(seed, 900)), udf_file("photo.jpg", udf_noise(seed + 1, 50001)),
                        udf_directory("folder", {udf_file("b", udf_noise(seed + 2, 9000)), udf_directory("nothing")})});
}

// ---- virtual allocation tables

TEST(UdfRecoveryCases, TheTablesOwnSectorLost) {
  const UdfImage image = build_udf(udf_plain_tree(), with_vat());
  // The last sector of the disc: nothing newer can have been lost with it.
  const UdfBox box(without(image, image.all("vat icb")), {});
  expect_all(box, image.files, FileState::kWhole, Evidence::kScan);
  EXPECT_EQ(box.findings("virtual-table-rebuilt"), 1U);
}

TEST(UdfRecoveryCases, TheTablesContentLostAsWell) {
  const UdfImage image = build_udf(udf_plain_tree(), with_vat());
  std::vector<UdfStructure> lost = image.all("vat icb");
  for (const UdfStructure& s : image.all("vat")) lost.push_back(s);
  // Who can tell that those were not entries of newer states.
  expect_all(UdfBox(without(image, lost), {}), image.files, FileState::kDoubtful, Evidence::kScan);
}

TEST(UdfRecoveryCases, TheTablesContentLostAlone) {
  const UdfImage image = build_udf(udf_plain_tree(), with_vat());
  expect_all(UdfBox(without(image, image.all("vat")), {}), image.files, FileState::kDoubtful, Evidence::kScan);
}

TEST(UdfRecoveryCases, VirtualBlocksAtEverySecondBlockWithoutDescriptors) {
  // One block of data before each entry: as if the blocks were twice as large.
  UdfNode root = udf_directory("");
  for (std::uint32_t i = 0; i < 60; ++i) {
    root.children.push_back(udf_file("file " + std::to_string(i), udf_noise(100 + i, 1900)));
  }
  const UdfImage image = build_udf(root, with_vat());
  for (const std::set<std::string>& kinds :
       {std::set<std::string>{"lvd"}, std::set<std::string>{"anchor", "pvd", "lvd", "pd", "usd", "iuvd", "td"}}) {
    SCOPED_TRACE(kinds.size());
    std::vector<UdfStructure> lost;
    for (const UdfStructure& s : image.structures) {
      if (kinds.contains(s.kind)) lost.push_back(s);
    }
    const UdfBox box(without(image, lost), {});
    expect_all(box, image.files, FileState::kWhole, Evidence::kScan);
    EXPECT_EQ(box.findings("volume-rebuilt"), 1U);
  }
}

TEST(UdfRecoveryCases, TheLastTableOverwrittenAndNoMapTellsOfIt) {
  UdfOptions o = with_vat(true);
  UdfNode newer = small_tree(10);
  newer.children.push_back(udf_file("late.txt", udf_noise(23, 500)));
  o.older_generations = {small_tree(10)};
  const UdfImage image = build_udf(newer, o);
  MemoryImage memory = memory_of(image);
  const UdfStructure& table = image.one("vat icb");
  std::fill_n(memory.bytes().begin() + static_cast<std::ptrdiff_t>(table.address - image.first_byte), kSectorBytes,
              std::uint8_t{0});
  const UdfBox box(memory, {});
  EXPECT_EQ(box.findings("virtual-table-superseded"), 1U);
  expect_all(box, image.files, FileState::kDoubtful, Evidence::kScan);
}

// ---- directories' contents without their entries

TEST(UdfRecoveryCases, ContentOfSiblingsIsNeverToldByTheirOrder) {
  const auto leaf = [](const std::string& name, std::uint32_t seed) {
    return udf_directory(name, {udf_file("in " + name, udf_noise(seed, 3000))});
  };
  UdfNode root = udf_directory("", {udf_directory("a", {leaf("a1", 1), leaf("a2", 2)}), leaf("b", 3)});
  UdfOptions sparable;
  sparable.sparable = true;
  sparable.relocated_packets = {1};
  for (const UdfOptions& options : {UdfOptions{}, sparable}) {
    const UdfImage image = build_udf(root, options);
    std::vector<UdfStructure> lost;
    for (const std::string path : {"a", "b", "a/a1", "a/a2"}) lost.push_back(image.one("fe", path));
    const UdfBox box(without(image, lost), {});
    ASSERT_TRUE(box.ok());
    // Only one of the two contents names two directories, of which others say that they have contents below them.
    EXPECT_TRUE(box.find("b/in b")) << box.all_findings();
    std::size_t left = 0;
    for (const auto& [path, id] : box.nodes()) {
      if (path.ends_with("in a1") || path.ends_with("in a2")) {
        ++left;
        EXPECT_TRUE(path.starts_with("a/directory-at-")) << path;
      }
    }
    EXPECT_EQ(left, 2U) << box.all_findings();
  }
}

TEST(UdfRecoveryCases, TheLastOfSeveralTablesLost) {
  UdfOptions o = with_vat(true);
  UdfNode older = small_tree(10), newer = small_tree(10);
  older.children.push_back(udf_file("diary.txt", udf_noise(20, 3000)));
  older.children.push_back(udf_file("gone.txt", udf_noise(21, 3000)));
  newer.children.push_back(udf_file("diary.txt", udf_noise(22, 4000)));
  newer.children.push_back(udf_file("late.txt", udf_noise(23, 500)));
  o.older_generations = {older};
  const UdfImage image = build_udf(newer, o);
  const MemoryImage memory = without(image, {image.one("vat icb")});
  expect_all(UdfBox(memory, {}), image.files, FileState::kWhole, Evidence::kScan);
  // The state of the table before is offered apart.
  DiscOptions first;
  first.session = 1;
  const UdfBox box(memory, first);
  ASSERT_TRUE(box.ok());
  ASSERT_EQ(box.disc().sessions().size(), 2U);
  EXPECT_EQ(paths_of(box), paths_of(image.older.at(0)));
  EXPECT_TRUE(box.reads_as(box.must_find("diary.txt"), image.older.at(0).at("diary.txt")));
}

TEST(UdfRecoveryCases, ANewerStateOfAFileLostWithTheTable) {
  UdfOptions o = with_vat(true);
  UdfNode older = small_tree(10), newer = small_tree(10);
  older.children.push_back(udf_file("diary.txt", udf_noise(20, 3000)));
  newer.children.push_back(udf_file("diary.txt", udf_noise(22, 4000)));
  newer.children.push_back(udf_file("late.txt", udf_noise(23, 500)));
  o.older_generations = {older};
  const UdfImage image = build_udf(newer, o);
  const UdfBox box(without(image, {image.one("vat icb"), image.one("fe", "diary.txt")}), {});
  ASSERT_TRUE(box.ok());
  // What stands there is the older state, and nothing says that it is the last.
  EXPECT_EQ(to_string(box.state("diary.txt")), to_string(FileState::kDoubtful)) << box.all_findings();
  EXPECT_TRUE(box.reads_as(box.must_find("diary.txt"), image.older.at(0).at("diary.txt")));
  EXPECT_EQ(box.state("late.txt"), FileState::kWhole);  // its entry was written last
}

// ---- where partitions start

/// A volume whose tree lies 100 MB behind its start.
const UdfImage& late_volume() {
  static const UdfImage image = [] {
    UdfOptions o;
    o.first_free = 52000;
    o.space = UdfOptions::Space::kNone;
    return build_udf(small_tree(1), o);
  }();
  return image;
}

TEST(UdfRecoveryCases, ImageThatStartsLate) {
  const UdfImage& image = late_volume();
  constexpr std::size_t kGone = 100'000'000 / kSectorBytes * kSectorBytes;
  ASSERT_GT(image.one("fsd").address, kGone);
  MemoryImage memory(Bytes(image.bytes.begin() + kGone, image.bytes.end()));
  const UdfBox box(memory, {});
  ASSERT_TRUE(box.ok()) << box.error().message;
  EXPECT_EQ(paths_of(box), paths_of(image.files)) << box.all_findings();
  for (const std::string& path : paths_of(image.files)) {
    EXPECT_EQ(box.state(path), FileState::kWhole) << path;
    EXPECT_TRUE(box.reads_as(box.must_find(path), image.files.at(path))) << path;
  }
  EXPECT_EQ(box.findings("shifted"), 1U) << box.all_findings();
}

TEST(UdfRecoveryCases, ImageThatStartsWithSomethingElse) {
  const UdfImage image = build_udf(small_tree(1));
  Bytes bytes(1000 * kSectorBytes, 0);
  bytes.insert(bytes.end(), image.bytes.begin(), image.bytes.end());
  const UdfBox box(MemoryImage(bytes), {});
  ASSERT_TRUE(box.ok()) << box.error().message;
  EXPECT_EQ(paths_of(box), paths_of(image.files)) << box.all_findings();
  for (const std::string& path : paths_of(image.files)) {
    EXPECT_EQ(box.state(path), FileState::kWhole) << path;
    EXPECT_TRUE(box.reads_as(box.must_find(path), image.files.at(path))) << path;
  }
  EXPECT_EQ(box.findings("shifted"), 1U);
}

TEST(UdfRecoveryCases, CutAtThirtyPercentWithoutItsHead) {
  const UdfImage image = build_udf(udf_plain_tree());
  const std::size_t kept = image.bytes.size() * 3 / 10 / kSectorBytes * kSectorBytes;
  MemoryImage memory(Bytes(image.bytes.begin(), image.bytes.begin() + static_cast<std::ptrdiff_t>(kept)));
  memory.with_map();
  memory.mark(0, 257, SectorState::kBad);
  const UdfBox box(memory, {});
  ASSERT_TRUE(box.ok()) << box.error().message;
  int found = 0;
  for (const auto& [path, file] : image.files) {
    bool all = image.one("fe", path).address + kSectorBytes <= kept && file.type == UdfType::kFile;
    for (const UdfExtent& e : file.extents) all = all && (!e.address || *e.address + e.bytes <= kept);
    if (!all) continue;
    const auto is_it = [&, &wanted = file](const auto& n) {
      return box.tree().node(n.second).kind == NodeKind::kFile && box.reads_as(n.second, wanted);
    };
    EXPECT_TRUE(std::ranges::any_of(box.nodes(), is_it)) << path;
    ++found;
  }
  EXPECT_GT(found, 1);
  // Files beyond the cut speak against where the partition was voted to start, as those of a wrong vote would.
  for (const auto& [path, id] : box.nodes()) {
    if (box.tree().node(id).kind == NodeKind::kFile && box.tree().node(id).size > 0) {
      EXPECT_NE(box.verdicts().of(id).state, FileState::kWhole) << path;
    }
  }
}

// ---- discs used twice

/// A volume written over another one.
struct UsedTwice {
  UdfImage older, newer;
  Bytes bytes;

  UsedTwice() {
    UdfOptions first;
    first.first_free = 400;
    older =
        build_udf(udf_directory("", {udf_file("ancient letter.txt", udf_noise(50, 3000)),
                                     udf_directory("ancient place", {udf_file("ancient.txt", udf_noise(51, 2000))})}),
                  first);
    UdfOptions second;
    second.free_blocks = 600;
    newer = build_udf(small_tree(60), second);
    bytes = older.bytes;
    bytes.resize(std::max(bytes.size(), newer.bytes.size()));
    for (std::size_t at = 0; at < newer.bytes.size(); at += kSectorBytes) {
      const auto from = newer.bytes.begin() + static_cast<std::ptrdiff_t>(at);
      if (std::any_of(from, from + kSectorBytes, [](std::uint8_t b) { return b != 0; })) {
        std::copy(from, from + kSectorBytes, bytes.begin() + static_cast<std::ptrdiff_t>(at));
      }
    }
  }
};

TEST(UdfRecoveryCases, DiscUsedTwice) {
  const UsedTwice disc;
  DiscOptions always;
  always.scan = ScanMode::kAlways;
  const UdfBox box(MemoryImage(disc.bytes).with_map(), always);
  expect_all(box, disc.newer.files, FileState::kWhole, Evidence::kTree);
  ASSERT_EQ(box.disc().sessions().size(), 2U) << box.all_findings();
  EXPECT_EQ(box.disc().sessions().front().source, SessionSource::kScan);
  always.session = 1;
  expect_all(UdfBox(MemoryImage(disc.bytes).with_map(), always), disc.older.files, FileState::kWhole, Evidence::kScan);
}

TEST(UdfRecoveryCases, DiscUsedTwiceWithoutItsRoot) {
  const UsedTwice disc;
  for (const char* kind : {"fe", "directory"}) {
    SCOPED_TRACE(kind);
    MemoryImage memory(disc.bytes);
    memory.with_map();
    memory.mark(disc.newer.one(kind, "").address / kSectorBytes, 1, SectorState::kBad);
    const UdfBox box(memory, {});
    ASSERT_TRUE(box.ok());
    for (const auto& [path, id] : box.nodes()) EXPECT_EQ(path.find("ancient"), std::string::npos) << path;
    EXPECT_TRUE(std::ranges::any_of(
        box.nodes(), [&](const auto& n) { return box.reads_as(n.second, disc.newer.files.at("folder/b")); }));
  }
}

// The same, where no map of free space can be read: what the earlier volume left looks like a part of this one. The
// place of its file was written again since, and what named the new content is lost: called whole, the file would be a
// false one.
TEST(UdfRecoveryCases, StraysOfAnEarlierVolumeAreNeverWhole) {
  const UsedTwice disc;
  const UdfFile& ancient = disc.older.files.at("ancient place/ancient.txt");
  Bytes bytes = disc.bytes;
  const std::string other = udf_noise(52, 2000);
  std::ranges::copy(other, bytes.begin() + static_cast<std::ptrdiff_t>(*ancient.extents.at(0).address));
  MemoryImage memory(bytes);
  memory.with_map();
  const UdfStructure bitmap = disc.newer.one("space bitmap", "");
  memory.mark(bitmap.address / kSectorBytes, (bitmap.bytes + 2047) / 2048, SectorState::kBad);
  for (const UdfImage* volume : {&disc.newer, &disc.older}) {
    for (const char* kind : {"fe", "directory"}) {
      memory.mark(volume->one(kind, "").address / kSectorBytes, 1, SectorState::kBad);
    }
  }
  memory.mark(disc.older.one("fsd", "").address / kSectorBytes, 1, SectorState::kBad);
  const UdfBox box(memory, {});
  ASSERT_TRUE(box.ok());
  std::size_t strays = 0;
  for (const auto& [path, id] : box.nodes()) {
    if (!path.ends_with("ancient.txt")) continue;
    ++strays;
    EXPECT_EQ(to_string(box.verdicts().of(id).state), to_string(FileState::kDoubtful)) << path;
    EXPECT_THAT(box.doubts(id), ::testing::ElementsAre(::testing::HasSubstr("earlier use")));
  }
  EXPECT_EQ(strays, 1U) << box.all_findings();
}

TEST(UdfRecoveryCases, PiecesOfAnEarlierVolumeThatNameOtherFiles) {
  // Where its directories' entries were, files of the present volume have theirs: they name no directories of it.
  UdfNode older = udf_directory(""), newer = udf_directory("");
  for (std::uint32_t i = 0; i < 80; ++i) {
    newer.children.push_back(udf_file("new " + std::to_string(i), udf_noise(i, 900)));
  }
  for (std::uint32_t i = 0; i < 20; ++i) {
    older.children.push_back(udf_directory("old " + std::to_string(i),
                                           {udf_directory("older", {udf_file("ancient", udf_noise(300 + i, 60000))})}));
  }
  UdfOptions o;
  o.space = UdfOptions::Space::kNone;
  const UdfImage image = build_udf(newer, o), before = build_udf(older, o);
  Bytes bytes = image.bytes;
  bytes.resize(std::max(bytes.size(), before.bytes.size()));
  std::size_t pieces = 0;
  for (const UdfStructure& s : before.structures) {
    if (s.kind != "directory" || s.address < image.bytes.size()) continue;
    ++pieces;
    std::copy_n(before.bytes.begin() + static_cast<std::ptrdiff_t>(s.address), kSectorBytes,
                bytes.begin() + static_cast<std::ptrdiff_t>(s.address));
  }
  ASSERT_GT(pieces, 10U);
  MemoryImage memory(bytes);
  memory.with_map();
  for (const char* kind : {"fe", "directory"}) {
    for (const UdfStructure& s : image.all(kind, "")) {
      if (s.path.empty()) memory.mark(s.address / kSectorBytes, (s.bytes + 2047) / 2048, SectorState::kBad);
    }
  }
  const UdfBox box(memory, {});
  ASSERT_TRUE(box.ok());
  std::set<std::string> found;
  for (const auto& [path, id] : box.nodes()) {
    EXPECT_EQ(path.find("old"), std::string::npos) << path;
    if (box.tree().node(id).is_directory()) continue;
    for (const auto& [name, file] : image.files) {
      if (file.type == UdfType::kFile && box.reads_as(id, file)) found.insert(name);
    }
  }
  EXPECT_EQ(found.size(), 80U) << box.all_findings();
}

// ---- images stored as files

UdfImage with_image_inside(const UdfOptions& outer) {
  const UdfImage inner = build_udf(udf_directory("", {udf_file("inner letter.txt", udf_noise(70, 5000)),
                                                      udf_directory("inner", {udf_file("x", udf_noise(71, 70000))})}));
  UdfNode root = small_tree(80);
  root.children.push_back(udf_file("disc.iso", std::string(inner.bytes.begin(), inner.bytes.end())));
  return build_udf(root, outer);
}

TEST(UdfRecoveryCases, ImageStoredAsAFile) {
  UdfOptions metadata;
  metadata.revision = 0x0250;
  metadata.metadata = true;
  for (const UdfOptions& options : {UdfOptions{}, metadata, with_vat()}) {
    SCOPED_TRACE(options.metadata ? "metadata" : options.vat ? "virtual" : "plain");
    const UdfImage image = with_image_inside(options);
    const std::vector<std::set<std::string>> losses = {{"anchor", "pvd", "lvd", "pd", "usd", "iuvd", "td"},
                                                       {"fsd"},
                                                       {"vat icb"},
                                                       {"metadata icb", "metadata mirror icb"}};
    for (const std::set<std::string>& kinds : losses) {
      std::vector<UdfStructure> lost;
      for (const UdfStructure& s : image.structures) {
        if (kinds.contains(s.kind)) lost.push_back(s);
      }
      SCOPED_TRACE(*kinds.begin());
      const UdfBox box(without(image, lost), {});
      ASSERT_TRUE(box.ok());
      EXPECT_EQ(paths_of(box), paths_of(image.files)) << box.all_findings();
      for (const std::string& path : paths_of(image.files)) {
        if (!box.find(path)) continue;
        EXPECT_TRUE(box.reads_as(*box.find(path), image.files.at(path))) << path;
      }
    }
    // The directory lost, the image's structures are found, and are no orphans.
    const UdfBox box(without(image, {image.one("fe", ""), image.one("directory", "")}), {});
    ASSERT_TRUE(box.ok());
    for (const auto& [path, id] : box.nodes()) EXPECT_EQ(path.find("inner"), std::string::npos) << path;
  }
}

}  // namespace
}  // namespace lacuna::test

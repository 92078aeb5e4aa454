// SPDX-License-Identifier: GPL-3.0-or-later
// UDF volumes that lie, each built around one lie and sealed anew, so that every tag is right. Whatever the lie, all
// that is done with an image comes to an end soon and in little memory, nothing is called whole that does not read to
// its end, what the lie does not touch stays whole, and the findings or doubts tell of it.
#include <sys/resource.h>

#include <chrono>
#include <filesystem>

#include "lacuna/hits.h"
#include "lacuna/pull.h"
#include "lacuna/report.h"
#include "support/authoring.h"
#include "support/iso_builder.h"
#include "udf_box.h"

namespace lacuna::test {
namespace {

constexpr long kLittleMemoryKilobytes = long{1} << 20;  // of the whole test program
constexpr std::chrono::seconds kSoon{60};               // with sanitizers, on a busy machine

// Offsets within entries: the file entry's (4/14.9) and the extended one's (4/14.17) information length is at 56.
constexpr std::size_t kInformationLength = 56, kExtendedAllocationLength = 212, kExtendedAllocation = 216;
constexpr std::size_t kStreamsIcb = 152, kAttributesIcb = 136;
constexpr std::size_t kFidIcb = 20, kIndirectNext = 36, kAedAllocation = 24;

void put_le64(std::span<std::uint8_t> to, std::size_t at, std::uint64_t v) {
  put_le32(to, at, static_cast<std::uint32_t>(v));
  put_le32(to, at + 4, static_cast<std::uint32_t>(v >> 32));
}

/// The block, in its partition, that a structure's tag says it stands in (3/7.2.8).
std::uint32_t block_of(UdfImage& image, const UdfStructure& s) {
  const auto b = image.at(s.address);
  return b[12] | std::uint32_t{b[13]} << 8 | std::uint32_t{b[14]} << 16 | std::uint32_t{b[15]} << 24;
}

class UdfLies : public ::testing::Test {
 protected:
  using Edit = std::function<void(std::span<std::uint8_t>)>;

  void build(const UdfOptions& options = {}) {
    UdfNode root = udf_special_tree(options);
    std::erase_if(root.children, [](const UdfNode& n) { return n.name == "giant.bin"; });  // long to pull
    build(root, options);
  }
  void build(const UdfNode& root, const UdfOptions& options) { image_ = build_udf(root, options); }

  /// Edits every copy of a structure, and seals it again.
  void forge(std::string_view kind, std::string_view path, const Edit& edit, std::uint32_t version = 0) {
    int found = 0;
    for (const UdfStructure& s : image_.all(kind, path)) {
      if (s.version != version) continue;
      edit(image_.at(s.address));
      udf_reseal(image_.at(s.address));
      ++found;
    }
    EXPECT_GT(found, 0) << kind << " of '" << path << "'";
  }
  std::uint32_t place(std::string_view kind, std::string_view path, std::uint32_t version = 0) {
    return block_of(image_, image_.one(kind, path, 0, version));
  }
  /// Fills the rest of an entry's block with short descriptors of one extent.
  void forge_extents(std::string_view path, std::uint32_t length, std::uint32_t block, std::uint64_t information) {
    forge("fe", path, [&](std::span<std::uint8_t> b) {
      const std::uint32_t room = (image_.block_bytes - std::uint32_t{kExtendedAllocation}) / 8 * 8;
      put_le64(b, kInformationLength, information);
      put_le32(b, kExtendedAllocationLength, room);
      for (std::size_t at = 0; at < room; at += 8) {
        put_le32(b, kExtendedAllocation + at, length);
        put_le32(b, kExtendedAllocation + at + 4, block);
      }
      const std::uint16_t crc_length = static_cast<std::uint16_t>(kExtendedAllocation + room - 16);
      put_le16(b, 10, crc_length);
    });
  }

  /// Does everything with the image.
  void go(DiscOptions options = {}, bool with_map = true) {
    const auto start = std::chrono::steady_clock::now();
    options.streams = true;
    MemoryImage memory = memory_of(image_);
    if (with_map) memory.with_map();
    box_ = std::make_unique<UdfBox>(memory, options);
    if (box_->ok()) use();
    EXPECT_LT(std::chrono::steady_clock::now() - start, kSoon);
    rusage usage{};
    getrusage(RUSAGE_SELF, &usage);
    EXPECT_LT(usage.ru_maxrss, kLittleMemoryKilobytes);
  }

  void use() {
    const Disc& disc = box_->disc();
    std::vector<std::uint8_t> buffer(std::size_t{1} << 20);
    for (const auto& [path, id] : box_->nodes()) {
      const Node& node = disc.tree().node(id);
      if (node.kind != NodeKind::kFile) continue;
      FileReader reader(disc, id);
      std::vector<Gap> gaps;
      const std::size_t n = reader.read(0, buffer, gaps);
      EXPECT_LE(n, buffer.size());
      if (box_->verdicts().of(id).state != FileState::kWhole) continue;
      EXPECT_EQ(n, std::min<std::uint64_t>(node.size, buffer.size())) << path << " is called whole";
      EXPECT_TRUE(gaps.empty()) << path << " is called whole";
      // Nothing whole but what was written, under one of its names.
      const std::string built = path.starts_with(":") ? ":" + path : path;
      const auto file = image_.files.find(built);
      if (file != image_.files.end()) {
        EXPECT_TRUE(box_->reads_as(id, file->second)) << path << " is a false whole";
      }
    }
    std::size_t written = 0;
    const Sink sink = [&written](std::string_view piece) { written += piece.size(); };
    const Hits hits = find_hits(disc, box_->verdicts());
    write_files(disc, box_->verdicts(), {}, {}, Format::kJson, sink);
    write_survey(disc, box_->verdicts(), hits, {}, Format::kText, sink);
    const ScratchFolder scratch;
    PullOptions pulling;
    pulling.to = scratch / "target";
    const auto report = pull(disc, box_->verdicts(), pulling);
    EXPECT_TRUE(report.ok()) << (report.ok() ? "" : report.error().message);
    EXPECT_EQ(std::distance(std::filesystem::directory_iterator(scratch.path()), {}), 1);
  }

  void expect_whole(const std::string& path) {
    ASSERT_TRUE(box_->ok()) << box_->error().message;
    EXPECT_EQ(box_->state(path), FileState::kWhole) << path << ::testing::PrintToString(doubts(path));
  }
  /// Others may have put themselves over it, so that it is doubtful.
  void expect_there(const std::string& path) {
    ASSERT_TRUE(box_->ok()) << box_->error().message;
    EXPECT_LE(box_->state(path), FileState::kDoubtful) << path << ::testing::PrintToString(doubts(path));
    EXPECT_TRUE(box_->reads_as(box_->must_find(path), image_.files.at(path))) << path;
  }
  void expect_not_whole(const std::string& path) {
    ASSERT_TRUE(box_->ok()) << box_->error().message;
    EXPECT_NE(box_->state(path), FileState::kWhole) << path;
    EXPECT_TRUE(box_->state(path) != FileState::kDoubtful || !doubts(path).empty()) << path;
  }
  std::vector<std::string> doubts(const std::string& path) { return box_->doubts(box_->must_find(path)); }

  UdfImage image_;
  std::unique_ptr<UdfBox> box_;
};

// ---- loops

UdfNode versioned_tree() {
  UdfNode letter = udf_file("letter.txt", udf_noise(1, 900));
  letter.versions = {udf_file("", udf_noise(2, 700)), udf_file("", udf_noise(3, 4100))};
  return udf_directory("", {letter, udf_file("other", udf_noise(4, 5000))});
}

TEST_F(UdfLies, AChainOfIcbsThatLeadsBack) {
  for (const std::uint32_t to : {2U, 1U}) {  // to the first ICB, and to itself
    build(versioned_tree(), {});
    const std::uint32_t block = place("fe", "letter.txt", to);
    forge(
        "ie", "letter.txt", [&](auto b) { put_le32(b, kIndirectNext + 4, block); }, 1);
    go();
    expect_not_whole("letter.txt");
    expect_whole("other");
  }
}

TEST_F(UdfLies, AllocationExtentsThatLeadBack) {
  for (const std::size_t to : {0U, 1U}) {  // to itself, and two of them in a ring
    build();
    const auto aeds = image_.all("aed", "chain of aeds.bin");
    ASSERT_GT(aeds.size(), 2U);
    const auto aed = image_.at(aeds[to].address);
    put_le32(aed, aeds[to].bytes - 4, block_of(image_, aeds[0]));
    udf_reseal(aed);
    go();
    expect_not_whole("chain of aeds.bin");
    expect_whole("pieces.bin");
  }
}

TEST_F(UdfLies, VirtualTablesThatLeadBack) {
  UdfOptions options;
  options.vat = true;
  options.anchors = {256, -257};
  options.older_generations = {udf_directory("", {udf_file("a", udf_noise(1, 100))}),
                               udf_directory("", {udf_file("a", udf_noise(2, 200))})};
  build(udf_directory("", {udf_file("a", udf_noise(3, 300)), udf_file("b", udf_noise(4, 9000))}), options);
  put_le32(image_.at(image_.one("vat", "", 0, 2).address), 132, place("vat icb", "", 0));
  go();
  expect_whole("a");
  expect_whole("b");
  EXPECT_EQ(box_->findings("virtual-table-loop"), 1U);
  EXPECT_EQ(box_->disc().sessions().size(), 3U);
}

TEST_F(UdfLies, ADirectoryThatHoldsItsAncestor) {
  for (const std::string above : {"", "level1", "level1/level2/level3/level4"}) {
    build(udf_plain_tree(), {});
    const std::uint32_t block = place("fe", above);
    forge("fid", "level1/level2/level3/level4/deepest", [&](auto b) { put_le32(b, kFidIcb + 4, block); });
    go();
    EXPECT_EQ(box_->findings("directory-again"), 1U);
    expect_whole("photo.jpg");
    EXPECT_FALSE(box_->find("level1/level2/level3/level4/deepest/bottom.txt"));
  }
}

TEST_F(UdfLies, SequencesThatLeadBack) {
  UdfOptions options;
  options.continue_after = 3;
  build(udf_plain_tree(), options);
  for (const UdfStructure& s : image_.all("vdp")) {
    const auto b = image_.at(s.address);
    put_le32(b, 24, static_cast<std::uint32_t>(s.address / 2048));  // 3/10.3: the next extent, at 20
    udf_reseal(b);
  }
  forge("lvid", "", [&](auto b) {
    put_le32(b, 32, 2048);
    put_le32(b, 36, static_cast<std::uint32_t>(image_.one("lvid").address / 2048));
  });
  forge("fsd", "", [&](auto b) {
    put_le32(b, 448, 2048);
    put_le32(b, 452, place("fsd", ""));
  });
  go();
  expect_whole("photo.jpg");
}

TEST_F(UdfLies, StreamsAndAttributesThatAreTheFileItself) {
  build();
  const std::uint32_t own = place("fe", "streamed.txt"), root = place("fe", "");
  forge("fe", "streamed.txt", [&](auto b) {
    put_le32(b, kAttributesIcb, 2048);
    put_le32(b, kAttributesIcb + 4, own);
    put_le32(b, kStreamsIcb + 4, own);
  });
  forge("fe", "streamed folder", [&](auto b) { put_le32(b, kStreamsIcb + 4, root); });
  go();
  EXPECT_GE(box_->findings("streams-lost"), 1U);
  expect_whole("streamed.txt");
}

// ---- lengths

TEST_F(UdfLies, LengthsOfFiles) {
  for (const std::uint64_t length :
       {std::uint64_t{1} << 63, ~std::uint64_t{0}, (std::uint64_t{1} << 63) - 1, std::uint64_t{50002}}) {
    SCOPED_TRACE(length);
    build();
    for (const char* path : {"photo.jpg", "small.txt", "chain of aeds.bin", "holes.bin", "link"}) {
      forge("fe", path, [&](auto b) { put_le64(b, kInformationLength, length); });
    }
    go();
    for (const char* path : {"photo.jpg", "small.txt", "chain of aeds.bin", "holes.bin"}) expect_not_whole(path);
    expect_there("letter.txt");
  }
}

TEST_F(UdfLies, LengthsOfDirectories) {
  for (const std::uint64_t length : {std::uint64_t{1} << 60, ~std::uint64_t{0}, std::uint64_t{1} << 32}) {
    build();
    forge("fe", "folder", [&](auto b) { put_le64(b, kInformationLength, length); });
    forge_extents("level1", 0x3FFFF800, place("fe", "level1"), length);
    go();
    expect_there("photo.jpg");
    EXPECT_TRUE(box_->is_lost_directory(box_->must_find("folder")));
    EXPECT_TRUE(box_->is_lost_directory(box_->must_find("level1")));
  }
}

TEST_F(UdfLies, LengthsOfExtents) {
  std::vector<UdfOptions> spaces(4);
  spaces[1].vat = true;
  spaces[1].anchors = {256, -257};
  spaces[2].sparable = true;
  spaces[2].relocated_packets = {0, 1, 3, 5};
  spaces[3].metadata = true;
  spaces[3].revision = 0x0250;
  for (const UdfOptions& options : spaces) {
    for (const std::uint32_t block : {0U, 5U, 0xFFFFFFF0U}) {
      build(options);
      // Short descriptors lead into the entry's own partition: the virtual, sparable or metadata one.
      forge_extents("photo.jpg", 0x3FFFFFFF, block, std::uint64_t{1} << 62);
      forge_extents("letter.txt", 0x3FFFF800, block, std::uint64_t{229} * 0x3FFFF800);
      go();
      expect_not_whole("photo.jpg");
      expect_not_whole("letter.txt");
      expect_there("pieces.bin");
    }
  }
}

TEST_F(UdfLies, LengthsOfAllocationDescriptors) {
  for (const std::uint32_t length : {0xFFFFFFFFU, 2048U - 23U, 0x80000000U}) {
    build();
    forge("fe", "photo.jpg", [&](auto b) { put_le32(b, kExtendedAllocationLength, length); });
    forge("fe", "letter.txt", [&](auto b) { put_le32(b, kExtendedAllocationLength - 4, length); });  // attributes
    const auto aed = image_.at(image_.all("aed", "many pieces.bin").front().address);
    put_le32(aed, kAedAllocation - 4, length);
    udf_reseal(aed);
    go();
    EXPECT_EQ(box_->state("photo.jpg"), FileState::kUnlocated);
    EXPECT_EQ(box_->state("letter.txt"), FileState::kUnlocated);
    expect_not_whole("many pieces.bin");
    expect_whole("pieces.bin");
  }
}

TEST_F(UdfLies, CountsOfPartitionMaps) {
  build();
  forge("lvd", "", [](auto b) {
    put_le32(b, 268, 0xFFFFFFFF);  // 3/10.6.10
    put_le32(b, 264, 0xFFFFFFFF);
  });
  go();
  EXPECT_TRUE(!box_->ok() || !box_->disc().findings().empty());
  build();
  forge("lvd", "", [](auto b) { put_le32(b, 268, 0xFFFFFFFF); });
  go();
  EXPECT_TRUE(!box_->ok() || box_->findings("partition-maps") == 1);
}

TEST_F(UdfLies, LengthsOfSparingTables) {
  UdfOptions options;
  options.sparable = true;
  options.relocated_packets = {0, 1, 3};
  build(options);
  for (const UdfStructure& s : image_.all("sparing table")) {
    const auto b = image_.at(s.address);
    put_le16(b, 48, 0xFFFF);  // UDF 2.2.12: entries
    udf_reseal(b);
  }
  go();
  ASSERT_TRUE(box_->ok());
  for (const auto& [path, id] : box_->nodes()) {
    const auto extents = box_->tree().extents(box_->tree().node(id));
    const bool placed = std::ranges::any_of(extents, [](const Extent& e) { return e.has_place(); });
    EXPECT_TRUE(!placed || box_->verdicts().of(id).state != FileState::kWhole) << path;
  }
}

TEST_F(UdfLies, LengthsOfVirtualTables) {
  for (const std::uint64_t length : {std::uint64_t{1} << 28, std::uint64_t{1} << 40, ~std::uint64_t{0}}) {
    for (const std::uint32_t type : {0U, 0x80000000U}) {  // recorded; not allocated, and thus all zeros
      UdfOptions options;
      options.vat = true;
      options.anchors = {256, -257};
      options.older_generations = {udf_plain_tree()};
      UdfNode root = udf_plain_tree();
      root.children.push_back(udf_file("new", udf_noise(1, 300)));
      build(root, options);
      forge("vat icb", "", [&](auto b) {
        const std::uint32_t block = b[kExtendedAllocation + 4] | std::uint32_t{b[kExtendedAllocation + 5]} << 8;
        put_le64(b, kInformationLength, length);
        put_le32(b, kExtendedAllocationLength, 1832);
        put_le32(b, kExtendedAllocation, 2048);
        for (std::size_t at = 8; at < 1832; at += 8) {
          put_le32(b, kExtendedAllocation + at, 0x3FFFF800 | type);
          put_le32(b, kExtendedAllocation + at + 4, block);
        }
        put_le16(b, 10, 2048 - 16);
      });
      go();
      ASSERT_TRUE(box_->ok());
      EXPECT_EQ(box_->findings("virtual-table-lost"), 1U);
      // Behind the table that counts then something was written: it is looked for, and nothing says that it is all.
      for (const char* path : {"photo.jpg", "new"}) {
        expect_there(path);
        EXPECT_EQ(box_->state(path), FileState::kDoubtful) << path;
        EXPECT_EQ(box_->node(path).evidence, Evidence::kScan) << path;
      }
    }
  }
}

// ---- places

TEST_F(UdfLies, APartitionOutsideTheImage) {
  for (const std::uint32_t start : {0xFFFF0000U, 100000U}) {
    build();
    forge("pd", "", [&](auto b) {
      put_le32(b, 188, start);
      put_le32(b, 192, 0xFFFFFFFF);
    });
    go();
    EXPECT_TRUE(!box_->ok() || box_->nodes().empty());
  }
}

TEST_F(UdfLies, BlockSizesThatAreNone) {
  for (const std::uint32_t bytes : {0U, 3U, 0xFFFFFFFFU, 0x80000000U, 1U, 65536U}) {
    build();
    forge("lvd", "", [&](auto b) { put_le32(b, 212, bytes); });
    go(without_scan());
    EXPECT_TRUE(!box_->ok() || box_->nodes().empty()) << bytes;
    // A descriptor that can't be is as good as lost: the structures themselves show how large blocks are.
    go();
    expect_whole("folder/b");
  }
}

TEST_F(UdfLies, AFileOverADirectory) {
  build(udf_plain_tree(), {});
  const std::uint64_t folder = image_.one("directory", "folder").address;
  const std::uint64_t start = image_.one("fe", "").address / 2048 - place("fe", "");
  for (const bool entries : {false, true}) {
    const std::uint64_t at = entries ? image_.one("fe", "photo.jpg").address : folder;
    forge("fe", "letter.txt",
          [&](auto b) { put_le32(b, kExtendedAllocation + 4, static_cast<std::uint32_t>(at / 2048 - start)); });
    go();
    expect_not_whole("letter.txt");
    expect_whole("folder/b");
  }
}

TEST_F(UdfLies, AMetadataFileInItself) {
  UdfOptions options;
  options.metadata = true;
  options.revision = 0x0250;
  build(udf_plain_tree(), options);
  for (const char* kind : {"metadata icb", "metadata mirror icb"}) {
    const std::uint32_t own = place(kind, "");
    forge(kind, "", [&](auto b) {
      const std::uint32_t length = b[kExtendedAllocationLength] | std::uint32_t{b[kExtendedAllocationLength + 1]} << 8;
      for (std::uint32_t at = 0; at < length; at += 8) put_le32(b, kExtendedAllocation + at + 4, own);
    });
  }
  go();
  ASSERT_TRUE(box_->ok());
  EXPECT_TRUE(box_->nodes().empty());
  EXPECT_GE(box_->findings("file-set"), 1U);
}

TEST_F(UdfLies, DirectoriesWithoutEnd) {
  UdfNode deep = udf_directory("d", {udf_file("f", udf_noise(1, 10))});
  for (int i = 0; i < 1100; ++i) {
    UdfNode above = udf_directory("d");
    above.children.push_back(std::move(deep));
    deep = std::move(above);
  }
  UdfNode root = udf_directory("", {udf_file("top", udf_noise(2, 3000))});
  root.children.push_back(std::move(deep));
  build(root, {});
  go();
  expect_whole("top");
  EXPECT_EQ(box_->findings("directory-too-deep"), 1U);
}

/// Anchors that all lead to sequences of their own: each is looked at, the volume of most anchors is read.
TEST_F(UdfLies, ManyVolumesOnTheSameSectors) {
  UdfOptions options;
  options.anchors = {256, 512, -257, -1};
  build(udf_plain_tree(), options);
  std::uint32_t reserve = 100;
  for (const UdfStructure& s : image_.all("anchor")) {
    if (s.copy < 2) continue;
    const auto b = image_.at(s.address);
    put_le32(b, 28, ++reserve);
    udf_reseal(b);
  }
  go();
  expect_whole("photo.jpg");
  EXPECT_EQ(box_->disc().sessions().size(), 1U);
  EXPECT_EQ(box_->findings("second-volume"), 2U);
}

/// Each name of a directory leads to the directory beside it, twice: a tree of 2^40 paths in 40 directories.
TEST_F(UdfLies, ATreeThatGrowsByItself) {
  UdfNode root = udf_directory("");
  for (int i = 0; i < 40; ++i) {
    const std::string name = "d" + std::to_string(i);
    root.children.push_back(udf_directory(name, {udf_directory("left"), udf_directory("right")}));
  }
  build(root, {});
  for (int i = 0; i < 40; ++i) {
    const std::uint32_t next = place("fe", "d" + std::to_string((i + 1) % 40));
    for (const char* side : {"/left", "/right"}) {
      forge("fid", "d" + std::to_string(i) + side, [&](auto b) { put_le32(b, kFidIcb + 4, next); });
    }
  }
  go();
  ASSERT_TRUE(box_->ok());
  EXPECT_EQ(box_->nodes().size(), 120U);
  EXPECT_EQ(box_->findings("directory-again"), 80U);
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
// Every variant of UDF that the builder writes, undamaged and with a map that says so: the tree is what was written.
#include <sys/stat.h>

#include <set>

#include "udf_box.h"

namespace lacuna::test {
namespace {

class UdfVariants : public UdfVariantTest {
 protected:
  using Files = std::map<std::string, UdfFile>;

  static NodeKind kind_of(UdfType type) {
    switch (type) {
      case UdfType::kDirectory:
      case UdfType::kStreamDirectory:
        return NodeKind::kDirectory;
      case UdfType::kBlockDevice:
        return NodeKind::kBlockDevice;
      case UdfType::kCharacterDevice:
        return NodeKind::kCharDevice;
      case UdfType::kFifo:
        return NodeKind::kFifo;
      case UdfType::kSocket:
        return NodeKind::kSocket;
      case UdfType::kSymbolicLink:
        return NodeKind::kSymlink;
      default:
        return NodeKind::kFile;
    }
  }

  static bool is_stream(const std::string& path) { return path.find(':') != std::string::npos; }

  static std::vector<Extent> extents_of(const UdfFile& file) {
    std::vector<Extent> all;
    for (const UdfExtent& e : file.extents) all.push_back({e.address.value_or(kZeros), e.bytes, 0, 0});
    return all;
  }

  /// The tree below `prefix` is exactly `files`; streams among them only when asked for.
  static void expect_files(const UdfBox& box, const Files& files, const std::string& prefix, bool streams) {
    std::map<std::string, std::string> expected;  // by path in the tree: path in the builder's list
    for (const auto& [path, file] : files) {
      if (path.empty() || file.type == UdfType::kStreamDirectory) continue;
      if (streams || !is_stream(path)) expected[prefix + tree_path(path)] = path;
    }
    for (const auto& [path, id] : box.nodes()) {
      EXPECT_TRUE(!path.starts_with(prefix) || expected.contains(path)) << path << " was never written";
    }
    for (const auto& [path, built] : expected) {
      SCOPED_TRACE(path);
      const auto id = box.find(path);
      if (!id) {
        ADD_FAILURE() << "not in the tree";
        continue;
      }
      const UdfFile& file = files.at(built);
      const Node& n = box.tree().node(*id);
      EXPECT_EQ(n.kind, kind_of(file.type));
      EXPECT_EQ(n.size, file.bytes);
      EXPECT_EQ(n.view, View::kUdf);
      EXPECT_EQ(box.verdicts().of(*id).state, FileState::kWhole) << ::testing::PrintToString(box.doubts(*id));
      EXPECT_EQ(n.has(node_flag::kStream), is_stream(built));
      if (n.kind != NodeKind::kFile) continue;
      EXPECT_EQ(box.verdicts().of(*id).basis, Basis::kMap);
      const auto extents = box.tree().extents(n);
      EXPECT_EQ(std::vector<Extent>(extents.begin(), extents.end()), extents_of(file));
      EXPECT_TRUE(box.reads_as(*id, file)) << "other bytes than were written";
    }
  }

  UdfBox open(const DiscOptions& options = without_scan()) const { return UdfBox(memory_of(image()).with_map(), options); }
};

TEST_P(UdfVariants, TheTreeIsWhatWasWritten) {
  const UdfBox box = open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  expect_files(box, image().files, "", false);
  EXPECT_TRUE(box.disc().lost_directories().empty());
  for (const Finding& f : box.disc().findings().list()) {
    EXPECT_EQ(f.severity, Severity::kNote) << f.kind << ": " << f.text;
  }
}

TEST_P(UdfVariants, WithoutAMapTheSameIsAssumed) {
  const UdfBox box{memory_of(image())};
  ASSERT_TRUE(box.ok()) << box.error().message;
  for (const auto& [path, file] : image().files) {
    if (path.empty() || is_stream(path) || kind_of(file.type) != NodeKind::kFile) continue;
    const auto id = box.find(path);
    ASSERT_TRUE(id) << path;
    // Without a map a chain of ICBs that ends in zeros may go on where they are (see EntryReader).
    const bool open_chain = (variant().needs & kNeedsChains) != 0 && !variant().options.terminal_entries &&
                            (path == "letter.txt" || path == "photo.jpg");
    EXPECT_EQ(box.verdicts().of(*id).state, open_chain ? FileState::kDoubtful : FileState::kWhole)
        << path << ::testing::PrintToString(box.doubts(*id));
    EXPECT_EQ(box.verdicts().of(*id).basis, Basis::kAssumed) << path;
    EXPECT_TRUE(box.reads_as(*id, file)) << path;
  }
}

TEST_P(UdfVariants, WhatEntriesTellOfFiles) {
  const UdfBox box = open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  std::map<std::string, const UdfNode*> nodes;
  collect_nodes(variant().root, "", nodes);
  const bool from_2_00 = variant().options.revision >= 0x0200;
  for (const auto& [path, node] : nodes) {
    if (path.empty() || is_stream(path) || !image().files.contains(path)) continue;
    SCOPED_TRACE(path);
    const UdfNode& n = node->link_to.empty() ? *node : *nodes.at(node->link_to);
    const NodeDetails& details = box.details(path);
    EXPECT_EQ(box.node(path).modified, timestamp_of(n.modified));
    EXPECT_EQ(details.accessed, timestamp_of(n.accessed));
    EXPECT_EQ(details.attributes_changed, timestamp_of(n.changed));
    if (n.extended_entry.value_or(variant().options.extended_entries.value_or(from_2_00))) {
      EXPECT_EQ(details.created, timestamp_of(n.created));
    }
    EXPECT_EQ(details.user, n.uid);
    EXPECT_EQ(details.group, n.gid);
    const std::uint32_t mode = path == "dated.txt" ? 07777 : 0555;  // 4/14.9.5: 0x7FFF and 0x14A5
    EXPECT_EQ(details.mode.value_or(0) & 07777, mode);
    EXPECT_EQ(box.node(path).has(node_flag::kHidden), n.hidden);
    EXPECT_FALSE(box.node(path).has(node_flag::kDeleted));
  }
}

class UdfSpecialVariants : public UdfVariants {};

TEST_P(UdfSpecialVariants, SpecialFiles) {
  const UdfBox box = open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  const auto target = [&](const char* path) { return std::string(box.tree().text(box.details(path).symlink_target)); };
  EXPECT_EQ(target("link"), "folder/b");
  EXPECT_EQ(target("link to above"), "../folder/./a");
  EXPECT_EQ(target("link from root"), "/folder");
  EXPECT_EQ(box.details("disk").device, std::uint64_t{8} << 32 | 17);
  EXPECT_EQ(box.details("terminal").device, std::uint64_t{4} << 32 | 64);
  EXPECT_EQ(box.details("disk").mode.value_or(0) & S_IFMT, static_cast<std::uint32_t>(S_IFBLK));
  EXPECT_EQ(box.details("pipe").mode.value_or(0) & S_IFMT, static_cast<std::uint32_t>(S_IFIFO));
  EXPECT_EQ(box.details("socket").mode.value_or(0) & S_IFMT, static_cast<std::uint32_t>(S_IFSOCK));
  EXPECT_EQ(box.details("photo.jpg").links, 2U);
  EXPECT_EQ(box.details("second name.jpg").serial, box.details("photo.jpg").serial);
  EXPECT_TRUE(box.node("secret.txt").has(node_flag::kHidden));
  // The attribute counts only where the entry itself has no time of creation (4/14.10.5 beside 4/14.17).
  const bool extended = variant().options.extended_entries.value_or(variant().options.revision >= 0x0200);
  const UdfTime own, attribute{120, 1998, 7, 6, 5, 4, 3, 2, 1, 0, 1};
  EXPECT_EQ(box.details("described.txt").created, timestamp_of(extended ? own : attribute));
}

TEST_P(UdfVariants, DeletedNamesOnRequest) {
  DiscOptions options = without_scan();
  options.deleted = true;
  const UdfBox box = open(options);
  ASSERT_TRUE(box.ok()) << box.error().message;
  std::set<std::string> expected;
  for (const auto& [path, file] : image().deleted) expected.insert(path);
  if ((variant().needs & kNeedsSpecial) != 0) {
    EXPECT_GE(expected.size(), 4U);
    expected.insert("deleted, zeroed.txt");
    EXPECT_EQ(box.state("deleted, zeroed.txt"), FileState::kUnlocated);
  }
  std::set<std::string> found;
  for (const auto& [path, id] : box.nodes()) {
    if (box.tree().node(id).has(node_flag::kDeleted)) found.insert(path);
  }
  EXPECT_EQ(found, expected);
  // What can be written again may have been; and below 2.00 identifiers don't tell whose entry they led to.
  const bool proven = variant().options.vat && variant().options.revision >= 0x0200;
  const FileState best = proven ? FileState::kWhole : FileState::kDoubtful;
  for (const auto& [path, file] : image().deleted) {
    SCOPED_TRACE(path);
    const NodeId id = box.must_find(path);
    if (kind_of(file.type) != NodeKind::kFile) continue;
    EXPECT_EQ(box.verdicts().of(id).state, best) << ::testing::PrintToString(box.doubts(id));
    EXPECT_TRUE(box.reads_as(id, file));
  }
  // And nothing of it otherwise.
  const UdfBox plain = open();
  for (const std::string& path : expected) EXPECT_FALSE(plain.find(path)) << path;
  EXPECT_GE(plain.disc().main_volume()->udf->deleted_names, expected.empty() ? 0U : 4U);
}

TEST_P(UdfVariants, StreamsOnRequest) {
  DiscOptions options = without_scan();
  options.streams = true;
  const UdfBox box = open(options);
  ASSERT_TRUE(box.ok()) << box.error().message;
  expect_files(box, image().files, "", true);
  std::uint64_t streams = 0;
  for (const auto& [path, file] : image().files) {
    streams += is_stream(path) && file.type != UdfType::kStreamDirectory ? 1 : 0;
  }
  EXPECT_EQ(box.disc().main_volume()->udf->named_streams, streams);
  EXPECT_EQ(open().disc().main_volume()->udf->named_streams, streams);
}

TEST_P(UdfVariants, EarlierStatesAreSessions) {
  const UdfOptions& o = variant().options;
  const std::size_t earlier = o.older_generations.size() + o.older_file_sets.size();
  {
    const UdfBox box = open();
    ASSERT_TRUE(box.ok()) << box.error().message;
    ASSERT_EQ(box.disc().sessions().size(), earlier + 1);
  }
  for (std::uint32_t number = 1; number <= earlier; ++number) {
    SCOPED_TRACE("session " + std::to_string(number));
    DiscOptions options = without_scan();
    options.session = number;
    const UdfBox box = open(options);
    ASSERT_TRUE(box.ok()) << box.error().message;
    expect_files(box, image().older.at(earlier - number), "", false);
    EXPECT_EQ(box.disc().sessions()[number - 1].source, SessionSource::kTable);
    EXPECT_TRUE(box.disc().sessions()[number - 1].in_tree);
  }
  DiscOptions options = without_scan();
  options.all_sessions = true;
  const UdfBox box = open(options);
  ASSERT_TRUE(box.ok()) << box.error().message;
  for (std::uint32_t number = 1; number <= earlier + 1; ++number) {
    SCOPED_TRACE("session " + std::to_string(number) + " of all");
    const std::string folder = "session-" + std::to_string(number);
    const auto& files = number == earlier + 1 ? image().files : image().older.at(earlier - number);
    expect_files(box, files, folder + "/", false);
  }
  options.all_sessions = false;
  options.session = static_cast<std::uint32_t>(earlier + 2);
  EXPECT_FALSE(open(options).ok());
}

TEST_P(UdfVariants, FactsOfTheVolume) {
  const UdfBox box = open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  const UdfOptions& o = variant().options;
  const Volume* volume = box.disc().main_volume();
  ASSERT_NE(volume, nullptr);
  ASSERT_TRUE(volume->udf.has_value());
  const UdfFacts& facts = *volume->udf;
  EXPECT_EQ(volume->view, View::kUdf);
  EXPECT_EQ(volume->volume_id, o.volume_id);
  EXPECT_EQ(volume->logical_block_bytes, o.block_bytes);
  EXPECT_EQ(facts.revision, o.revision);
  EXPECT_NE(facts.writer.find("Lacuna tests"), std::string::npos) << facts.writer;
  EXPECT_FALSE(facts.medium.empty());
  EXPECT_FALSE(facts.medium_why.empty());
  std::vector<std::string> kinds(o.partitions, o.sparable ? "sparable" : "physical"), found;
  if (o.vat) kinds.push_back("virtual");
  if (o.metadata) kinds.push_back("metadata");
  for (const UdfFacts::Map& m : facts.maps) found.push_back(m.kind);
  EXPECT_EQ(found, kinds);
  const std::uint64_t start_block = o.session_start + o.partition_at.value_or(o.sparable ? 288 : 257);
  EXPECT_EQ(facts.maps.front().start_lba, start_block * o.block_bytes / kSectorBytes);
  if (o.vat) {
    EXPECT_EQ(facts.table_generation, std::optional<std::uint32_t>(1 + o.older_generations.size()));
    EXPECT_FALSE(facts.closed.has_value()) << "the table stands for the integrity descriptor";
  } else {
    EXPECT_EQ(facts.closed, std::optional(o.closed));
    ASSERT_TRUE(facts.free_bytes.has_value());
    EXPECT_GE(*facts.free_bytes, std::uint64_t{o.free_blocks} * o.block_bytes);
    EXPECT_LT(*facts.free_bytes, image().bytes.size());
    EXPECT_FALSE(facts.table_generation.has_value());
    EXPECT_EQ(facts.integrity_recorded, timestamp_of({}));
  }
  if (!o.vat || o.revision >= 0x0200) {
    std::uint32_t files = 0, directories = 0;
    for (const auto& [path, file] : image().files) {
      if (is_stream(path)) continue;
      ++(kind_of(file.type) == NodeKind::kDirectory ? directories : files);
    }
    // A hard link is counted with its file.
    if ((variant().needs & kNeedsSpecial) != 0) --files;
    EXPECT_EQ(facts.files, std::optional(files));
    EXPECT_EQ(facts.directories, std::optional(directories));
  }
  EXPECT_EQ(box.disc().sessions().back().start_lba, image().first_byte / kSectorBytes);
}

LACUNA_FOR_ALL_UDF_VARIANTS(UdfVariants);
LACUNA_FOR_UDF_VARIANTS(UdfSpecialVariants, [](const UdfVariant& v) { return (v.needs & kNeedsSpecial) != 0; });

}  // namespace
}  // namespace lacuna::test

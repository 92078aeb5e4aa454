// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/udf_builder_variants.h"

namespace lacuna::test {
namespace {

constexpr UdfExtentType kUnrecorded = UdfExtentType::kUnrecorded;
constexpr UdfExtentType kUnallocated = UdfExtentType::kUnallocated;

UdfNode fragmented(std::string name, std::uint32_t seed, std::uint64_t bytes, std::uint32_t in_icb = 0,
                   std::uint32_t in_aed = 0) {
  UdfNode n = udf_file(std::move(name), udf_noise(seed, bytes));
  n.fragment_blocks = 1;
  n.ads_in_icb = in_icb;
  n.ads_in_aed = in_aed;
  return n;
}

UdfNode embedded(std::string name, std::uint32_t seed, std::uint64_t bytes) {
  UdfNode n = udf_file(std::move(name), udf_noise(seed, bytes));
  n.ads = UdfAds::kEmbedded;
  return n;
}

/// A file of the tree by its name, for changing it.
UdfNode& child(UdfNode& directory, const std::string& name) {
  for (UdfNode& n : directory.children) {
    if (n.name == name) return n;
  }
  directory.children.push_back(udf_file(name, ""));
  return directory.children.back();
}

UdfNode chained_tree() {
  UdfNode root = udf_plain_tree();
  UdfNode& letter = child(root, "letter.txt");
  letter.versions = {udf_file("", udf_noise(201, 700)), udf_file("", udf_noise(202, 4100))};
  child(root, "photo.jpg").strategy_4096 = true;
  return root;
}

/// A tree of sub-folders three generations old: files come, change, go.
UdfNode generation(int n) {
  UdfNode root = udf_plain_tree();
  root.children.push_back(udf_file("diary.txt", udf_noise(300 + static_cast<std::uint32_t>(n), 3000)));
  if (n == 0) root.children.push_back(udf_file("gone.txt", udf_noise(310, 2500)));
  if (n == 2) root.children.push_back(udf_directory("new", {udf_file("late.txt", udf_noise(311, 5000))}));
  return root;
}

}  // namespace

UdfNode udf_plain_tree() {
  UdfNode many = udf_directory("many");
  for (std::uint32_t i = 0; i < 150; ++i) {
    many.children.push_back(udf_file("entry number " + std::to_string(i) + ".txt", udf_noise(1000 + i, i % 7 + 1)));
  }
  UdfNode deep = udf_directory("deepest", {udf_file("bottom.txt", udf_noise(9, 2048))});
  for (const char* name : {"level4", "level3", "level2", "level1"}) deep = udf_directory(name, {std::move(deep)});
  return udf_directory(
      "", {udf_file("letter.txt", udf_noise(1, 900)), udf_file("photo.jpg", udf_noise(2, 50001)), udf_file("empty", ""),
           udf_file("two blocks", udf_noise(3, 4096)), embedded("small.txt", 4, 100),
           udf_file("grüße.txt", udf_noise(5, 1500)), udf_file("\xE6\x97\xA5\xE8\xAE\xB0.txt", udf_noise(6, 1501)),
           udf_directory("folder",
                         {udf_file("a", udf_noise(7, 1)), udf_directory("nothing"), udf_file("b", udf_noise(8, 9000))}),
           std::move(many), std::move(deep)});
}

UdfNode udf_special_tree(const UdfOptions& options) {
  const std::uint64_t block = options.block_bytes;
  const bool extended = options.extended_entries.value_or(options.revision >= 0x0200);
  UdfNode root = udf_plain_tree();
  const auto add = [&root](UdfNode n) -> UdfNode& { return root.children.emplace_back(std::move(n)); };

  UdfNode& holes = add(udf_file("holes.bin", udf_noise(20, 2 * block + 50)));
  holes.pieces = {{block, {}}, {3 * block, kUnallocated}, {block, {}}, {2 * block, kUnrecorded}, {50, {}}};
  UdfNode& giant = add(udf_file("giant.bin", udf_noise(21, block + 11)));
  giant.pieces = {{block, {}}, {std::uint64_t{5} << 30, kUnallocated}, {11, {}}};
  UdfNode& only_hole = add(udf_file("only a hole", ""));
  only_hole.pieces = {{10 * block, kUnallocated}};
  UdfNode& tail = add(udf_file("tail.bin", udf_noise(22, 2 * block)));
  tail.tail = {{4 * block, kUnrecorded}};
  add(fragmented("pieces.bin", 23, 9 * block + 5));
  add(fragmented("chain of aeds.bin", 24, 23 * block + 700, 4, 5));
  UdfNode& far = add(fragmented("many pieces.bin", 25, 150 * block));
  far.ads = UdfAds::kLong;

  add(udf_file("secret.txt", udf_noise(26, 777))).hidden = true;
  UdfNode& kept = add(udf_file("deleted, kept.txt", udf_noise(27, 3333)));
  kept.deleted = UdfDeleted::kIcbKept;
  UdfNode& renamed = add(udf_file("deleted, renamed.txt", udf_noise(28, 3334)));
  renamed.deleted = UdfDeleted::kIcbKept;
  renamed.deleted_name = true;
  UdfNode& zeroed = add(udf_file("deleted, zeroed.txt", udf_noise(29, 3335)));
  zeroed.deleted = UdfDeleted::kIcbZeroed;
  UdfNode& folder = add(udf_directory("deleted folder", {udf_file("inside.txt", udf_noise(30, 2222))}));
  folder.deleted = UdfDeleted::kIcbKept;
  UdfNode& link = add(udf_file("second name.jpg", ""));
  link.link_to = "photo.jpg";
  UdfNode& used = add(udf_file("with use.txt", udf_noise(31, 10)));
  used.identifier_use = std::string(1, '\0') + "*Lacuna tests" + std::string(18, '\0') + "four";
  used.name_bits = 16;

  add(udf_symlink("link", "folder/b"));
  add(udf_symlink("link to above", "../folder/./a"));
  add(udf_symlink("link from root", "/folder"));
  add(udf_device("disk", UdfType::kBlockDevice, 8, 17));
  add(udf_device("terminal", UdfType::kCharacterDevice, 4, 64));
  add(udf_file("pipe", "")).type = UdfType::kFifo;
  add(udf_file("socket", "")).type = UdfType::kSocket;
  add(udf_file("movie", udf_noise(32, 8 * block))).type = UdfType::kRealTimeFile;

  UdfNode& dated = add(udf_file("dated.txt", udf_noise(33, 40)));
  dated.modified = {-300, 1999, 12, 31, 23, 59, 58, 99, 99, 99, 1};
  dated.changed = {-2047, 2001, 2, 3, 4, 5, 6, 0, 0, 0, 1};
  dated.permissions = 0x7FFF;
  dated.icb_flags = 0x0040 | 0x0080 | 0x0100;  // Set-uid, set-gid, sticky.
  UdfNode& described = add(udf_file("described.txt", udf_noise(34, 41)));
  described.attributes = {udf_ea_file_time(1, {120, 1998, 7, 6, 5, 4, 3, 2, 1, 0, 1}),
                          udf_ea_information_time(1, {0, 1997, 1, 1, 0, 0, 0, 0, 0, 0, 0}),
                          udf_ea_implementation("*UDF FreeEASpace", std::string(2, '\0'), options.revision)};
  if (block >= 1024) described.attributes.push_back(udf_ea_application("*Lacuna tests", "for no program"));
  UdfNode& apart = add(udf_file("described elsewhere.txt", udf_noise(35, 42)));
  apart.icb_attributes = {udf_ea_implementation("*Lacuna tests", udf_noise(36, 62), options.revision)};

  UdfNode& scattered = add(udf_directory("scattered"));
  scattered.fragment_blocks = 1;
  for (std::uint32_t i = 0; i < 4 * block / 100; ++i) {
    scattered.children.push_back(udf_file("a name that is so long that few fit, " + std::to_string(i), ""));
  }
  if (extended) {
    UdfNode& streamed = add(udf_file("streamed.txt", udf_noise(40, 5000)));
    streamed.streams = {udf_file("comment", udf_noise(41, 300)), udf_file("thumbnail", udf_noise(42, 7000))};
    UdfNode& streamed_folder = add(udf_directory("streamed folder", {udf_file("x", udf_noise(43, 33))}));
    streamed_folder.streams = {udf_file("icon", udf_noise(44, 3000))};
  }
  return root;
}

std::vector<UdfVariant> udf_variants() {
  std::vector<UdfVariant> all;
  const auto add = [&all](std::string name, unsigned needs, UdfNode root, const UdfOptions& o) {
    all.push_back({std::move(name), needs, std::move(root), o});
  };
  const auto with = [](std::uint16_t revision, auto&& change) {
    UdfOptions o;
    o.revision = revision;
    change(o);
    return o;
  };
  const auto nothing = [](UdfOptions&) {};

  for (const std::uint16_t revision : std::initializer_list<std::uint16_t>{0x0102, 0x0150, 0x0200, 0x0201}) {
    const std::string name = "plain " + std::to_string(revision >> 8) + "." + std::to_string(revision >> 4 & 15) +
                             std::to_string(revision & 15);
    add(name, 0, udf_plain_tree(), with(revision, nothing));
  }
  for (const std::uint32_t bytes : {512u, 1024u, 4096u}) {
    const UdfOptions o = with(0x0201, [&](UdfOptions& v) { v.block_bytes = bytes; });
    add("blocks of " + std::to_string(bytes), kNeedsBlockSize, udf_plain_tree(), o);
    add("special, blocks of " + std::to_string(bytes), kNeedsBlockSize | kNeedsSpecial, udf_special_tree(o), o);
  }
  for (const std::uint16_t revision : std::initializer_list<std::uint16_t>{0x0102, 0x0201}) {
    const UdfOptions o = with(revision, nothing);
    add(revision == 0x0102 ? "special 1.02" : "special 2.01", kNeedsSpecial, udf_special_tree(o), o);
  }
  const auto long_ads = with(0x0201, [](UdfOptions& o) { o.space = UdfOptions::Space::kTable, o.closed = false; });
  UdfNode long_root = udf_plain_tree();
  for (UdfNode& n : long_root.children) {
    if (n.ads == UdfAds::kAuto) n.ads = UdfAds::kLong;
  }
  add("long descriptors, table of free space, left open", 0, std::move(long_root), long_ads);
  UdfNode extended_root = udf_plain_tree();
  for (UdfNode& n : extended_root.children) {
    if (n.ads == UdfAds::kAuto) n.ads = UdfAds::kExtended;
  }
  add("extended descriptors", kNeedsExtended, std::move(extended_root), with(0x0201, nothing));
  add("embedded directories, file entries", 0, udf_plain_tree(), with(0x0201, [](UdfOptions& o) {
        o.embedded_directories = true, o.extended_entries = false, o.older_integrity = 2;
      }));
  add("continued sequences", 0, udf_plain_tree(),
      with(0x0201, [](UdfOptions& o) { o.continue_after = 3, o.main_number = 7, o.reserve_number = 8; }));
  add("anchor only at 512", kNeedsSearch, udf_plain_tree(), with(0x0201, [](UdfOptions& o) { o.anchors = {512}; }));
  add("system streams", 0, udf_plain_tree(),
      with(0x0201, [](UdfOptions& o) { o.system_streams = {udf_file("*UDF Backup", udf_noise(50, 100))}; }));
  add("file sets", kNeedsSets, udf_plain_tree(), with(0x0201, [](UdfOptions& o) {
        o.older_file_sets = {udf_directory("", {udf_file("old.txt", udf_noise(51, 2100))})};
      }));
  add("file sets, the last elsewhere", kNeedsSets, udf_plain_tree(), with(0x0201, [](UdfOptions& o) {
        o.older_file_sets = {udf_directory("", {udf_file("old.txt", udf_noise(51, 2100))})};
        o.file_set_elsewhere = true;
      }));
  UdfNode two = udf_plain_tree();
  for (UdfNode& n : two.children) {
    if (n.name == "photo.jpg" || n.name == "letter.txt") n.partition = 1;
    if (n.name == "letter.txt") n.icb_there = true;
  }
  add("two partitions", kNeedsSets, std::move(two), with(0x0201, [](UdfOptions& o) { o.partitions = 2; }));
  add("session at 5000", kNeedsSession, udf_plain_tree(), with(0x0201, [](UdfOptions& o) { o.session_start = 5000; }));

  add("strategy 4096", kNeedsChains, chained_tree(), with(0x0150, nothing));
  add("strategy 4096 everywhere, terminal entries", kNeedsChains, chained_tree(),
      with(0x0201, [](UdfOptions& o) { o.strategy_4096 = true, o.terminal_entries = true; }));

  for (const std::uint16_t revision : std::initializer_list<std::uint16_t>{0x0150, 0x0201, 0x0260}) {
    const std::string name = revision == 0x0150 ? "1.50" : revision == 0x0201 ? "2.01" : "2.60";
    const auto vat = [&](auto&& change) {
      return with(revision, [&](UdfOptions& o) {
        o.vat = true;
        o.anchors = {256, -257};
        change(o);
      });
    };
    add("VAT " + name, kNeedsMap, udf_plain_tree(), vat(nothing));
    const UdfOptions special = vat([](UdfOptions& o) { o.vat_embedded = true; });
    add("VAT embedded, special " + name, kNeedsMap | kNeedsSpecial, udf_special_tree(special), special);
    add("VAT generations " + name, kNeedsMap, generation(2), vat([](UdfOptions& o) {
          o.older_generations = {generation(0), generation(1)};
        }));
    add("VAT before the end " + name, kNeedsMap | kNeedsSearch, udf_plain_tree(),
        vat([](UdfOptions& o) { o.vat_before_end = 7; }));
  }

  for (const std::uint16_t revision : std::initializer_list<std::uint16_t>{0x0150, 0x0201}) {
    const std::string name = revision == 0x0150 ? "1.50" : "2.01";
    const UdfOptions o = with(revision, [](UdfOptions& v) {
      v.sparable = true;
      v.relocated_packets = {0, 1, 3, 5};
      v.sparing_sequences = {4, 6, 5};
      v.older_tables_lack = 2;
    });
    add("sparable " + name, kNeedsMap, udf_plain_tree(), o);
    UdfOptions newest_first = o;  // For readers that take the first table, whatever its number.
    newest_first.sparing_sequences = {6, 4, 5};
    add("sparable, newest table first " + name, kNeedsMap, udf_plain_tree(), newest_first);
    add("sparable, special " + name, kNeedsMap | kNeedsSpecial, udf_special_tree(o), o);
  }

  for (const std::uint16_t revision : std::initializer_list<std::uint16_t>{0x0250, 0x0260}) {
    const std::string name = revision == 0x0250 ? "2.50" : "2.60";
    const UdfOptions o = with(revision, [](UdfOptions& v) { v.metadata = true; });
    add("metadata " + name, kNeedsMetadata, udf_plain_tree(), o);
    add("metadata, special " + name, kNeedsMetadata | kNeedsSpecial, udf_special_tree(o), o);
    add("metadata in one extent " + name, kNeedsMetadata, udf_plain_tree(),
        with(revision, [](UdfOptions& v) { v.metadata = true, v.metadata_unit_blocks = 512; }));
    add("metadata, one copy " + name, kNeedsMetadata, udf_plain_tree(), with(revision, [](UdfOptions& v) {
          v.metadata = true, v.metadata_duplicate = false, v.metadata_bitmap = false, v.metadata_unit_blocks = 8;
        }));
  }
  add("metadata on a sparable partition", kNeedsMetadata | kNeedsMap, udf_plain_tree(), with(0x0250, [](UdfOptions& v) {
        v.metadata = true, v.sparable = true, v.relocated_packets = {0, 2, 7};
      }));
  return all;
}

}  // namespace lacuna::test

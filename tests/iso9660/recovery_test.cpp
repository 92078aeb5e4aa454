// SPDX-License-Identifier: GPL-3.0-or-later
// What is found again when structures of one class after the other are lost. Images are built byte by byte.
#include <gmock/gmock.h>

#include "iso9660/reading.h"

namespace lacuna::test {
namespace {

using testing::AllOf;
using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;

/// /DOCS/A.TXT, /DOCS/OLD/D.TXT, /PICS/C.JPG, /TOP.TXT, in both views.
IsoNode tree() {
  IsoNode old = iso_directory("OLD", {iso_file("D.TXT;1", bytes(2500, 'd'))});
  IsoNode root =
      iso_directory("", {iso_directory("DOCS", {iso_file("A.TXT;1", bytes(3000, 'a')), old}),
                         iso_directory("PICS", {iso_file("C.JPG;1", bytes(9000, 'c'))}), iso_file("TOP.TXT;1", "top")});
  root.children[0].joliet_id = ucs2("documents");
  root.children[0].children[0].joliet_id = ucs2("first letter.txt");
  root.children[0].children[1].joliet_id = ucs2("old ones");
  root.children[0].children[1].children[0].joliet_id = ucs2("draft.txt");
  root.children[1].joliet_id = ucs2("pictures");
  root.children[1].children[0].joliet_id = ucs2("harbour.jpg");
  root.children[2].joliet_id = ucs2("top of all.txt");
  return root;
}

IsoOptions joliet() {
  IsoOptions options;
  options.joliet_escape = "%/E";
  return options;
}

struct Loss {
  std::uint64_t first = 0, count = 1;
};
Loss lost(const IsoPlace& place) { return {place.extent / kSector, (place.bytes + kSector - 1) / kSector}; }
Loss lost(const IsoImage& iso, const char* structure) { return {iso.structures.at(structure) / kSector}; }
Loss head(const IsoImage& iso) { return {0, iso.structures.at("terminator") / kSector + 1}; }

Reading read(const IsoImage& iso, const std::vector<Loss>& losses, const DiscOptions& options = {}) {
  return Reading(iso, options, [&](MemoryImage& m) {
    for (const Loss& l : losses) m.mark(l.first, l.count, SectorState::kBad);
  });
}

const std::vector<std::string> kPlainPaths{"DOCS", "DOCS/A.TXT", "DOCS/OLD", "DOCS/OLD/D.TXT",
                                           "PICS", "PICS/C.JPG", "TOP.TXT"};
const std::vector<std::string> kJolietPaths{
    "documents", "documents/first letter.txt", "documents/old ones", "documents/old ones/draft.txt",
    "pictures",  "pictures/harbour.jpg",       "top of all.txt"};

// ---- descriptors

TEST(Recovery, AllDescriptorsLost) {
  const IsoImage plain = build_iso(tree());
  const Reading disc = read(plain, {head(plain)});
  EXPECT_EQ(disc.paths(), kPlainPaths);
  EXPECT_EQ(disc.state("DOCS/OLD/D.TXT"), FileState::kWhole);
  EXPECT_EQ(disc.node("DOCS/A.TXT").evidence, Evidence::kScan);
  EXPECT_EQ(disc.findings("descriptor-lost"), 1u);
  ASSERT_EQ(disc.disc().sessions().size(), 1u);
  EXPECT_EQ(disc.disc().sessions()[0].source, SessionSource::kScan);
  EXPECT_EQ(disc.disc().sessions()[0].start_lba, 0u);

  const IsoImage two = build_iso(tree(), joliet());
  const Reading both = read(two, {head(two)});
  EXPECT_EQ(both.paths(), kJolietPaths);
  EXPECT_EQ(both.state("pictures/harbour.jpg"), FileState::kWhole);
  EXPECT_EQ(both.tree().text(both.node("documents").names[static_cast<std::size_t>(View::kIso9660)]), "DOCS");
}

TEST(Recovery, SmallBlocksAreSeenWithoutADescriptor) {  // 6.2.2
  for (const std::uint32_t block : {512u, 1024u}) {
    IsoOptions options;
    options.block_bytes = block;
    const IsoImage iso = build_iso(tree(), options);
    const Reading disc = read(iso, {head(iso)});
    EXPECT_EQ(disc.paths(), kPlainPaths) << block;
    EXPECT_EQ(disc.tree().extents(disc.node("PICS/C.JPG"))[0].position, iso.primary.at("PICS/C.JPG;1").extent);
  }
}

TEST(Recovery, OneOfTwoDescriptorsLost) {
  const IsoImage iso = build_iso(tree(), joliet());
  const Reading without_joliet = read(iso, {lost(iso, "joliet")});
  EXPECT_EQ(without_joliet.paths(), kJolietPaths);
  const Reading without_primary = read(iso, {lost(iso, "primary")});
  EXPECT_EQ(without_primary.paths(), kJolietPaths);
  EXPECT_EQ(without_primary.disc().sessions()[0].source, SessionSource::kFirst);
}

// ---- directories

TEST(Recovery, RootLost) {
  const IsoImage iso = build_iso(tree());
  const Reading disc = read(iso, {lost(iso.primary.at(""))});
  EXPECT_THAT(disc.paths(), ElementsAre("DOCS", "DOCS/A.TXT", "DOCS/OLD", "DOCS/OLD/D.TXT", "PICS", "PICS/C.JPG"));
  EXPECT_EQ(disc.node("DOCS").evidence, Evidence::kPathTable);
  EXPECT_EQ(disc.state("PICS/C.JPG"), FileState::kWhole);

  const IsoImage two = build_iso(tree(), joliet());
  const Reading one_view = read(two, {lost(two.primary.at(""))});
  EXPECT_EQ(one_view.paths(), kJolietPaths);
  const Reading other_view = read(two, {lost(two.joliet.at(""))});
  EXPECT_THAT(other_view.paths(),
              ElementsAre("TOP.TXT", "documents", "documents/first letter.txt", "documents/old ones",
                          "documents/old ones/draft.txt", "pictures", "pictures/harbour.jpg"));
  const Reading no_view = read(two, {lost(two.primary.at("")), lost(two.joliet.at(""))});
  EXPECT_THAT(no_view.paths(), ElementsAre("documents", "documents/first letter.txt", "documents/old ones",
                                           "documents/old ones/draft.txt", "pictures", "pictures/harbour.jpg"));
}

TEST(Recovery, RootAndDescriptorsLost) {  // 6.9.1: the path table begins with the root
  const IsoImage iso = build_iso(tree());
  const Reading disc = read(iso, {head(iso), lost(iso.primary.at(""))});
  EXPECT_THAT(disc.paths(), ElementsAre("DOCS", "DOCS/A.TXT", "DOCS/OLD", "DOCS/OLD/D.TXT", "PICS", "PICS/C.JPG"));
  EXPECT_EQ(disc.findings("root-lost"), 1u);

  // Without path tables nothing names what hung on the root; that both hung on one directory shows.
  const Reading bare = read(iso, {head(iso), lost(iso.primary.at("")), lost(iso, "path L"), lost(iso, "path M")});
  const auto at = [&](const char* path) { return std::to_string(iso.primary.at(path).extent / kSector); };
  const std::string root = "_orphans/directory-at-" + at(""), docs = root + "/directory-at-" + at("DOCS"),
                    pics = root + "/directory-at-" + at("PICS");
  EXPECT_THAT(bare.paths(), ElementsAre("_orphans", root, docs, docs + "/A.TXT", docs + "/OLD", docs + "/OLD/D.TXT",
                                        pics, pics + "/C.JPG"));
  EXPECT_TRUE(bare.node(docs).has(node_flag::kNameMade));
  EXPECT_FALSE(bare.node(docs + "/OLD").has(node_flag::kNameMade));
  // All is there, but nothing tells this from what an earlier use of the disc left.
  EXPECT_EQ(bare.state(docs + "/OLD/D.TXT"), FileState::kDoubtful);
}

// A directory of an earlier use of the disc, whose parent is lost. The place of its file belongs to another one by now,
// which nothing names any more: called whole, the file would be a false one.
TEST(Recovery, AStrayDirectoryMakesNoFileWhole) {
  IsoNode many = iso_directory("NEW");
  for (int i = 0; i < 40; ++i)
    many.children.push_back(iso_file("F" + std::to_string(100 + i) + ";1", bytes(5000, 'f')));
  IsoImage now = build_iso(iso_directory("", {many}));
  IsoImage old = build_iso(iso_directory("", {iso_directory("OLD", {iso_file("STALE.TXT;1", bytes(4000, 'o'))})}));
  const std::uint64_t at = now.end_lba(), lost_parent = at + 2;
  now.bytes.resize(now.bytes.size() + 4 * kSector);
  const auto stray = now.at(at * kSector).first(kSector);
  std::ranges::copy(old.at(old.primary.at("OLD").extent).first(kSector), stray.begin());
  put_both32(stray, 2, static_cast<std::uint32_t>(at));
  put_both32(stray.subspan(stray[0]), 2, static_cast<std::uint32_t>(lost_parent));
  const std::size_t record = stray[0] + std::size_t{stray[stray[0]]};
  put_both32(stray.subspan(record), 2, static_cast<std::uint32_t>(now.primary.at("NEW/F105;1").extent / kSector));
  put_both32(now.at(now.structures.at("primary")), 80, static_cast<std::uint32_t>(now.end_lba()));  // 8.4.8
  const Reading disc = read(now, {lost(now.primary.at("NEW")), {lost_parent}});
  const std::string path =
      "_orphans/directory-at-" + std::to_string(lost_parent) + "/directory-at-" + std::to_string(at) + "/STALE.TXT";
  EXPECT_EQ(disc.state(path), FileState::kDoubtful);
}

TEST(Recovery, EveryDirectoryOfOneViewLost) {
  const IsoImage iso = build_iso(tree(), joliet());
  std::vector<Loss> primary, supplementary;
  for (const char* path : {"", "DOCS", "DOCS/OLD", "PICS"}) {
    primary.push_back(lost(iso.primary.at(path)));
    supplementary.push_back(lost(iso.joliet.at(path)));
  }
  const Reading joliet_left = read(iso, primary);
  // That DOCS is what Joliet calls documents is told by nothing that is left.
  EXPECT_THAT(joliet_left.paths(), testing::IsSupersetOf(kJolietPaths));
  EXPECT_EQ(joliet_left.paths().size(), kJolietPaths.size() + 3);
  EXPECT_EQ(joliet_left.state("top of all.txt"), FileState::kWhole);
  const Reading primary_left = read(iso, supplementary);
  EXPECT_THAT(primary_left.paths(), testing::IsSupersetOf(kPlainPaths));
  EXPECT_THAT(primary_left.paths(), AllOf(Contains("documents/old ones"), Contains("pictures")));
  EXPECT_EQ(primary_left.paths().size(), kPlainPaths.size() + 3);
}

TEST(Recovery, DirectoryInTheMiddleLost) {
  const IsoImage iso = build_iso(tree());
  const Reading disc = read(iso, {lost(iso.primary.at("DOCS"))});
  EXPECT_THAT(disc.paths(), ElementsAre("DOCS", "DOCS/OLD", "DOCS/OLD/D.TXT", "PICS", "PICS/C.JPG", "TOP.TXT"));
  EXPECT_EQ(disc.node("DOCS/OLD").evidence, Evidence::kPathTable);

  // Without path tables its place is known by "..", its name by nothing.
  const Reading unnamed = read(iso, {lost(iso.primary.at("DOCS")), lost(iso, "path L"), lost(iso, "path M")});
  const std::string old = "DOCS/directory-at-" + std::to_string(iso.primary.at("DOCS/OLD").extent / kSector);
  EXPECT_THAT(unnamed.paths(), ElementsAre("DOCS", old, old + "/D.TXT", "PICS", "PICS/C.JPG", "TOP.TXT"));
  EXPECT_EQ(unnamed.node(old).evidence, Evidence::kScan);

  // One copy of the table is enough, whichever.
  for (const char* table : {"path L", "path M"}) {
    EXPECT_EQ(read(iso, {lost(iso.primary.at("DOCS")), lost(iso, table)}).paths(), disc.paths()) << table;
  }
}

TEST(Recovery, PathTablesAloneLeft) {
  const IsoImage iso = build_iso(tree());
  std::vector<Loss> losses{head(iso)};
  for (const char* path : {"", "DOCS", "DOCS/OLD", "PICS"}) losses.push_back(lost(iso.primary.at(path)));
  const Reading disc = read(iso, losses);
  EXPECT_THAT(disc.paths(), ElementsAre("DOCS", "DOCS/OLD", "PICS"));
  EXPECT_EQ(disc.node("DOCS/OLD").evidence, Evidence::kPathTable);
  EXPECT_TRUE(disc.node("DOCS/OLD").has(node_flag::kUnread));
  EXPECT_EQ(disc.disc().lost_directories().size(), 4u);
}

IsoNode long_directory() {
  IsoNode many = iso_directory("MANY");
  for (int i = 100; i < 200; ++i) {
    many.children.push_back(
        iso_file("FILE" + std::to_string(i) + ".TXT;1", bytes(100, static_cast<char>('a' + i % 20))));
  }
  return iso_directory("", {many});
}

TEST(Recovery, BeginningOfADirectoryLost) {
  const IsoImage iso = build_iso(long_directory());
  ASSERT_EQ(iso.primary.at("MANY").bytes, 3 * kSector);
  const std::uint64_t at = iso.primary.at("MANY").extent / kSector;
  const std::string last = "/FILE199.TXT";

  const Reading listed = read(iso, {{at}});
  EXPECT_EQ(listed.state("MANY" + last), FileState::kWhole);  // the record in the root has place and length

  const Reading by_table = read(iso, {{at}, lost(iso.primary.at(""))});
  EXPECT_THAT(by_table.paths(), Contains("MANY" + last));
  EXPECT_EQ(by_table.paths(), listed.paths());
  EXPECT_EQ(by_table.state("MANY" + last), FileState::kDoubtful);

  const Reading orphans = read(iso, {{at}, lost(iso.primary.at("")), lost(iso, "path L"), lost(iso, "path M")});
  const std::string made = "_orphans/directory-at-" + std::to_string(at + 1);
  EXPECT_THAT(orphans.paths(), Contains(made + last));
  EXPECT_EQ(orphans.state(made + last), FileState::kDoubtful);
  EXPECT_EQ(orphans.paths().size(), listed.paths().size() + 1);
}

TEST(Recovery, RelocatedDirectoryWithoutItsParents) {  // RRIP 4.1.5
  const std::uint32_t kDirectory = 0040755;
  IsoNode moved = iso_directory("MOVED", {iso_file("F.TXT;1", bytes(2100))});
  moved.children[0].system_use = rrip_px(0100644) + rrip_nm("f.txt");
  moved.system_use = rrip_px(kDirectory) + rrip_nm("moved") + rrip_re();
  moved.self_system_use = rrip_px(kDirectory);
  moved.parent_system_use = rrip_px(kDirectory) + rrip_pl(0);
  IsoNode link = iso_file("MOVED", "");
  link.system_use = rrip_px(kDirectory) + rrip_nm("moved") + rrip_cl(0);
  IsoNode deep = iso_directory("DEEP", {link});
  deep.system_use = rrip_px(kDirectory) + rrip_nm("deep");
  IsoNode collects = iso_directory("RR_MOVED", {moved});
  collects.system_use = rrip_px(kDirectory) + rrip_nm("rr_moved");
  IsoNode root = iso_directory("", {deep, collects});
  root.self_system_use = susp_sp() + rrip_px(kDirectory) + susp_er();
  IsoImage iso = build_iso(root);
  const auto block = [&](const char* path) {
    return static_cast<std::uint32_t>(iso.primary.at(path).extent / kSector);
  };
  const std::size_t px = rrip_px(0).size();
  put_both32(iso.at(iso.primary.at("DEEP/MOVED").system_use), px + rrip_nm("moved").size() + 4,
             block("RR_MOVED/MOVED"));
  put_both32(iso.at(iso.primary.at("RR_MOVED/MOVED").extent), 34 + px + 34 + px + 4, block("DEEP"));

  EXPECT_THAT(read(iso, {}).paths(), ElementsAre("deep", "deep/moved", "deep/moved/f.txt", "rr_moved"));
  // The directory with the CL entry lost: PL leads back to it.
  EXPECT_THAT(read(iso, {lost(iso.primary.at("DEEP"))}).paths(),
              ElementsAre("deep", "deep/moved", "deep/moved/f.txt", "rr_moved"));
  // Both lost: the name by the path table.
  EXPECT_THAT(read(iso, {lost(iso.primary.at("DEEP")), lost(iso.primary.at("RR_MOVED"))}).paths(),
              ElementsAre("deep", "deep/MOVED", "deep/MOVED/f.txt", "rr_moved"));
}

TEST(Recovery, HalvesAreRepairedByWhatStands) {  // 9.1.3
  IsoImage iso = build_iso(tree());
  const auto record = iso.at(iso.primary.at("DOCS").record);
  put_le32(record, 2, 300);  // neither half says which is right; the directory does
  const Reading disc = read(iso, {});
  EXPECT_EQ(disc.paths(), kPlainPaths);
  EXPECT_EQ(disc.findings("extent-repaired"), 1u);
  // Not the directory, but the path table.
  const Reading table = read(iso, {lost(iso.primary.at("DOCS"))});
  EXPECT_EQ(table.findings("extent-repaired"), 1u);
  EXPECT_EQ(table.disc().lost_directories()[0].position, iso.primary.at("DOCS").extent);
}

TEST(Recovery, AGarbledRecordDoesNotTakeItsNeighbours) {
  IsoImage iso = build_iso(long_directory());
  for (std::size_t i = 0; i < 40; ++i) iso.at(iso.primary.at("MANY/FILE110.TXT;1").record)[i] = 0xa5;
  const Reading disc = read(iso, {});
  EXPECT_EQ(disc.paths().size(), 100u);  // one of a hundred files is lost
  EXPECT_THAT(disc.paths(),
              AllOf(Contains("MANY/FILE109.TXT"), Contains("MANY/FILE111.TXT"), Not(Contains("MANY/FILE110.TXT"))));
  EXPECT_EQ(disc.state("MANY/FILE111.TXT"),
            FileState::kDoubtful);  // the lost record may be its first section's (9.1.6)
  EXPECT_EQ(disc.state("MANY/FILE112.TXT"), FileState::kWhole);
}

// ---- where the image starts

TEST(Recovery, ImageThatStartsLate) {
  const IsoImage iso = build_iso(tree(), joliet());
  IsoImage late = iso;
  ASSERT_EQ(iso.primary.at("").extent, 19 * kSector);
  late.bytes.erase(late.bytes.begin(), late.bytes.begin() + 19 * kSector);
  late.start_lba = 19;
  const Reading told = read(late, {});
  EXPECT_EQ(told.paths(), kJolietPaths);
  EXPECT_EQ(told.state("pictures/harbour.jpg"), FileState::kWhole);

  late.start_lba = 0;
  const Reading found = read(late, {});
  ASSERT_TRUE(found.ok());
  EXPECT_EQ(found.paths(), kJolietPaths);
  EXPECT_EQ(found.state("pictures/harbour.jpg"), FileState::kWhole);
  EXPECT_EQ(found.tree().extents(found.node("pictures/harbour.jpg"))[0].position,
            iso.primary.at("PICS/C.JPG;1").extent - 19 * kSector);
  ASSERT_EQ(found.findings("shifted"), 1u);
  for (const Finding& f : found.disc().findings().list()) {
    if (f.kind == "shifted") {
      EXPECT_THAT(f.text, HasSubstr("--starts-at 19"));
    }
  }

  // So late that the root is gone too.
  IsoImage later = build_iso(tree());
  const std::uint64_t cut = later.primary.at("DOCS").extent / kSector;
  later.bytes.erase(later.bytes.begin(), later.bytes.begin() + static_cast<std::ptrdiff_t>(cut * kSector));
  const Reading rest = read(later, {});
  ASSERT_TRUE(rest.ok());
  EXPECT_THAT(rest.paths(), ElementsAre("DOCS", "DOCS/A.TXT", "DOCS/OLD", "DOCS/OLD/D.TXT", "PICS", "PICS/C.JPG"));
  EXPECT_EQ(rest.state("DOCS/OLD/D.TXT"), FileState::kWhole);
}

// ---- sessions and earlier uses

IsoImage joined(const IsoImage& first, const IsoImage& second) {
  IsoImage all = first;
  all.bytes.resize(second.start_lba * kSector);
  all.bytes.insert(all.bytes.end(), second.bytes.begin(), second.bytes.end());
  return all;
}

IsoNode dated(IsoNode n, std::uint8_t year) {
  n.date.year = year;
  for (IsoNode& child : n.children) child = dated(child, year);
  return n;
}

TEST(Recovery, LastSessionWithoutDescriptors) {
  IsoNode changed = dated(tree(), 108);
  changed.children[0].children[0].content = bytes(5000, 'n');
  IsoOptions options;
  options.start_lba = 200;
  const IsoImage second = build_iso(changed, options);
  const IsoImage iso = joined(build_iso(tree()), second);
  DiscOptions always;
  always.scan = ScanMode::kAlways;
  const Reading disc = read(iso, {{216, 2}}, always);
  EXPECT_EQ(disc.paths(), kPlainPaths);
  ASSERT_EQ(disc.disc().sessions().size(), 2u);
  EXPECT_EQ(disc.disc().sessions()[1].source, SessionSource::kScan);
  EXPECT_TRUE(disc.disc().sessions()[1].in_tree);
  EXPECT_EQ(disc.node("DOCS/A.TXT").size, 5000u);
  EXPECT_EQ(disc.tree().extents(disc.node("DOCS/A.TXT"))[0].position, second.primary.at("DOCS/A.TXT;1").extent);
  EXPECT_EQ(disc.state("DOCS/A.TXT"), FileState::kWhole);

  always.session = 1;
  EXPECT_EQ(read(iso, {{216, 2}}, always).node("DOCS/A.TXT").size, 3000u);

  // A directory that the second session lost is not replaced by the first one's, but for what only that has.
  always.session.reset();
  const Reading hurt = read(iso, {{216, 2}, lost(second.primary.at("DOCS"))}, always);
  EXPECT_EQ(hurt.node("DOCS/OLD").evidence, Evidence::kPathTable);
}

TEST(Recovery, DiscUsedTwice) {
  IsoOptions options;
  options.start_lba = 200;
  IsoImage older = build_iso(dated(tree(), 99), options);
  const IsoNode newer = iso_directory("", {iso_directory("NEW", {iso_file("N.TXT;1", bytes(100))})});
  for (std::uint64_t lba = 216; lba < 218; ++lba) older.at(lba * kSector)[1] = 0;  // overwritten descriptors
  DiscOptions always;
  always.scan = ScanMode::kAlways;
  const Reading disc = read(joined(build_iso(newer), older), {}, always);
  EXPECT_THAT(disc.paths(), ElementsAre("NEW", "NEW/N.TXT"));
  EXPECT_EQ(disc.findings("earlier-volume"), 1u);
  ASSERT_EQ(disc.disc().sessions().size(), 2u);
  EXPECT_EQ(disc.disc().sessions()[0].source, SessionSource::kScan);
  EXPECT_TRUE(disc.disc().sessions()[1].in_tree);
  always.session = 1;
  const Reading earlier = read(joined(build_iso(newer), older), {}, always);
  EXPECT_EQ(earlier.paths(), kPlainPaths);
  EXPECT_EQ(earlier.node("PICS/C.JPG").evidence, Evidence::kScan);

  // The older root overwritten: what hung on it is apart all the same, even when the newer one is hurt.
  for (std::size_t i = 0; i < kSector; ++i) older.at(older.primary.at("").extent)[i] = 0x11;
  always.session.reset();
  EXPECT_THAT(read(joined(build_iso(newer), older), {}, always).paths(), ElementsAre("NEW", "NEW/N.TXT"));
  always.session = 1;
  EXPECT_THAT(read(joined(build_iso(newer), older), {}, always).paths(), Contains(testing::EndsWith("/OLD/D.TXT")));
}

// ---- false friends

TEST(Recovery, StoredImageIsNeverPartOfTheTree) {
  const IsoImage inner = build_iso(tree(), joliet());
  IsoNode root = iso_directory("", {iso_directory("BACKUP", {iso_file("DISC.ISO;1", "")}), iso_directory("OTHER")});
  root.children[0].children[0].content.assign(inner.bytes.begin(), inner.bytes.end());
  const IsoImage iso = build_iso(root);
  DiscOptions always;
  always.scan = ScanMode::kAlways;
  EXPECT_THAT(read(iso, {}, always).paths(), ElementsAre("BACKUP", "BACKUP/DISC.ISO", "OTHER"));
  // Also when the directory that lists it is lost, and the image's own first directories with it.
  const std::uint64_t stored = iso.primary.at("BACKUP/DISC.ISO;1").extent / kSector;
  const Reading hurt = read(iso, {lost(iso.primary.at("BACKUP"))});
  EXPECT_THAT(hurt.paths(), ElementsAre("BACKUP", "OTHER"));
  EXPECT_EQ(hurt.findings("stored-image"), 1u);
  const Reading more = read(iso, {lost(iso.primary.at("BACKUP")), {stored + inner.primary.at("").extent / kSector}});
  EXPECT_THAT(more.paths(), ElementsAre("BACKUP", "OTHER"));
  // With nothing of the disc's own tree left there is still no other tree in its place.
  const Reading none = read(iso, {{0, stored}});
  EXPECT_FALSE(none.ok());
}

TEST(Recovery, DirectoriesThatNameEachOther) {
  IsoImage iso = build_iso(iso_directory("", {iso_directory("A")}));
  const std::uint64_t first = iso.end_lba();
  constexpr std::uint32_t kMany = 3000;
  iso.bytes.resize(iso.bytes.size() + kMany * kSector);
  for (std::uint32_t i = 0; i < kMany; ++i) {
    const auto own = static_cast<std::uint32_t>(first + i);
    const auto next = static_cast<std::uint32_t>(first + (i + 1) % kMany);
    const auto sector = iso.at(own * kSector);
    for (const std::size_t at : {std::size_t{0}, std::size_t{34}}) {
      sector[at] = 34;
      put_both32(sector, at + 2, at == 0 ? own : next);
      put_both32(sector, at + 10, 2048);
      sector[at + 18] = 104, sector[at + 19] = 1, sector[at + 20] = 1, sector[at + 25] = 2;
      sector[at + 32] = 1;
      sector[at + 33] = at == 0 ? 0 : 1;
    }
  }
  put_both32(iso.at(iso.structures.at("primary")), 80, static_cast<std::uint32_t>(iso.end_lba()));
  const Reading whole = read(iso, {});
  EXPECT_THAT(whole.paths(), ElementsAre("A"));  // nothing is missing
  const Reading disc = read(iso, {lost(iso.primary.at("A"))});
  EXPECT_EQ(disc.findings("directory-loop"), 1u);
  // The others' parents were read in full and don't name them.
  EXPECT_THAT(disc.paths(), ElementsAre("A", "_orphans", "_orphans/directory-at-" + std::to_string(first)));
}

// ---- boot

TEST(Recovery, BootCatalogWithoutItsRecord) {  // El Torito 1.0, 2.1
  std::string catalog(64, '\0');
  catalog[0] = 1;
  catalog[30] = '\x55';
  catalog[31] = '\xaa';
  catalog[28] = '\xaa';  // the sixteen words add up to 0
  catalog[29] = '\x55';
  catalog[32] = '\x88';
  catalog[33] = 2;  // a floppy of 1.44 MB
  catalog[40] = 30;
  IsoOptions options;
  options.boot_catalog = catalog;
  const IsoImage iso = build_iso(tree(), options);
  const Reading disc = read(iso, {lost(iso, "boot")});
  EXPECT_THAT(disc.paths(), Contains("_boot/01-x86-floppy-1440k.img"));
  EXPECT_EQ(disc.node("_boot/boot.catalog").evidence, Evidence::kScan);
  EXPECT_EQ(disc.state("_boot/boot.catalog"), FileState::kDoubtful);
  EXPECT_EQ(disc.findings("boot-record-lost"), 1u);
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
// What the reader makes of each variant of the format, and of each loss. Images are built byte by byte; the clauses of
// ECMA-119 and of IEEE P1281/P1282 that a case rests on stand beside it.
#include <gmock/gmock.h>

#include "iso9660/reading.h"

namespace lacuna::test {
namespace {

using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

std::uint64_t lba_of(const IsoPlace& place) { return place.extent / kSector; }

IsoNode two_folders() {
  return iso_directory("", {iso_directory("DOCS", {iso_file("A.TXT;1", bytes(3000)), iso_file("B.TXT;1", bytes(100))}),
                            iso_directory("PICS", {iso_file("C.JPG;1", bytes(9000))})});
}

TEST(Reader, PlainVolumeListsAllWithoutVersions) {
  const Reading disc(build_iso(two_folders()));
  EXPECT_THAT(disc.paths(), ElementsAre("DOCS", "DOCS/A.TXT", "DOCS/B.TXT", "PICS", "PICS/C.JPG"));
  EXPECT_EQ(disc.state("PICS/C.JPG"), FileState::kWhole);
  EXPECT_EQ(disc.node("DOCS/A.TXT").version, 1);
  EXPECT_EQ(disc.node("DOCS/A.TXT").modified.seconds, 1083827289);  // 2004-05-06T07:08:09Z
  EXPECT_TRUE(disc.disc().findings().empty()) << disc.disc().findings().list().front().text;
}

TEST(Reader, SmallLogicalBlocksGiveTheSameTree) {  // 6.2.2
  for (const std::uint32_t block : {512u, 1024u}) {
    IsoOptions options;
    options.block_bytes = block;
    const IsoImage iso = build_iso(two_folders(), options);
    const Reading disc(iso);
    EXPECT_EQ(disc.paths().size(), 5u) << block;
    EXPECT_EQ(disc.tree().extents(disc.node("DOCS/B.TXT"))[0].position, iso.primary.at("DOCS/B.TXT;1").extent);
    EXPECT_EQ(disc.disc().main_volume()->logical_block_bytes, block);
  }
}

TEST(Reader, LostDirectoryIsReportedWithItsExtentAndItsSubdirectories) {  // 9.4: the path table still names them
  IsoNode root = two_folders();
  root.children[0].children.push_back(iso_directory("SUB1"));
  root.children[0].children.push_back(iso_directory("SUB2"));
  const IsoImage iso = build_iso(root);
  const std::uint64_t lba = lba_of(iso.primary.at("DOCS"));
  const Reading disc(iso, {}, [&](MemoryImage& m) { m.mark(lba, 1, SectorState::kBad); });
  EXPECT_THAT(disc.paths(), ElementsAre("DOCS", "DOCS/SUB1", "DOCS/SUB2", "PICS", "PICS/C.JPG"));
  EXPECT_EQ(disc.state("DOCS"), FileState::kDamaged);
  EXPECT_EQ(disc.node("DOCS/SUB1").evidence, Evidence::kPathTable);
  ASSERT_EQ(disc.disc().lost_directories().size(), 1u);
  const LostDirectory& lost = disc.disc().lost_directories()[0];
  EXPECT_EQ(lost.position / kSector, lba);
  EXPECT_EQ(lost.subdirectories, 2u);
  EXPECT_FALSE(lost.entries_elsewhere);
  EXPECT_EQ(disc.findings("directory-unreadable"), 1u);
}

TEST(Reader, LostPrimaryDirectoryIsTakenFromJoliet) {  // 8.5: two trees over one set of files
  IsoNode root = two_folders();
  root.children[0].joliet_id = ucs2("documents");
  root.children[0].children[0].joliet_id = ucs2("a long name.txt");
  root.children[0].children[1].joliet_id = ucs2("b.txt");
  IsoOptions options;
  options.joliet_escape = "%/E";
  const IsoImage iso = build_iso(root, options);
  const Reading disc(iso, {}, [&](MemoryImage& m) { m.mark(lba_of(iso.primary.at("DOCS")), 1, SectorState::kBad); });
  EXPECT_THAT(disc.paths(), Contains("documents/a long name.txt"));
  EXPECT_EQ(disc.state("documents/a long name.txt"), FileState::kWhole);
  EXPECT_EQ(disc.state("documents"), FileState::kWhole);
  ASSERT_EQ(disc.disc().lost_directories().size(), 1u);
  EXPECT_EQ(disc.disc().lost_directories()[0].entries_elsewhere, 2u);
}

TEST(Reader, LostJolietDirectoryLeavesThePrimaryNames) {
  IsoNode root = two_folders();
  root.children[0].joliet_id = ucs2("documents");
  root.children[0].children[0].joliet_id = ucs2("a long name.txt");
  IsoOptions options;
  options.joliet_escape = "%/@";
  const IsoImage iso = build_iso(root, options);
  const Reading disc(iso, {}, [&](MemoryImage& m) { m.mark(lba_of(iso.joliet.at("DOCS")), 1, SectorState::kBad); });
  EXPECT_THAT(disc.paths(), Contains("documents/A.TXT"));
  EXPECT_EQ(disc.node("documents/A.TXT").evidence, Evidence::kView);
}

TEST(Reader, EveryJolietLevelIsRead) {  // Joliet: escape sequences 25 2F 40, 43, 45
  int level = 1;
  for (const char* escape : {"%/@", "%/C", "%/E"}) {
    IsoNode root = iso_directory("", {iso_file("A.;1", bytes(10))});
    root.children[0].joliet_id = ucs2("\xce\xb1\xce\xb2 \xe6\xb8\xaf \xf0\x9f\x9a\xa2.txt");  // Greek, Han, a ship
    IsoOptions options;
    options.joliet_escape = escape;
    const Reading disc(build_iso(root, options));
    EXPECT_THAT(disc.paths(), ElementsAre("\xce\xb1\xce\xb2 \xe6\xb8\xaf \xf0\x9f\x9a\xa2.txt"));
    EXPECT_EQ(disc.disc().sessions()[0].volumes[1].joliet_level, level++);
  }
}

TEST(Reader, LostPrimaryDescriptorLeavesJoliet) {  // 6.7.1: found in order, none required to be perfect
  IsoNode root = two_folders();
  root.children[1].joliet_id = ucs2("pictures");
  root.children[1].children[0].joliet_id = ucs2("c.jpg");
  IsoOptions options;
  options.joliet_escape = "%/E";
  const IsoImage iso = build_iso(root, options);
  const Reading disc(iso, {}, [](MemoryImage& m) { m.mark(16, 1, SectorState::kBad); });
  EXPECT_THAT(disc.paths(), ElementsAre("DOCS", "DOCS/A.TXT", "DOCS/B.TXT", "pictures", "pictures/c.jpg"));
  EXPECT_EQ(disc.findings("descriptor-unreadable"), 1u);
  EXPECT_EQ(disc.findings("descriptor-lost"), 1u);  // the primary root is found where it stands
}

TEST(Reader, ViewAskedForIsTheOnlyOneShown) {
  IsoNode root = two_folders();
  root.children[1].joliet_id = ucs2("pictures");
  root.children[1].children[0].joliet_id = ucs2("c.jpg");
  IsoOptions iso_options;
  iso_options.joliet_escape = "%/E";
  const IsoImage iso = build_iso(root, iso_options);
  DiscOptions options;
  options.view = View::kJoliet;
  EXPECT_THAT(Reading(iso, options).paths(), ElementsAre("pictures", "pictures/c.jpg"));
  options.view = View::kIso9660;
  EXPECT_THAT(Reading(iso, options).paths(), Contains("DOCS/A.TXT"));
  options.view = View::kRockRidge;
  const Reading none(iso, options);
  ASSERT_FALSE(none.ok());
  EXPECT_EQ(none.error().code, ErrorCode::kUsage);
  EXPECT_THAT(none.error().message, HasSubstr("iso9660, joliet"));
}

TEST(Reader, MultiExtentFileIsOneFile) {  // 6.5.1
  IsoNode root = iso_directory("", {iso_file("BIG.DAT;1", bytes(5000))});
  root.children[0].section_bytes = {2048, 2048, 904};
  const Reading disc(build_iso(root));
  EXPECT_THAT(disc.paths(), ElementsAre("BIG.DAT"));
  EXPECT_EQ(disc.node("BIG.DAT").size, 5000u);
  EXPECT_EQ(disc.state("BIG.DAT"), FileState::kWhole);
}

TEST(Reader, MultiExtentFileWithoutItsLastSectionIsNotWhole) {
  IsoNode root = iso_directory("", {iso_file("BIG.DAT;1", bytes(5000)), iso_file("END.DAT;1", bytes(10))});
  root.children[0].section_bytes = {2048, 2952};
  IsoImage iso = build_iso(root);
  // The second record is made another file's: the first then has no final section (9.1.6 bit 7).
  const std::uint64_t first = iso.primary.at("BIG.DAT;1").record;
  const std::uint8_t length = iso.at(first)[0];
  iso.at(first + length)[33] = 'X';
  const Reading disc(iso);
  EXPECT_EQ(disc.state("BIG.DAT"), FileState::kDoubtful);
  EXPECT_THAT(disc.doubts("BIG.DAT"), Contains(HasSubstr("further sections may be missing")));
}

IsoNode folder_of(int files) {
  IsoNode root = iso_directory("", {});
  for (int i = 0; i < files; ++i) {
    root.children.push_back(iso_file("FILE" + std::to_string(1000 + i) + ".TXT;1", bytes(50)));
  }
  return root;
}

TEST(Reader, FirstRecordBehindALostSectorMayBeTheLastSectionOfALongerFile) {
  // A final section alone looks like a whole file. The sector before it, lost, may have held the others.
  const IsoImage iso = build_iso(folder_of(120));
  const std::uint64_t root = lba_of(iso.primary.at(""));
  const Reading disc(iso, {}, [&](MemoryImage& m) { m.mark(root + 1, 1, SectorState::kBad); });
  std::uint64_t doubtful = 0;
  for (const NodeId id : disc.tree().in_order()) {
    if (disc.verdicts().of(id).state == FileState::kWhole) continue;
    ++doubtful;
    EXPECT_THAT(disc.verdicts().doubts(disc.disc(), id), Contains(HasSubstr("earlier sections of it may be missing")));
  }
  EXPECT_EQ(doubtful, 1u);
  EXPECT_LT(disc.paths().size(), 120u);
  EXPECT_EQ(disc.verdicts().of(kRoot).state, FileState::kDamaged);
}

TEST(Reader, ThatDoubtGoesWhereTheOtherViewAgrees) {
  IsoNode root = folder_of(120);
  for (IsoNode& f : root.children) f.joliet_id = ucs2(f.id.substr(0, f.id.size() - 2));
  IsoOptions options;
  options.joliet_escape = "%/E";
  const IsoImage iso = build_iso(root, options);
  const std::uint64_t lba = lba_of(iso.primary.at(""));
  const Reading disc(iso, {}, [&](MemoryImage& m) { m.mark(lba + 1, 1, SectorState::kBad); });
  EXPECT_EQ(disc.paths().size(), 120u);
  EXPECT_EQ(disc.verdicts().counts()[static_cast<std::size_t>(FileState::kWhole)].files, 120u);
}

TEST(Reader, GarbledSectorCostsItsOwnRecordsOnly) {
  IsoImage iso = build_iso(folder_of(120));
  const std::uint64_t root = iso.primary.at("").extent;
  const auto sector = iso.at(root + kSector);
  for (std::size_t i = 0; i < kSector; ++i) sector[i] = static_cast<std::uint8_t>(i * 37 + 11);
  const Reading disc(iso);
  EXPECT_GT(disc.paths().size(), 60u);
  EXPECT_LT(disc.paths().size(), 120u);
  EXPECT_EQ(disc.findings("record-unreadable"), 1u);
  EXPECT_EQ(disc.verdicts().of(kRoot).state, FileState::kDamaged);
}

TEST(Reader, BlankDirectorySectorIsALossOnlyWithoutAMap) {
  IsoImage iso = build_iso(folder_of(120));
  const auto sector = iso.at(iso.primary.at("").extent + kSector).first(kSector);
  std::fill(sector.begin(), sector.end(), std::uint8_t{0});
  const Reading mapped(iso);
  EXPECT_EQ(mapped.verdicts().of(kRoot).state, FileState::kWhole);
  MemoryImage memory(iso.bytes);
  const auto image = memory.open();
  const auto disc = open_disc(*image);
  ASSERT_TRUE(disc.ok());
  EXPECT_TRUE((*disc)->tree().node(kRoot).has(node_flag::kIncomplete));
}

TEST(Reader, HalvesThatDisagreeAreADoubtAndTheOneThatFitsIsUsed) {  // 7.3.3
  IsoImage iso = build_iso(two_folders());
  const IsoPlace place = iso.primary.at("PICS/C.JPG;1");
  put_le32(iso.at(place.record), 2, 0x7fffffff);  // 9.1.3, the little half: far outside
  const Reading disc(iso);
  EXPECT_EQ(disc.tree().extents(disc.node("PICS/C.JPG"))[0].position, place.extent);
  EXPECT_EQ(disc.state("PICS/C.JPG"), FileState::kDoubtful);
  EXPECT_EQ(disc.findings("both-endian"), 1u);
}

TEST(Reader, OneSidedNumbersAreAHabitWhenAllAreSo) {
  IsoImage iso = build_iso(two_folders());
  for (const char* path : {"DOCS", "PICS", "DOCS/A.TXT;1", "DOCS/B.TXT;1", "PICS/C.JPG;1"}) {
    put_be32(iso.at(iso.primary.at(path).record), 6, 0);
    put_be32(iso.at(iso.primary.at(path).record), 14, 0);
  }
  const Reading disc(iso);
  EXPECT_EQ(disc.paths().size(), 5u);
  EXPECT_EQ(disc.state("PICS/C.JPG"), FileState::kWhole);
  EXPECT_EQ(disc.findings("one-sided"), 1u);
}

TEST(Reader, OneSidedNumbersOfAFewAreADoubt) {
  IsoImage iso = build_iso(two_folders());
  put_be32(iso.at(iso.primary.at("PICS/C.JPG;1").record), 14, 0);
  const Reading disc(iso);
  EXPECT_EQ(disc.state("PICS/C.JPG"), FileState::kDoubtful);
  EXPECT_EQ(disc.state("DOCS/A.TXT"), FileState::kWhole);
}

TEST(Reader, InterleavedFileAndTheOneInItsGaps) {  // 6.4.3
  IsoNode root =
      iso_directory("", {iso_file("INTER.DAT;1", bytes(9 * 2048)), iso_file("OTHER.DAT;1", bytes(3 * 2048, 'A'))});
  root.children[0].unit_blocks = 2;
  root.children[0].gap_blocks = 2;
  root.children[1].in_gaps_of = "INTER.DAT;1";
  root.children[1].unit_blocks = 2;
  root.children[1].gap_blocks = 2;
  const IsoImage iso = build_iso(root);
  const std::uint64_t gap_lba = lba_of(iso.primary.at("INTER.DAT;1")) + 2;
  const Reading disc(iso, {}, [&](MemoryImage& m) { m.mark(gap_lba, 1, SectorState::kBad); });
  EXPECT_EQ(disc.state("INTER.DAT"), FileState::kWhole);  // the bad sector is not its own
  EXPECT_EQ(disc.state("OTHER.DAT"), FileState::kDamaged);
}

TEST(Reader, DataStartsBehindTheExtendedAttributeRecord) {  // 9.5, 9.1.2
  IsoNode root = iso_directory("", {iso_file("EAR.DAT;1", bytes(3000))});
  root.children[0].ear_blocks = 1;
  const IsoImage iso = build_iso(root);
  const Reading disc(iso);
  EXPECT_EQ(disc.tree().extents(disc.node("EAR.DAT"))[0].position, iso.primary.at("EAR.DAT;1").extent);
  EXPECT_THAT(disc.disc().structures(), Contains(testing::Field(&Structure::kind, StructureKind::kExtendedAttributes)));
}

TEST(Reader, VersionsHiddenAndAssociatedFilesAreAllListed) {  // 7.5, 9.1.6
  IsoNode hidden = iso_file("HIDE.TXT;1", bytes(10));
  hidden.flags = 0x01;
  IsoNode fork = iso_file("FORK.DAT;1", bytes(20));
  fork.flags = 0x04;
  const Reading disc(build_iso(iso_directory("", {fork, iso_file("FORK.DAT;1", bytes(30)), hidden,
                                                  iso_file("V.TXT;3", bytes(3)), iso_file("V.TXT;2", bytes(2))})));
  EXPECT_THAT(disc.paths(), ElementsAre("FORK.DAT", "FORK.DAT.associated", "HIDE.TXT", "V.TXT", "V.TXT;2"));
  EXPECT_TRUE(disc.node("HIDE.TXT").has(node_flag::kHidden));
  EXPECT_EQ(disc.node("V.TXT").size, 3u);
  EXPECT_EQ(disc.node("FORK.DAT").size, 30u);
}

TEST(Reader, SuspectDirectorySectorMakesItsFilesDoubtful) {
  const IsoImage iso = build_iso(two_folders());
  const Reading disc(iso, {},
                     [&](MemoryImage& m) { m.mark(lba_of(iso.primary.at("DOCS")), 1, SectorState::kSuspect); });
  EXPECT_EQ(disc.state("DOCS/A.TXT"), FileState::kDoubtful);
  EXPECT_EQ(disc.state("PICS/C.JPG"), FileState::kWhole);
}

IsoNode rock_ridge_root(std::vector<IsoNode> children) {
  IsoNode root = iso_directory("", std::move(children));
  root.self_system_use = susp_sp() + susp_er() + rrip_px(040755, 2);
  return root;
}

TEST(Reader, RockRidgeNamesModesAndDates) {  // RRIP 4.1.1, 4.1.4, 4.1.6
  IsoNode f = iso_file("A_LONG_N.TXT;1", bytes(10));
  f.system_use =
      rrip_px(0100640, 1, 1000, 100) + rrip_nm("a long name, ") + rrip_tf_modified({99, 12, 31, 23, 59, 58, 4});
  f.system_use = rrip_px(0100640, 1, 1000, 100) + rrip_nm("a long ", 1) + rrip_nm("name.txt") +
                 rrip_tf_modified({99, 12, 31, 23, 59, 58, 4});
  const Reading disc(build_iso(rock_ridge_root({f})));
  EXPECT_THAT(disc.paths(), ElementsAre("a long name.txt"));
  const Node& n = disc.node("a long name.txt");
  EXPECT_EQ(n.view, View::kRockRidge);
  EXPECT_EQ(disc.tree().details(n).mode, 0100640u);
  EXPECT_EQ(to_iso8601(n.modified), "1999-12-31T23:59:58+01:00");
  EXPECT_EQ(disc.disc().main_volume()->view, View::kRockRidge);
}

TEST(Reader, SymlinkTargetsOfAllComponentKinds) {  // RRIP 4.1.3: root, '..', '.', names
  IsoNode link = iso_file("LINK.;1", "");
  link.system_use = rrip_px(0120777) + rrip_nm("link") + rrip_sl(std::string("\x08\0\x04\0\x02\0\0\x03usr", 11));
  const Reading disc(build_iso(rock_ridge_root({link})));
  const Node& n = disc.node("link");
  EXPECT_EQ(n.kind, NodeKind::kSymlink);
  EXPECT_EQ(disc.tree().text(disc.tree().details(n).symlink_target), "/.././usr");
  EXPECT_EQ(disc.state("link"), FileState::kWhole);
}

TEST(Reader, LostContinuationAreaIsADoubtAndKeepsTheIsoName) {  // SUSP 5.1
  IsoNode f = iso_file("NAME.TXT;1", bytes(10));
  f.system_use = rrip_px(0100644);
  f.continuation = rrip_nm("the name is over there");
  const IsoImage iso = build_iso(rock_ridge_root({f}));
  EXPECT_THAT(Reading(iso).paths(), ElementsAre("the name is over there"));
  const std::uint64_t lba = iso.primary.at("NAME.TXT;1").continuation / kSector;
  const Reading disc(iso, {}, [&](MemoryImage& m) { m.mark(lba, 1, SectorState::kBad); });
  EXPECT_THAT(disc.paths(), ElementsAre("NAME.TXT"));
  EXPECT_EQ(disc.state("NAME.TXT"), FileState::kDoubtful);
}

TEST(Reader, RockRidgeIsInferredWhenTheRootsOwnRecordIsLost) {
  IsoNode root = folder_of(120);
  root.self_system_use = susp_sp() + susp_er();
  for (IsoNode& f : root.children) f.system_use = rrip_px(0100644) + rrip_nm("named " + f.id.substr(0, 8));
  const IsoImage iso = build_iso(root);
  const std::uint64_t lba = lba_of(iso.primary.at(""));
  const Reading disc(iso, {}, [&](MemoryImage& m) { m.mark(lba, 1, SectorState::kBad); });
  EXPECT_THAT(disc.paths(), Contains("named FILE1100"));
  EXPECT_EQ(disc.findings("susp-inferred"), 1u);
}

TEST(Reader, RelocatedDirectoryComesBackToItsPlace) {  // RRIP 4.1.5
  IsoNode placeholder = iso_file("DEEP.;1", "");
  IsoNode moved = iso_directory("DEEP", {iso_file("X.TXT;1", bytes(10))});
  moved.system_use = rrip_px(040755) + rrip_nm("deep") + rrip_re();
  moved.self_system_use = rrip_px(040711);
  IsoNode home = iso_directory("HOME", {placeholder});
  home.system_use = rrip_px(040755) + rrip_nm("home");
  IsoNode collector = iso_directory("RR_MOVED", {moved});
  collector.system_use = rrip_px(040755) + rrip_nm("rr_moved");
  const auto build = [&](std::uint32_t block) {
    IsoNode h = home;
    h.children[0].system_use = rrip_px(040755) + rrip_nm("deep") + rrip_cl(block);
    return build_iso(rock_ridge_root({h, collector}));
  };
  const auto block = static_cast<std::uint32_t>(lba_of(build(0).primary.at("RR_MOVED/DEEP")));
  const Reading disc(build(block));
  EXPECT_THAT(disc.paths(), ElementsAre("home", "home/deep", "home/deep/X.TXT", "rr_moved"));
  EXPECT_TRUE(disc.node("home/deep").has(node_flag::kRelocated));
  EXPECT_EQ(disc.tree().details(disc.node("home/deep")).mode, 040711u);  // its own "." knows best
  const Reading unclaimed(build(16));                                    // CL leads to a volume descriptor
  EXPECT_THAT(unclaimed.paths(), Contains("rr_moved/deep/X.TXT"));
  EXPECT_EQ(unclaimed.findings("moved-unclaimed"), 1u);
}

TEST(Reader, XaAttributesAreKeptAndForm2IsADoubt) {
  IsoNode plain = iso_file("PLAIN.DAT;1", bytes(10));
  plain.system_use = xa_record(0x0d55);
  IsoNode form2 = iso_file("VIDEO.DAT;1", bytes(4096));
  form2.system_use = xa_record(0x1555);
  IsoOptions options;
  options.xa = true;
  const Reading disc(build_iso(iso_directory("", {plain, form2}), options));
  EXPECT_TRUE(disc.disc().main_volume()->xa);
  EXPECT_EQ(disc.tree().details(disc.node("PLAIN.DAT")).xa_attributes, 0x0d55);
  EXPECT_EQ(disc.state("PLAIN.DAT"), FileState::kWhole);
  EXPECT_EQ(disc.state("VIDEO.DAT"), FileState::kDoubtful);
}

TEST(Reader, NamesInAnotherCodePage) {
  const IsoImage iso = build_iso(iso_directory("", {iso_file("GR\x9aN.TXT;1", bytes(10))}));  // CP437 9A is Ü
  EXPECT_THAT(Reading(iso).paths(), ElementsAre("GR%9AN.TXT"));
  DiscOptions options;
  options.names_charset = "CP437";
  EXPECT_THAT(Reading(iso, options).paths(), ElementsAre("GR\xc3\x9cN.TXT"));
  options.names_charset = "no such charset";
  EXPECT_EQ(Reading(iso, options).error().code, ErrorCode::kUsage);
}

/// Two sessions in one image, the second at LBA `start`, which names the first one's file too.
std::vector<std::uint8_t> two_sessions(std::uint32_t start) {
  const IsoImage first = build_iso(iso_directory("", {iso_file("OLD.TXT;1", bytes(10))}));
  IsoOptions options;
  options.start_lba = start;
  const IsoImage second = build_iso(iso_directory("", {iso_file("NEW.TXT;1", bytes(20))}), options);
  std::vector<std::uint8_t> image = first.bytes;
  image.resize(start * kSector);
  image.insert(image.end(), second.bytes.begin(), second.bytes.end());
  return image;
}

TEST(Reader, LastSessionIsTheDefaultAndOthersCanBeAskedFor) {
  IsoImage iso;
  iso.bytes = two_sessions(500);
  EXPECT_THAT(Reading(iso).paths(), ElementsAre("NEW.TXT"));
  EXPECT_EQ(Reading(iso).disc().sessions().size(), 2u);
  DiscOptions options;
  options.session = 1;
  EXPECT_THAT(Reading(iso, options).paths(), ElementsAre("OLD.TXT"));
  options.session = 3;
  EXPECT_EQ(Reading(iso, options).error().code, ErrorCode::kUsage);
  options.session.reset();
  options.all_sessions = true;
  EXPECT_THAT(Reading(iso, options).paths(),
              ElementsAre("session-1", "session-1/OLD.TXT", "session-2", "session-2/NEW.TXT"));
  options.all_sessions = false;
  options.session_starts = {0};
  EXPECT_THAT(Reading(iso, options).paths(), ElementsAre("OLD.TXT"));
}

TEST(Reader, SessionsAreFoundWhenTheFirstDescriptorsAreLost) {
  IsoImage iso;
  iso.bytes = two_sessions(500);
  const Reading disc(iso, {}, [](MemoryImage& m) { m.mark(0, 18, SectorState::kBad); });
  EXPECT_THAT(disc.paths(), ElementsAre("NEW.TXT"));
}

TEST(Reader, DescriptorsOfAStoredImageAreNotASession) {
  // An image file behind the volume's end: its root directory is not where its descriptor says.
  const IsoImage inner = build_iso(iso_directory("", {iso_file("INNER.TXT;1", bytes(10))}));
  IsoImage iso = build_iso(two_folders());
  iso.bytes.resize(iso.bytes.size() + 100 * kSector);
  iso.bytes.insert(iso.bytes.end(), inner.bytes.begin(), inner.bytes.end());
  const Reading disc(iso);
  EXPECT_EQ(disc.disc().sessions().size(), 1u);
  EXPECT_THAT(disc.paths(), Not(Contains("INNER.TXT")));
  EXPECT_GE(disc.findings("descriptors-elsewhere"), 1u);
}

TEST(Reader, EnhancedDescriptorOverThePrimaryTreeAddsNothing) {  // ISO 9660:1999
  IsoOptions options;
  options.enhanced = true;
  const IsoImage iso = build_iso(two_folders(), options);
  const Reading disc(iso);
  EXPECT_EQ(disc.paths().size(), 5u);
  DiscOptions only;
  only.view = View::kEnhanced;
  EXPECT_THAT(Reading(iso, only).paths(), Contains("DOCS/A.TXT;1"));  // no versions there: ';' is an ordinary character
}

TEST(Reader, DirectoryThatClaimsTooMuchStopsWhereAnotherStarts) {  // 9.1.4
  IsoImage iso = build_iso(two_folders());
  const IsoPlace docs = iso.primary.at("DOCS");
  put_both32(iso.at(docs.record), 10, 64 * 2048);
  put_both32(iso.at(docs.extent), 10, 64 * 2048);
  const Reading disc(iso);
  EXPECT_THAT(disc.paths(), Contains("DOCS/A.TXT"));
  EXPECT_THAT(disc.paths(), Not(Contains("DOCS/C.JPG")));
}

TEST(Reader, NothingToReadSaysWhatToDo) {
  IsoImage iso;
  iso.bytes.resize(300 * kSector, 0x5a);
  const Reading disc(iso);
  ASSERT_FALSE(disc.ok());
  EXPECT_EQ(disc.error().code, ErrorCode::kNoFileSystem);
  EXPECT_THAT(disc.error().message, HasSubstr("--starts-at"));
}

TEST(Reader, ImageThatStartsLateIsReadWhereItsAddressesSay) {
  IsoOptions options;
  const IsoImage iso = build_iso(two_folders(), options);
  IsoImage late = iso;
  late.start_lba = 16;
  late.bytes.erase(late.bytes.begin(), late.bytes.begin() + 16 * kSector);
  EXPECT_EQ(Reading(late).paths().size(), 5u);
}

TEST(Reader, BootImagesAreEntriesWithTheSizeOfTheirMedium) {  // El Torito 1.0, 2.1 and 2.2
  std::string catalog(2048, '\0');
  catalog[0] = 1;
  catalog[0x1e] = 0x55;
  catalog[0x1f] = static_cast<char>(0xaa);
  // Checksum word: the sixteen words add up to zero. 0x0001 + 0xaa55 + x = 0.
  catalog[0x1c] = static_cast<char>(0xaa);
  catalog[0x1d] = 0x55;
  catalog[0x20] = static_cast<char>(0x88);
  catalog[0x21] = 2;   // 1.44 M floppy
  catalog[0x26] = 1;   // load sectors
  catalog[0x28] = 30;  // LBA
  IsoOptions options;
  options.boot_catalog = catalog;
  const Reading disc(build_iso(two_folders(), options));
  EXPECT_THAT(disc.paths(), Contains("_boot/boot.catalog"));
  EXPECT_EQ(disc.node("_boot/01-x86-floppy-1440k.img").size, 1474560u);
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
// Bridge discs: ISO 9660 with Joliet, and UDF, over the same extents. They are one tree, and what one of the views
// loses the other still tells.
#include "support/iso_builder.h"
#include "udf_box.h"

namespace lacuna::test {
namespace {

class UdfBridge : public ::testing::Test {
 protected:
  UdfBridge() {
    const auto file = [](std::string id, std::string_view joliet, std::uint32_t seed, std::uint64_t bytes) {
      IsoNode n = iso_file(std::move(id), udf_noise(seed, bytes));
      n.joliet_id = ucs2(joliet);
      return n;
    };
    IsoNode sub = iso_directory("SUB_FOLD", {file("NOTE_OF.TXT;1", "note of the day.txt", 3, 3000)});
    sub.joliet_id = ucs2("sub folder");
    IsoOptions iso_options;
    iso_options.joliet_escape = "%/E";
    // The volume structures of UDF lie in a file of zeros, where ISO 9660 sees them as that file's.
    iso_ = build_iso(
        iso_directory(
            "", {iso_file("A_ROOM.;1", std::string(300 * 2048, '\0')), file("LETTER.TXT;1", "letter.txt", 1, 5000),
                 file("ONLY_ISO.TXT;1", "only iso.txt", 4, 2500), file("PHOTO.JPG;1", "photo.jpg", 2, 70001), sub}),
        iso_options);
    UdfOptions options;
    options.revision = 0x0102;
    options.base = iso_.bytes;
    const auto over = [&](std::string name, std::uint32_t seed, std::uint64_t bytes, const std::string& path) {
      UdfNode n = udf_file(std::move(name), udf_noise(seed, bytes));
      n.at_block = iso_.primary.at(path).extent / kSectorBytes;
      return n;
    };
    udf_ = build_udf(
        udf_directory("",
                      {over("letter.txt", 1, 5000, "LETTER.TXT;1"), over("photo.jpg", 2, 70001, "PHOTO.JPG;1"),
                       udf_directory("sub folder", {over("note of the day.txt", 3, 3000, "SUB_FOLD/NOTE_OF.TXT;1")}),
                       udf_file("only udf", udf_noise(5, 100))}),
        options);
  }

  UdfBox open(const std::vector<std::uint64_t>& bad_addresses = {}, const DiscOptions& options = without_scan()) const {
    MemoryImage memory = memory_of(udf_).with_map();
    for (const std::uint64_t a : bad_addresses) memory.mark(a / kSectorBytes, 1, SectorState::kBad);
    return UdfBox(memory, options);
  }

  static std::string named(const UdfBox& box, const std::string& path, View view) {
    return std::string(box.tree().text(box.node(path).names[static_cast<std::size_t>(view)]));
  }
  void expect_whole(const UdfBox& box, const std::string& path, const std::string& in_udf) const {
    SCOPED_TRACE(path);
    const auto id = box.find(path);
    ASSERT_TRUE(id);
    EXPECT_EQ(box.verdicts().of(*id).state, FileState::kWhole) << ::testing::PrintToString(box.doubts(*id));
    EXPECT_TRUE(box.reads_as(*id, udf_.files.at(in_udf)));
  }
  void expect_shared_whole(const UdfBox& box) const {
    for (const char* path : {"letter.txt", "photo.jpg", "sub folder/note of the day.txt"}) {
      expect_whole(box, path, path);
    }
  }

  IsoImage iso_;
  UdfImage udf_;
};

TEST_F(UdfBridge, OneTreeWithTheNamesOfAllViews) {
  const UdfBox box = open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  EXPECT_EQ(box.disc().sessions().size(), 1U);
  EXPECT_EQ(box.disc().sessions().front().volumes.size(), 3U);
  EXPECT_EQ(box.nodes().size(), 7U);  // and the file that is room for UDF
  expect_shared_whole(box);
  expect_whole(box, "only udf", "only udf");
  EXPECT_EQ(box.state("only iso.txt"), FileState::kWhole);
  EXPECT_EQ(named(box, "photo.jpg", View::kUdf), "photo.jpg");
  EXPECT_EQ(named(box, "photo.jpg", View::kJoliet), "photo.jpg");
  EXPECT_EQ(named(box, "photo.jpg", View::kIso9660), "PHOTO.JPG");
  EXPECT_EQ(named(box, "sub folder/note of the day.txt", View::kIso9660), "NOTE_OF.TXT");
  EXPECT_EQ(named(box, "only udf", View::kIso9660), "");
  EXPECT_EQ(named(box, "only iso.txt", View::kUdf), "");
  EXPECT_NE(box.state("A_ROOM"), FileState::kWhole) << "structures of UDF stand in it";
}

TEST_F(UdfBridge, EachViewByItself) {
  DiscOptions options = without_scan();
  options.view = View::kUdf;
  EXPECT_EQ(open({}, options).nodes().size(), 5U);
  expect_shared_whole(open({}, options));
  options.view = View::kIso9660;
  EXPECT_TRUE(open({}, options).find("SUB_FOLD/NOTE_OF.TXT"));
}

TEST_F(UdfBridge, WithoutTheDirectoriesOfIso9660) {
  const UdfBox box = open({iso_.primary.at("").extent, iso_.joliet.at("").extent});
  ASSERT_TRUE(box.ok()) << box.error().message;
  expect_shared_whole(box);
  EXPECT_FALSE(box.find("only iso.txt"));
  EXPECT_FALSE(box.disc().lost_directories().empty());
}

TEST_F(UdfBridge, WithoutTheDescriptorsOfIso9660) {
  const UdfBox box = open({iso_.structures.at("primary"), iso_.structures.at("joliet")});
  ASSERT_TRUE(box.ok()) << box.error().message;
  expect_shared_whole(box);
}

TEST_F(UdfBridge, WithoutTheRootOfUdf) {
  for (const char* kind : {"fe", "directory"}) {
    const UdfBox box = open({udf_.one(kind, "").address});
    ASSERT_TRUE(box.ok()) << box.error().message;
    expect_shared_whole(box);
    EXPECT_FALSE(box.find("only udf"));
    EXPECT_EQ(box.state("only iso.txt"), FileState::kWhole);
    EXPECT_FALSE(box.disc().lost_directories().empty());
  }
}

TEST_F(UdfBridge, WithoutTheVolumeOfUdf) {
  std::vector<std::uint64_t> all;
  for (const UdfStructure& s : udf_.structures) {
    if (s.kind == "anchor" || s.kind == "lvd") all.push_back(s.address);
  }
  const UdfBox box = open(all);
  ASSERT_TRUE(box.ok()) << box.error().message;
  expect_shared_whole(box);
  EXPECT_FALSE(box.find("only udf"));
}

/// The other view says where a file lies whose entry is lost.
TEST_F(UdfBridge, WithoutAnEntryOfUdf) {
  for (const char* path : {"letter.txt", "photo.jpg", "sub folder", "sub folder/note of the day.txt"}) {
    const UdfBox box = open({udf_.one("fe", path).address});
    ASSERT_TRUE(box.ok()) << box.error().message;
    expect_shared_whole(box);
    EXPECT_EQ(box.nodes().size(), 7U) << path;
  }
}

TEST_F(UdfBridge, DataThatIsLostIsLostOnce) {
  const std::uint64_t address = iso_.primary.at("PHOTO.JPG;1").extent + 3 * kSectorBytes;
  const UdfBox box = open({address});
  ASSERT_TRUE(box.ok()) << box.error().message;
  EXPECT_EQ(box.state("photo.jpg"), FileState::kDamaged);
  EXPECT_EQ(box.verdicts().of(box.must_find("photo.jpg")).missing_bytes, kSectorBytes);
  EXPECT_EQ(box.verdicts().counts()[static_cast<std::size_t>(FileState::kDamaged)].files, 1U);
  expect_whole(box, "letter.txt", "letter.txt");
}

/// Views that disagree on a file's length: neither is taken for whole.
TEST_F(UdfBridge, ViewsThatDisagree) {
  const auto entry = udf_.at(udf_.one("fe", "letter.txt").address);
  put_le32(entry, 56, 4000);
  udf_reseal(entry);
  const UdfBox box = open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  for (const auto& [path, id] : box.nodes()) {
    EXPECT_TRUE(!path.starts_with("letter") || box.verdicts().of(id).state != FileState::kWhole) << path;
  }
  expect_whole(box, "photo.jpg", "photo.jpg");
}

}  // namespace
}  // namespace lacuna::test

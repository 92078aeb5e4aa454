// SPDX-License-Identifier: GPL-3.0-or-later
// Pulling into a BagIt bag, held against a reader of its own (check_bag.py, from RFC 8493).
#include <gmock/gmock.h>

#include "archive_box.h"
#include "salvage/bag.h"

namespace lacuna::test {
namespace {

using ::testing::Contains;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;

PullOptions bag() {
  PullOptions options;
  options.bag = true;
  return options;
}

/// Replaces the first `from` in a file.
void edit(const fs::path& file, const std::string& from, const std::string& to) {
  std::string text = read_text(file);
  const std::size_t at = text.find(from);
  ASSERT_NE(at, std::string::npos) << from << " in " << file;
  write_file(file, text.replace(at, from.size(), to));
}

/// A disc with all that is awkward in a bag, pulled into one.
class BagPull : public ::testing::Test {
 protected:
  BagPull() {
    const std::size_t sub = box_.directory("sub");
    box_.file("a", noise(1000, 1));
    box_.file("100% of it", "percent");
    box_.file("line\nbreak", "break");
    box_.file("back\\slash", "slash");
    box_.file("  spaces ", "spaces");
    box_.file("\xC3\xA4", "composed", sub);
    box_.file("empty", "", sub);
    box_.file("bagit.txt", "the disc's own");
    box_.file("SHA256SUMS", "the disc's own", sub);
    box_.symlink("link", "a");
    const std::uint64_t lba = box_.file("hurt", noise(9000, 3), sub);
    box_.open(box_.memory().mark(lba, 1, SectorState::kBad));
    options_ = bag();
    options_.damaged = true;
    options_.bag_info = {{"Source-Organization", "Harbour Museum"}};
    report_ = box_.pull(options_);
  }
  fs::path at(std::string_view path) const { return box_.to() / path; }

  NamedBox box_{"harbour.iso"};
  PullOptions options_;
  PullReport report_;
};

TEST_F(BagPull, IsCompleteAndValid) {
  EXPECT_TRUE(report_.bag_closed);
  EXPECT_EQ(check_bag(box_.to()), "valid");
  EXPECT_THAT(problems_in(box_.to()), IsEmpty());
  EXPECT_EQ(box_.check_sums(), 0);
  // In this form the paths are those of any tool that sums files, but for the three characters that are encoded.
  EXPECT_EQ(shell(box_.to(), "grep -v % manifest-sha256.txt | sha256sum --check --strict --quiet"), 0);
  EXPECT_EQ(shell(box_.to(), "sha256sum --check --strict --quiet tagmanifest-sha256.txt"), 0);
  EXPECT_THAT(read_text(at("manifest-sha256.txt")), HasSubstr("  data/100%25 of it\n"));
  EXPECT_THAT(read_text(at("manifest-sha256.txt")), HasSubstr("  data/line%250Abreak\n"));  // the name's own escape
  EXPECT_EQ(read_text(at("bagit.txt")), "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n");
  EXPECT_TRUE(is_there(at("data/_damaged/sub/hurt.gaps.txt")));
  EXPECT_FALSE(is_there(at("data/link")));
  EXPECT_EQ(box_.manifest().at("link").symlink, "a");
  const std::string info = read_text(at("bag-info.txt"));
  for (const char* line :
       {"Source-Organization: Harbour Museum\n", "External-Description: Files of an optical disc, ",
        "Bag-Software-Agent: lacuna ", "Bagging-Date: 20", "Bag-Size: ", "Payload-Oxum: ", "Lacuna-Not-Whole: 1 of "}) {
    EXPECT_THAT(info, HasSubstr(line));
  }
}

TEST_F(BagPull, EachWayToBreakItIsNoticed) {
  const auto flip = [&](std::string_view path) {
    std::string text = read_text(at(path));
    text[text.size() / 2] = static_cast<char>(text[text.size() / 2] ^ 1);
    write_file(at(path), text);
  };
  const std::string sum_of_a = box_.manifest().at("a").sums.sha256;
  const std::vector<std::pair<const char*, std::function<void()>>> ways{
      {"no bagit.txt", [&] { fs::remove(at("bagit.txt")); }},
      {"another version", [&] { edit(at("bagit.txt"), "1.0", "0.97"); }},
      {"a byte order mark",
       [&] {
         edit(at("bagit.txt"), "BagIt",
              "\xEF\xBB\xBF"
              "BagIt");
       }},
      {"a third line", [&] { std::ofstream(at("bagit.txt"), std::ios::app) << "More: lines\n"; }},
      {"a changed file", [&] { flip("data/a"); }},
      {"a changed list of gaps", [&] { flip("data/_damaged/sub/hurt.gaps.txt"); }},
      {"a missing file", [&] { fs::remove(at("data/sub/empty")); }},
      {"a surplus file", [&] { write_file(at("data/new"), "new"); }},
      {"a link in the payload", [&] { fs::create_symlink("a", at("data/link")); }},
      {"no payload manifest", [&] { fs::remove(at("manifest-sha256.txt")); }},
      {"a line less", [&] { edit(at("manifest-sha256.txt"), sum_of_a + "  data/a\n", ""); }},
      {"a line twice", [&] { std::ofstream(at("manifest-sha256.txt"), std::ios::app) << sum_of_a << "  data/a\n"; }},
      {"another checksum", [&] { edit(at("manifest-sha256.txt"), sum_of_a, std::string(64, '0')); }},
      {"a percent sign as it is", [&] { edit(at("manifest-sha256.txt"), "100%25", "100%"); }},
      {"a path that leads out", [&] { edit(at("manifest-sha256.txt"), "data/a\n", "data/../../a\n"); }},
      {"a wrong Oxum", [&] { edit(at("bag-info.txt"), "Payload-Oxum: ", "Payload-Oxum: 1"); }},
      {"no label", [&] { edit(at("bag-info.txt"), "Bag-Size: ", "Bag-Size "); }},
      {"a changed bag-info.txt", [&] { edit(at("bag-info.txt"), "Museum", "Gallery"); }},
      {"a changed manifest of Lacuna", [&] { edit(at("lacuna-manifest.jsonl"), "\"damaged\"", "\"doubtful\""); }},
      {"payload in the tag manifest",
       [&] { std::ofstream(at("tagmanifest-sha256.txt"), std::ios::app) << sum_of_a << "  data/a\n"; }},
      {"no checksum in the tag manifest", [&] { std::ofstream(at("tagmanifest-sha256.txt"), std::ios::app) << "x\n"; }},
  };
  const fs::path kept = box_.scratch() / "kept", broken = box_.scratch() / "broken";
  fs::create_directory(broken);
  fs::copy(box_.to(), kept, fs::copy_options::recursive);
  fs::copy(kept, broken / "as it was", fs::copy_options::recursive);
  for (const auto& [way, break_it] : ways) {
    SCOPED_TRACE(way);
    break_it();
    EXPECT_THAT(problems_in(box_.to()), Not(IsEmpty()));
    fs::rename(box_.to(), broken / way);
    fs::copy(kept, box_.to(), fs::copy_options::recursive);
  }
  const auto checked = check_bags(broken);
  EXPECT_EQ(checked.size(), ways.size() + 1);
  for (const auto& [way, said] : checked) EXPECT_EQ(said == "valid", way == "as it was") << way << ": " << said;
  // Not a matter of the standard, but of this bag: without it nothing vouches for the tag files.
  fs::remove_all(box_.to());
  fs::copy(kept, box_.to(), fs::copy_options::recursive);
  fs::remove(at("tagmanifest-sha256.txt"));
  EXPECT_THAT(problems_in(box_.to()), ElementsAre("missing tagmanifest-sha256.txt"));
}

TEST_F(BagPull, AgainReadsNothingAndKeepsWhatPeopleWrote) {
  edit(at("bag-info.txt"), "Source-Organization: Harbour Museum\n",
       "Source-Organization: Harbour\n Museum\ncontact-name: A. Keeper\nPAYLOAD-OXUM: 1.1\n");
  EXPECT_THAT(problems_in(box_.to()), Contains("changed bag-info.txt"));
  options_.bag_info = {{"Contact-Email", "keeper@museum.example"}};
  const PullReport again = box_.pull(options_);
  EXPECT_TRUE(again.bag_closed);
  EXPECT_EQ(again.bytes_written, 0u);
  const std::string info = read_text(at("bag-info.txt"));
  EXPECT_THAT(info, HasSubstr("Source-Organization: Harbour Museum\n"));
  EXPECT_THAT(info, HasSubstr("contact-name: A. Keeper\n"));
  EXPECT_THAT(info, HasSubstr("Contact-Email: keeper@museum.example\n"));
  EXPECT_THAT(info, Not(HasSubstr("1.1")));
  EXPECT_EQ(info.find("External-Description"), info.rfind("External-Description"));
  EXPECT_EQ(check_bag(box_.to()), "valid");

  edit(at("bag-info.txt"), "Contact-Email: ", "Contact-Email ");
  const auto broken = box_.try_pull(options_);
  ASSERT_FALSE(broken.ok());
  EXPECT_EQ(broken.error().code, ErrorCode::kBadInput);
  EXPECT_THAT(broken.error().message, HasSubstr("bag-info.txt:"));
  EXPECT_TRUE(is_there(at("bagit.txt")));  // nothing was begun
  EXPECT_FALSE(is_there(at(kWorkName)));
}

TEST_F(BagPull, ItIsNotClosedOverWhatNoPullPutThere) {
  write_file(at("data/sub/stray"), "somebody's");
  PullReport report = box_.pull(options_);
  EXPECT_FALSE(report.bag_closed);
  EXPECT_EQ(report.findings.counts().at("bag-not-closed"), 1u);
  EXPECT_THAT(report.findings.list().back().text, HasSubstr("data/sub/stray"));
  EXPECT_FALSE(is_there(at("bagit.txt")));
  EXPECT_EQ(read_text(at("data/sub/stray")), "somebody's");
  EXPECT_THAT(problems_in(box_.to()), Contains("missing bagit.txt"));
  fs::remove(at("data/sub/stray"));
  EXPECT_TRUE(box_.pull(options_).bag_closed);

  // A file that another selection got, and that is gone or cut.
  PullOptions one = options_;
  one.only = GlobSet({"a"}, false);
  fs::resize_file(at("data/sub/\xC3\xA4"), 3);
  EXPECT_FALSE(box_.pull(one).bag_closed);
  fs::remove(at("data/sub/\xC3\xA4"));
  EXPECT_FALSE(box_.pull(one).bag_closed);
  EXPECT_TRUE(box_.pull(options_).bag_closed);
  EXPECT_EQ(check_bag(box_.to()), "valid");
}

TEST_F(BagPull, ASecondDiscIsRefusedUnlessTheBagIsForSeveral) {
  NamedBox other("other.iso");
  other.file("b", "b");
  other.open();
  PullOptions options = bag();
  options.to = box_.to();
  const auto refused = other.try_pull(options);
  ASSERT_FALSE(refused.ok());
  EXPECT_EQ(refused.error().code, ErrorCode::kUsage);
  EXPECT_THAT(refused.error().message, HasSubstr("holds files of another disc"));
  EXPECT_EQ(check_bag(box_.to()), "valid");

  options.to = box_.scratch() / "box";
  options.once = true;
  box_.pull(options);
  EXPECT_TRUE(other.pull(options).bag_closed);
  EXPECT_EQ(check_bag(options.to), "valid");
  EXPECT_THAT(problems_in(options.to), IsEmpty());
  EXPECT_EQ(read_text(options.to / "data/other/b"), "b");
  EXPECT_THAT(read_text(options.to / "tagmanifest-sha256.txt"), HasSubstr("  lacuna-discs/harbour.jsonl\n"));
  const std::string info = read_text(options.to / "bag-info.txt");
  EXPECT_THAT(info, HasSubstr("External-Identifier: harbour\n"));
  EXPECT_THAT(info, HasSubstr("External-Identifier: other\n"));
}

TEST(Bag, SomebodysBagStaysAsItIs) {
  for (const std::string_view name : {"bagit.txt", "bag-info.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt"}) {
    for (const bool once : {false, true}) {
      NamedBox box("a.iso");
      box.file("a", "a");
      box.open();
      write_file(box.to() / name, "somebody's own");
      PullOptions options = bag();
      options.once = once;
      const auto refused = box.try_pull(options);
      ASSERT_FALSE(refused.ok());
      EXPECT_EQ(refused.error().code, ErrorCode::kCannotWrite);
      EXPECT_THAT(refused.error().message, HasSubstr(name));
      EXPECT_EQ(files_in(box.to()), (std::set<std::string>{std::string(name)}));
      EXPECT_EQ(read_text(box.to() / name), "somebody's own");
    }
  }
}

TEST(Bag, StoppedItHasNoDeclarationUntilItIsGoneOnWith) {
  NamedBox box("a.iso");
  for (unsigned i = 0; i < 8; ++i) box.file(numbered("f", i), noise(300'000, i));
  box.open();
  PullOptions options = bag();
  options.threads = 1;
  options.progress = [](const Progress& p) { return p.done_bytes == 0; };
  ASSERT_FALSE(box.try_pull(options).ok());
  EXPECT_FALSE(is_there(box.to() / "bagit.txt"));
  EXPECT_NE(check_bag(box.to()), "valid");
  EXPECT_THAT(problems_in(box.to()), Contains("missing bagit.txt"));
  options.progress = {};
  EXPECT_TRUE(box.pull(options).bag_closed);
  EXPECT_EQ(check_bag(box.to()), "valid");
}

TEST(Bag, NamesThatSomeSystemsTakeForOneAreReported) {
  NamedBox box("a.iso");
  box.file("Photo.jpg", "1");
  box.file("photo.JPG", "2");
  box.file("\xC3\xA4.txt", "composed");
  box.file("a\xCC\x88.txt", "decomposed");
  box.open();
  PullOptions options = bag();
  PullReport report = box.pull(options);
  EXPECT_EQ(report.findings.counts().at("bag-names-alike"), 2u);
  EXPECT_TRUE(report.bag_closed);
  EXPECT_EQ(check_bag(box.to()), "valid");  // names stay as the disc has them, byte by byte
  options.to = box.scratch() / "portable";
  options.portable_names = true;
  report = box.pull(options);
  EXPECT_FALSE(report.findings.counts().contains("bag-names-alike"));
}

TEST(Bag, NothingPulledIsABagToo) {
  NamedBox box("a.iso");
  const std::uint64_t lba = box.file("hurt", noise(100, 1));
  box.open(box.memory().mark(lba, 1, SectorState::kBad));
  EXPECT_TRUE(box.pull(bag()).bag_closed);
  EXPECT_EQ(check_bag(box.to()), "valid");
  EXPECT_THAT(read_text(box.to() / "bag-info.txt"), HasSubstr("Payload-Oxum: 0.0\n"));
}

TEST(Bag, InfoWithoutABagIsRefused) {
  NamedBox box("a.iso");
  box.file("a", "a");
  box.open();
  PullOptions options;
  options.bag_info = {{"Contact-Name", "A. Keeper"}};
  EXPECT_EQ(box.try_pull(options).error().code, ErrorCode::kUsage);
}

TEST(BagElement, LabelAndValueAreChecked) {
  const auto good = parse_bag_element("Source-Organization: The Museum: Archive ");
  ASSERT_TRUE(good.ok());
  EXPECT_EQ(*good, (BagElement{"Source-Organization", "The Museum: Archive"}));
  EXPECT_EQ(parse_bag_element("A label\twith blanks: x")->label, "A label\twith blanks");
  for (const char* text :
       {"", "no colon", ": value", " Label: value", "Label : value", "Label:value",
        "Label:", "Label: ", "Label: a\nOther: b", "La\rbel: a", "Label: \x1B[0m", "Label: \xFF", "Payload-Oxum: 1.1",
        "bagging-date: 2020-01-01", "BAG-SIZE: 1 GB", "Bag-Software-Agent: x"}) {
    const auto bad = parse_bag_element(text);
    ASSERT_FALSE(bad.ok()) << text;
    EXPECT_EQ(bad.error().code, ErrorCode::kUsage);
    EXPECT_THAT(bad.error().message, Not(HasSubstr("\n")));
  }
}

TEST(BagManifest, PathsComeBackAsTheyWere) {
  const std::string sum(64, 'a');
  for (const std::string path :
       {"data/a", "data/100%", "data/%25", "data/a\nb\rc", "data/  two  blanks", "data/\\", "data/%0A"}) {
    const std::string line = bag_manifest_line(sum, path);
    EXPECT_EQ(line.find('\n'), line.size() - 1);
    const auto parsed = parse_bag_manifest_line(std::string_view(line).substr(0, line.size() - 1));
    ASSERT_TRUE(parsed) << path;
    EXPECT_EQ(*parsed, std::pair(sum, path));
  }
  EXPECT_EQ(bag_manifest_line(sum, "data/a\r\n%"), sum + "  data/a%0D%0A%25\n");
  EXPECT_EQ(parse_bag_manifest_line(std::string(64, 'A') + "\tdata/x\r")->first, sum);
  for (const std::string& line : {sum, sum + "data/a", sum + "  ", std::string(63, 'a') + "  data/a", std::string()}) {
    EXPECT_FALSE(parse_bag_manifest_line(line)) << line;
  }
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/manifest.h"

#include <gmock/gmock.h>

#include "pull_box.h"
#include "salvage/output_folder.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::Not;

ManifestEntry full_entry() {
  ManifestEntry e;
  e.path = "dir/na\"me\\ \xC3\xA9";
  e.target = "dir/target";
  e.names = {{"iso9660", "NAME.;1"}, {"joliet", "name"}};
  e.kind = "file";
  e.size = ~std::uint64_t{0};
  e.state = FileState::kDamaged;
  e.basis = "map";
  e.evidence = "view";
  e.outcome = PullOutcome::kFailed;
  e.missing_bytes = 4096;
  e.gaps = {{0, 2048, SectorState::kBad}, {8192, 2048, SectorState::kUnread}};
  e.sums = {std::string(32, 'a'), std::string(64, 'b')};
  e.modified = "2004-05-06T07:08:09+02:00";
  e.created = "2003-01-01T00:00:00Z";
  e.doubts = {"one", "two"};
  e.symlink = "../x";
  e.link = "../x_";
  e.gap_list = "dir/target.gaps.txt";
  e.gap_list_sha256 = std::string(64, 'c');
  e.why = "because";
  e.deleted = e.stream = true;
  return e;
}

TEST(Manifest, EntriesComeBackAsTheyWere) {
  const ManifestEntry e = full_entry();
  const std::string line = to_line(e);
  EXPECT_EQ(line.find('\n'), std::string::npos);
  std::string error;
  const auto back = parse_entry(line, error);
  ASSERT_TRUE(back) << error;
  EXPECT_EQ(back->path, e.path);
  EXPECT_EQ(back->target, e.target);
  EXPECT_EQ(back->names, e.names);
  EXPECT_EQ(back->kind, e.kind);
  EXPECT_EQ(back->size, e.size);
  EXPECT_EQ(back->state, e.state);
  EXPECT_EQ(back->outcome, e.outcome);
  EXPECT_EQ(back->gaps, e.gaps);
  EXPECT_EQ(back->sums, e.sums);
  EXPECT_EQ(back->doubts, e.doubts);
  EXPECT_EQ(to_line(*back), line);
}

TEST(Manifest, FlagsOfFewFilesAreOnlyThereWhenTheyAreSo) {
  ManifestEntry e = full_entry();
  EXPECT_THAT(to_line(e), HasSubstr("\"deleted\":true,\"stream\":true"));
  e.deleted = e.stream = false;
  EXPECT_THAT(to_line(e), Not(HasSubstr("deleted")));
  EXPECT_THAT(to_line(e), Not(HasSubstr("stream")));
}

TEST(Manifest, EveryCutOfALineIsRefused) {
  const std::string line = to_line(full_entry());
  for (std::size_t length = 0; length < line.size(); ++length) {
    std::string error;
    EXPECT_FALSE(parse_entry(line.substr(0, length), error)) << length;
    EXPECT_FALSE(error.empty()) << length;
  }
}

TEST(Manifest, TextThatIsNoUtf8IsWrittenAsJsonAllTheSame) {
  ManifestHeader h;
  h.image.name = "disc\xFF.iso";
  std::string error;
  const auto back = parse_header(to_line(h), error);
  ASSERT_TRUE(back) << error;
  EXPECT_EQ(back->image.name, "disc%FF.iso");
}

TEST(Manifest, HeadersSayWhatWholeRestsOn) {
  ManifestHeader h;
  h.basis = "assumed";
  EXPECT_THAT(to_line(h), HasSubstr("whole means only that nothing in the image speaks against a file"));
  h.basis = "map";
  EXPECT_THAT(to_line(h), Not(HasSubstr("whole means only")));
}

TEST(Manifest, AllOutcomesHaveWords) {
  for (int i = 0; i < kPullOutcomeCount; ++i) {
    const auto o = static_cast<PullOutcome>(i);
    EXPECT_EQ(pull_outcome_from(to_string(o)), o);
  }
  EXPECT_FALSE(pull_outcome_from("nonsense"));
}

TEST(SameDisc, ByDescriptorsElseByVolumeElseByImage) {
  ImageIdentity a{"a.iso", 1000, "VOL", "2004-01-01T00:00:00Z", 900, "d1"};
  ImageIdentity b = a;
  b.name = "b.iso";
  b.bytes = 500;  // another, shorter image of the same disc
  EXPECT_TRUE(same_disc(a, b));
  b.descriptors_sha256 = "d2";  // other descriptors could be read
  EXPECT_TRUE(same_disc(a, b));
  b.volume_id = "OTHER";
  EXPECT_FALSE(same_disc(a, b));
  a.volume_created = b.volume_created = "";
  b.volume_id = "VOL";  // without a date a name like this proves nothing
  EXPECT_FALSE(same_disc(a, b));
  a.descriptors_sha256 = b.descriptors_sha256 = "";
  EXPECT_FALSE(same_disc(a, b));
  b.name = a.name;
  b.bytes = a.bytes;
  EXPECT_TRUE(same_disc(a, b));
}

// The escaping is that of GNU coreutils (manual, "cksum common options"); sha256sum itself checks it in pull_test.cpp.
TEST(SumsLine, EscapesLikeSha256sum) {
  const std::string sum(64, 'a');
  EXPECT_EQ(sums_line(sum, "plain name"), sum + "  plain name\n");
  EXPECT_EQ(sums_line(sum, "back\\slash"), "\\" + sum + "  back\\\\slash\n");
  for (const std::string name : {"plain", "back\\slash", "new\nline", "\\", " x ", "a\\nb"}) {
    std::string line = sums_line(sum, name);
    line.pop_back();
    const auto parsed = parse_sums_line(line);
    ASSERT_TRUE(parsed) << name;
    EXPECT_EQ(parsed->first, sum);
    EXPECT_EQ(parsed->second, name);
  }
  for (const std::string& line : {std::string(), std::string("abc  x"), sum, sum + "  ", sum + " x",
                                  "\\" + sum + "  x\\", std::string(64, 'g') + "  x"}) {
    EXPECT_FALSE(parse_sums_line(line)) << line;
  }
}

TEST(InsidePath, Rules) {
  for (const std::string_view good : {"a", "a/b", "...", "a b/c", ".hidden/x"})
    EXPECT_TRUE(is_inside_path(good)) << good;
  for (const std::string_view bad : {"", "/", "/a", "a/", "a//b", ".", "..", "a/..", "../a", "a/./b"}) {
    EXPECT_FALSE(is_inside_path(bad)) << bad;
  }
  EXPECT_FALSE(is_inside_path(std::string_view("a\0b", 3)));
}

TEST(ForEachLine, LinesAcrossReadsAndATornEnd) {
  ScratchFolder folder;
  const std::string longest(200'000, 'x');
  write_file(folder.path() / "t", "one\n\n" + longest + "\nend");
  Fd root(::open(folder.path().c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)), file;
  ASSERT_EQ(open_at(root.get(), "t", O_RDONLY, file), 0);
  std::vector<std::string> lines;
  bool torn = false;
  EXPECT_EQ(for_each_line(file.get(),
                          [&](std::string_view line, std::uint64_t number, bool t) {
                            EXPECT_EQ(number, lines.size() + 1);
                            lines.emplace_back(line);
                            torn = t;
                            return true;
                          }),
            0);
  EXPECT_THAT(lines, ElementsAre("one", "", longest, "end"));
  EXPECT_TRUE(torn);
}

}  // namespace
}  // namespace lacuna::test

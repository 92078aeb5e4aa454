// SPDX-License-Identifier: GPL-3.0-or-later
// Files laid out by year and kind, of one disc and of several.
#include <gmock/gmock.h>

#include "archive_box.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::StartsWith;

PullOptions arranged(const fs::path& to, Arrangement arrangement = Arrangement::kYearKind) {
  PullOptions options;
  options.to = to;
  options.arrangement = arrangement;
  return options;
}

TEST(ArrangedPull, ByYearAndKind) {
  NamedBox box("harbour.iso");
  const std::size_t sub = box.directory("holiday");
  box.file("boat.JPG", "boat", sub, day(2003, 7, 1));
  box.file("letter.doc", "letter", sub, day(1998, 1, 1));
  box.file("clip.avi", "clip", 0, day(2003, 1, 1));
  box.file("song.mp3", "song", 0, Timestamp{});
  box.file("setup.bin", "setup", 0, day(2010, 2, 3));
  box.symlink("link", "holiday/boat.JPG");
  box.open();
  const std::vector<std::pair<Arrangement, std::set<std::string>>> expected{
      {Arrangement::kYear, {"1998/letter.doc", "2003/boat.JPG", "2003/clip.avi", "2010/setup.bin", "undated/song.mp3"}},
      {Arrangement::kKind,
       {"audio/song.mp3", "documents/letter.doc", "other/setup.bin", "photos/boat.JPG", "video/clip.avi"}},
      {Arrangement::kYearKind,
       {"1998/documents/letter.doc", "2003/photos/boat.JPG", "2003/video/clip.avi", "2010/other/setup.bin",
        "undated/audio/song.mp3"}}};
  for (const auto& [arrangement, files] : expected) {
    const fs::path to = box.scratch() / std::to_string(static_cast<int>(arrangement));
    const PullReport report = box.pull(arranged(to, arrangement));
    std::set<std::string> all = files;
    all.insert({"SHA256SUMS", "lacuna-discs/harbour.jsonl"});
    EXPECT_EQ(files_in(to), all);
    EXPECT_EQ(box.of(report, "link").outcome, PullOutcome::kLeftSpecial);
    EXPECT_THAT(problems_in(to), IsEmpty());
    EXPECT_EQ(shell(to, "sha256sum --check --strict --quiet SHA256SUMS"), 0);
    const auto entries = entries_in(manifest_of(to, "harbour"));
    EXPECT_EQ(entries.at("link").symlink, "holiday/boat.JPG");
    EXPECT_THAT(entries.at("holiday/boat.JPG").target, HasSubstr("boat.JPG"));
  }
}

TEST(ArrangedPull, DatesThatCannotBeAreNoDates) {
  NamedBox box("dates.iso");
  box.file("none", "a", 0, Timestamp{});
  box.file("unset-unix", "b", 0, day(1970, 1, 1));
  box.file("unset-dos", "c", 0, day(1980, 1, 1, 0));
  box.file("before", "d", 0, day(1969, 12, 31));
  box.file("mac-zero", "e", 0, day(1904, 1, 1));
  box.file("future", "f", 0, day(2150, 1, 1));
  box.file("early", "g", 0, day(1980, 1, 2));
  box.file("west", "h", 0, day(2003, 12, 31, 23, -480));  // 2004 in Greenwich
  box.open();
  box.pull(arranged(box.to(), Arrangement::kYear));
  const auto targets = targets_in(manifest_of(box.to(), "dates"));
  for (const char* name : {"none", "unset-unix", "unset-dos", "before", "mac-zero", "future"}) {
    EXPECT_EQ(targets.at(name), std::string("undated/") + name);
  }
  EXPECT_EQ(targets.at("early"), "1980/early");
  EXPECT_EQ(targets.at("west"), "2003/west");
}

TEST(ArrangedPull, NamesThatClashAreToldApartAndStay) {
  NamedBox box("clash.iso");
  const std::size_t a = box.directory("a"), b = box.directory("b"), c = box.directory("c");
  box.file("IMG_1.jpg", "first", a, day(2003, 1, 1));
  box.file("IMG_1.jpg", "second", b, day(2003, 2, 1));
  box.file("img_1.JPG", "third", c, day(2003, 3, 1));  // the same where letter case does not count
  box.open();
  box.pull(arranged(box.to()));
  const fs::path manifest = manifest_of(box.to(), "clash");
  const auto targets = targets_in(manifest);
  EXPECT_EQ(targets.at("a/IMG_1.jpg"), "2003/photos/IMG_1.jpg");
  EXPECT_THAT(targets.at("b/IMG_1.jpg"), ::testing::MatchesRegex("2003/photos/IMG_1~[0-9a-f]{8}\\.jpg"));
  EXPECT_THAT(targets.at("c/img_1.JPG"), ::testing::MatchesRegex("2003/photos/img_1~[0-9a-f]{8}\\.JPG"));
  for (const auto& [path, target] : targets) {
    EXPECT_EQ(read_text(box.to() / target), path[0] == 'a' ? "first" : path[0] == 'b' ? "second" : "third");
  }
  const std::string body = body_of(manifest);

  // Again, and again without any record, and only one of them into a new folder: the same names.
  PullReport again = box.pull(arranged(box.to()));
  EXPECT_EQ(again.bytes_written, 0u);
  EXPECT_EQ(body_of(manifest), body);
  fs::remove_all(box.to() / "lacuna-discs");
  fs::remove(box.to() / "SHA256SUMS");
  again = box.pull(arranged(box.to()));
  EXPECT_EQ(again.bytes_written, 0u);
  EXPECT_EQ(targets_in(manifest), targets);
  PullOptions one = arranged(box.scratch() / "one");
  one.only = GlobSet({"b/**"}, false);
  box.pull(one);
  EXPECT_EQ(targets_in(manifest_of(one.to, "clash")).at("b/IMG_1.jpg"), targets.at("b/IMG_1.jpg"));
}

TEST(ArrangedPull, SeveralDiscsKeepEachOthersFiles) {
  NamedBox first("one.iso"), second("two.iso");
  const fs::path to = first.to();
  first.file("IMG_1.jpg", "of the first", 0, day(2003, 1, 1));
  const std::size_t sub = second.directory("sub");
  second.file("IMG_1.jpg", "of the second", sub, day(2003, 1, 1));
  const std::uint64_t hurt_first = first.file("hurt.jpg", noise(9000, 1), 0, day(2003, 1, 1));
  const std::uint64_t hurt_second = second.file("hurt.jpg", noise(9000, 2), 0, day(2003, 1, 1));
  first.open(first.memory().mark(hurt_first, 1, SectorState::kBad));
  second.open(second.memory().mark(hurt_second, 1, SectorState::kBad));
  PullOptions options = arranged(to);
  options.damaged = true;
  first.pull(options);
  const std::string of_first = read_text(manifest_of(to, "one"));
  second.pull(options);
  EXPECT_EQ(read_text(manifest_of(to, "one")), of_first);
  EXPECT_EQ(read_text(to / "2003/photos/IMG_1.jpg"), "of the first");
  const auto targets = targets_in(manifest_of(to, "two"));
  EXPECT_THAT(targets.at("sub/IMG_1.jpg"), StartsWith("2003/photos/IMG_1~"));
  EXPECT_EQ(read_text(to / targets.at("sub/IMG_1.jpg")), "of the second");
  EXPECT_THAT(targets.at("hurt.jpg"), StartsWith("_damaged/2003/photos/hurt~"));
  EXPECT_EQ(targets_in(manifest_of(to, "one")).at("hurt.jpg"), "_damaged/2003/photos/hurt.jpg");
  EXPECT_THAT(problems_in(to), IsEmpty());

  // Each goes on under its names, whatever came in between. A better read of the first disc brings the file whole.
  EXPECT_EQ(second.pull(options).bytes_written, 0u);
  EXPECT_EQ(targets_in(manifest_of(to, "two")), targets);
  first.open();
  first.pull(options);
  EXPECT_EQ(read_text(to / "2003/photos/hurt.jpg"), noise(9000, 1));
  EXPECT_THAT(problems_in(to), IsEmpty());
}

TEST(ArrangedPull, SomebodysFileUnderThatNameStays) {
  NamedBox box("mine.iso");
  box.file("a.jpg", "from the disc", 0, day(2003, 1, 1));
  box.file("b.jpg", "the same", 0, day(2003, 1, 1));
  box.open();
  write_file(box.to() / "2003/a.jpg", "somebody's own");
  write_file(box.to() / "2003/b.jpg", "the same");
  const PullReport report = box.pull(arranged(box.to(), Arrangement::kYear));
  EXPECT_EQ(box.of(report, "a.jpg").outcome, PullOutcome::kBlocked);
  EXPECT_EQ(box.of(report, "b.jpg").outcome, PullOutcome::kAlreadyThere);
  EXPECT_EQ(read_text(box.to() / "2003/a.jpg"), "somebody's own");
}

TEST(ArrangedPull, HostileNames) {
  NamedBox box("../../evil\n.iso");
  box.file("..", "dots", 0, day(2003, 1, 1));
  box.file("a/b", "slash", 0, day(2003, 1, 1));
  box.file("con.jpg", "device", 0, day(2003, 1, 1));
  box.file(std::string(kPartPrefix) + "0000000000000000-1", "part", 0, day(2003, 1, 1));
  box.file("lacuna-discs", "ours", 0, day(2003, 1, 1));
  box.file(std::string(300, 'x') + ".jpg", "long", 0, day(2003, 1, 1));
  box.file("\xFF\xFE", "no text", 0, day(2003, 1, 1));
  box.open();
  const PullReport report = box.pull(arranged(box.to()));
  EXPECT_EQ(report.counts[static_cast<std::size_t>(PullOutcome::kPulled)], 7u);
  EXPECT_THAT(problems_in(box.to()), IsEmpty());
  EXPECT_THAT(listing(box.scratch()), ::testing::Each(StartsWith("out")));
}

TEST(ArrangedPull, ARecordThatLeadsElsewhereIsNotFollowed) {
  NamedBox box("lead.iso");
  box.file("a.jpg", "aaaa", 0, day(2003, 1, 1));
  box.open();
  box.pull(arranged(box.to(), Arrangement::kYear));
  const fs::path manifest = manifest_of(box.to(), "lead");
  std::string text = read_text(manifest);
  const std::string from = R"("target":"2003/a.jpg")";
  write_file(manifest, text.replace(text.find(from), from.size(), R"("target":"lacuna-discs/b.jsonl")"));
  fs::remove(box.to() / "2003/a.jpg");
  box.pull(arranged(box.to(), Arrangement::kYear));
  EXPECT_EQ(read_text(box.to() / "2003/a.jpg"), "aaaa");
  EXPECT_FALSE(is_there(box.to() / "lacuna-discs/b.jsonl"));
}

TEST(ArrangedPull, AFolderKeepsTheLayoutThatItWasBegunWith) {
  NamedBox box("layout.iso");
  box.file("a.jpg", "a", 0, day(2003, 1, 1));
  box.open();
  const auto options = [&](bool bag, Arrangement arrangement, bool once, const fs::path& to) {
    PullOptions o = arranged(to, arrangement);
    o.bag = bag;
    o.once = once;
    return o;
  };
  int number = 0;
  for (const bool bag : {false, true}) {
    for (const Arrangement a : {Arrangement::kTree, Arrangement::kYear, Arrangement::kKind}) {
      for (const bool once : {false, true}) {
        const fs::path to = box.scratch() / std::to_string(number++);
        box.pull(options(bag, a, once, to));
        const auto before = files_in(to);
        for (const auto& other :
             {options(!bag, a, once, to), options(bag, a, !once, to),
              options(bag, a == Arrangement::kTree ? Arrangement::kYear : Arrangement::kTree, once, to),
              options(bag, Arrangement::kYearKind, once, to)}) {
          const auto refused = box.try_pull(other);
          ASSERT_FALSE(refused.ok());
          EXPECT_EQ(refused.error().code, ErrorCode::kUsage) << refused.error().message;
          EXPECT_THAT(refused.error().message, HasSubstr("was begun with"));
        }
        EXPECT_EQ(files_in(to), before);
        EXPECT_THAT(problems_in(to), IsEmpty());
      }
    }
  }
}

}  // namespace
}  // namespace lacuna::test

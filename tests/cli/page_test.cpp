// SPDX-License-Identifier: GPL-3.0-or-later
// `lacuna report --to`: what it writes, what it never touches, and how it ends.
#include "cli/command.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;
using ::testing::IsEmpty;

std::string text_in(const std::filesystem::path& file) {
  const std::vector<std::uint8_t> bytes = read_file(file);
  return {bytes.begin(), bytes.end()};
}

std::size_t entries(const std::filesystem::path& folder) {
  std::size_t count = 0;
  for ([[maybe_unused]] const auto& entry : std::filesystem::directory_iterator(folder)) ++count;
  return count;
}

TEST_F(MuseumDisc, PageOfAWholeDiscEndsWithZero) {
  const ScratchFolder out;
  const std::string page = (out / "museum.html").string(), good = map("good.map", "#! default good\n");
  const ProcessResult r = lacuna({"report", image(), "--map", good, "--to", page});
  EXPECT_EQ(r.status, 0) << r.err;
  EXPECT_THAT(r.out + r.err, IsEmpty());
  EXPECT_THAT(text_in(page), HasSubstr("All 6 files are whole."));
  EXPECT_EQ(entries(out.path()), 1u);
}

TEST_F(MuseumDisc, PageOfADamagedDiscEndsWithOne) {
  const ScratchFolder out;
  const std::string page = (out / "museum.html").string();
  const std::string damage = map("page.map", std::to_string(lba_of("Pilot boat, line 1\n")) + " 1 bad\n");
  EXPECT_EQ(lacuna({"report", image(), "--map", damage, "--to", page}).status, 1);
  EXPECT_THAT(text_in(page), HasSubstr("5 of 6 files are whole."));
}

TEST_F(MuseumDisc, PageNeverReplacesAnything) {
  const ScratchFolder out;
  write_file(out / "mine.html", "mine");
  const ProcessResult r = lacuna({"report", image(), "--to", (out / "mine.html").string()});
  EXPECT_EQ(r.status, 4);
  EXPECT_THAT(r.err, HasSubstr("mine.html"));
  EXPECT_EQ(text_in(out / "mine.html"), "mine");
  std::filesystem::create_symlink("nowhere", out / "link.html");
  EXPECT_EQ(lacuna({"report", image(), "--to", (out / "link.html").string()}).status, 4);
  EXPECT_EQ(lacuna({"report", image(), "--to", (out / "no folder/a.html").string()}).status, 4);
  EXPECT_EQ(entries(out.path()), 2u);
}

TEST_F(MuseumDisc, PageOfAnUnreadableImageIsNotLeftBehind) {
  const ScratchFolder out;
  EXPECT_EQ(lacuna({"report", (out / "gone.iso").string(), "--to", (out / "a.html").string()}).status, 3);
  EXPECT_EQ(entries(out.path()), 0u);
}

TEST_F(MuseumDisc, PageThatDoesNotFitEndsWithFourAndLeavesNothing) {
  const ScratchFolder out;
  ProcessOptions options;
  options.largest_file = 20'000;
  EXPECT_EQ(lacuna({"report", image(), "--to", (out / "a.html").string()}, options).status, 4);
  EXPECT_EQ(entries(out.path()), 0u);
}

TEST_F(MuseumDisc, PageOfABoxGoesOnBehindAnImageThatCannotBeRead) {
  const ScratchFolder out;
  const std::string page = (out / "box.html").string();
  const std::string damage = map("box.map", std::to_string(lba_of("Pilot boat, line 1\n")) + " 1 bad\n");
  const ProcessResult r =
      lacuna({"report", image() + ",map=" + damage, (out / "gone.iso").string(), image(), "--to", page});
  EXPECT_EQ(r.status, 3);
  const std::string text = text_in(page);
  EXPECT_THAT(text, HasSubstr("The box: 3 discs"));
  EXPECT_THAT(text, HasSubstr("1 image could not be read."));
  EXPECT_THAT(text, HasSubstr("id=\"disc-2\""));
}

TEST_F(MuseumDisc, PageWithThumbnailsSaysThatThereIsNoPicture) {
  const ScratchFolder out;
  const std::string page = (out / "museum.html").string();
  EXPECT_LE(lacuna({"report", image(), "--to", page, "--thumbnails"}).status, 1);
  EXPECT_THAT(text_in(page), HasSubstr("id=\"data-1-thumbnails\">{\"pictures\":0"));
}

}  // namespace
}  // namespace lacuna::test

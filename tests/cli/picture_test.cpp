// SPDX-License-Identifier: GPL-3.0-or-later
// lacuna report --picture from end to end.
#include <fstream>
#include <iterator>

#include "cli/command.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::StartsWith;

std::string contents(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

TEST_F(MuseumDisc, PicturesAreDrawnInBothForms) {
  const ScratchFolder scratch;
  const std::string damage = map("picture.map", std::to_string(lba_of("Pilot boat, line 1\n")) + " 3 bad\n");
  const std::string svg = (scratch / "disc.svg").string(), png = (scratch / "disc.png").string();
  for (const std::string& to : {svg, png}) {
    const ProcessResult r = lacuna({"report", image(), "--map", damage, "--picture", to});
    EXPECT_EQ(r.status, 1) << r.err;
    EXPECT_THAT(r.out + r.err, IsEmpty());
  }
  EXPECT_THAT(contents(svg), HasSubstr("museum.iso"));
  EXPECT_THAT(contents(svg), HasSubstr("HARBOUR_MUSEUM"));
  EXPECT_THAT(contents(svg), HasSubstr(" 3 bad"));
  EXPECT_THAT(contents(png), StartsWith("\x89PNG\r\n"));
  // An XML parser of others takes it.
  const ProcessResult parsed =
      run_process({"/usr/bin/env", "python3", "-c",
                   "import sys, xml.etree.ElementTree as e; print(e.parse(sys.argv[1]).getroot().tag)", svg});
  EXPECT_EQ(parsed.status, 0) << parsed.err;
  EXPECT_EQ(parsed.out, "{http://www.w3.org/2000/svg}svg\n");
}

TEST_F(MuseumDisc, APictureOfAWholeDiscEndsWithZero) {
  const ScratchFolder scratch;
  const std::string to = (scratch / "disc.svg").string();
  EXPECT_EQ(lacuna({"report", image(), "--map", map("all-good.map", "#! default good\n"), "--picture", to}).status, 0);
  // The medium can be told.
  const std::string dvd = (scratch / "dvd.svg").string();
  EXPECT_EQ(lacuna({"report", image(), "--picture", dvd, "--medium", "dvd-8cm"}).status, 0);
  EXPECT_THAT(contents(dvd), HasSubstr("DVD, 8 cm, one layer"));
}

TEST_F(MuseumDisc, PicturesReplaceNothing) {
  const ScratchFolder scratch;
  const std::string to = (scratch / "taken.svg").string();
  std::ofstream(to) << "mine";
  const ProcessResult r = lacuna({"report", image(), "--picture", to});
  EXPECT_EQ(r.status, 4);
  EXPECT_THAT(r.err, HasSubstr("taken.svg"));
  EXPECT_EQ(contents(to), "mine");
  EXPECT_EQ(lacuna({"report", image(), "--picture", (scratch / "no" / "such.svg").string()}).status, 4);
  EXPECT_EQ(lacuna({"report", image(), "--picture", (scratch / "disc.gif").string()}).status, 2);
  EXPECT_EQ(lacuna({"report", image(), "--picture", to, "--medium", "tape"}).status, 2);
  EXPECT_EQ(lacuna({"report", image()}).status, 2);
  // Nothing is left behind where the image can't be read.
  EXPECT_EQ(lacuna({"report", (scratch / "none.iso").string(), "--picture", (scratch / "new.svg").string()}).status, 3);
  EXPECT_EQ(std::distance(std::filesystem::directory_iterator(scratch.path()), {}), 1);
}

TEST_F(MuseumDisc, ADiscWithoutAFileSystemHasAPicture) {
  const ScratchFolder scratch;
  const std::string blank = (scratch / "blank.img").string(), to = (scratch / "blank.svg").string();
  std::ofstream(blank) << std::string(200 * 2048, 'x');
  const ProcessResult r = lacuna({"report", blank, "--map", map("blank.map", "50 10 bad\n"), "--picture", to});
  EXPECT_EQ(r.status, 1);
  EXPECT_THAT(r.err, HasSubstr("no file system"));
  EXPECT_THAT(contents(to), HasSubstr("200 sectors: 190 good, 10 bad."));
}

}  // namespace
}  // namespace lacuna::test

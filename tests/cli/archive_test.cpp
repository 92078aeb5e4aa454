// SPDX-License-Identifier: GPL-3.0-or-later
// Archive packages from end to end: bags, arranged folders, files stored once.
#include "cli/command.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;
using ::testing::IsEmpty;

bool is_valid_bag(const std::filesystem::path& bag) {
  return run_command(bag, "python3 '" LACUNA_SOURCE "/tests/salvage/check_bag.py' . >/dev/null");
}

TEST_F(MuseumDisc, ABagIsValidAndVerified) {
  const ScratchFolder scratch;
  const std::string to = (scratch / "bag").string();
  const std::string damage = map("pull.map", std::to_string(lba_of("Pilot boat, line 1\n")) + " 1 bad\n");
  const std::vector<std::string> pull{"pull", image(), "--map", damage,       "--damaged",
                                      "--to", to,      "--bag", "--bag-info", "Source-Organization: Harbour Museum"};
  ProcessResult r = lacuna(pull);
  EXPECT_EQ(r.status, 1) << r.out << r.err;
  EXPECT_THAT(r.out, HasSubstr("is a complete bag"));
  EXPECT_TRUE(is_valid_bag(scratch / "bag"));
  EXPECT_TRUE(
      run_command(scratch / "bag", "sha256sum --quiet -c manifest-sha256.txt tagmanifest-sha256.txt SHA256SUMS"));
  EXPECT_EQ(lacuna({"verify", to}).status, 0);

  write_file(scratch / "bag/data/stray", "somebody's");
  r = lacuna(pull);
  EXPECT_EQ(r.status, 4) << r.out << r.err;
  EXPECT_THAT(r.out, HasSubstr("'data/stray' was not put there by a pull; move it away, and pull again"));
  EXPECT_EQ(lacuna({"verify", to}).status, 1);
  std::filesystem::remove(scratch / "bag/data/stray");
  EXPECT_EQ(lacuna(pull).status, 1);
  EXPECT_TRUE(is_valid_bag(scratch / "bag"));
}

TEST_F(MuseumDisc, TwoDiscsInOneArchive) {
  const ScratchFolder scratch;
  const std::filesystem::path tree = scratch / "tree", to = scratch / "archive";
  write_file(tree / "again/Boat.jpg", prose("Pilot boat", 30000));
  write_file(tree / "again/New.jpg", prose("New", 3000));
  const std::vector<std::uint8_t> bytes = genisoimage(tree, "-R -V SECOND_BOX");
  write_file(scratch / "second.iso", std::string(bytes.begin(), bytes.end()));
  const std::vector<std::string> options{"--to",      to.string(), "--bag", "--arrange",
                                         "year/kind", "--once",    "--map", map("good.map", "#! default good\n")};
  for (const std::string& disc : {image(), (scratch / "second.iso").string()}) {
    std::vector<std::string> pull{"pull", disc};
    pull.insert(pull.end(), options.begin(), options.end());
    const ProcessResult r = lacuna(pull);
    EXPECT_EQ(r.status, 0) << r.out << r.err;
    if (disc != image()) {
      EXPECT_THAT(r.out, HasSubstr("1 file, 30 kB, stored already under another path"));
    }
  }
  EXPECT_TRUE(std::filesystem::exists(to / "data/2004/photos/Pilot boat.jpg"));
  EXPECT_TRUE(std::filesystem::exists(to / "lacuna-discs/HARBOUR_MUSEUM.jsonl"));
  EXPECT_TRUE(std::filesystem::exists(to / "lacuna-discs/SECOND_BOX.jsonl"));
  EXPECT_TRUE(is_valid_bag(to));
  EXPECT_EQ(lacuna({"verify", to.string()}).status, 0);

  const ProcessResult other = lacuna({"pull", image(), "--to", to.string(), "--bag"});
  EXPECT_EQ(other.status, 2);
  EXPECT_THAT(other.err, HasSubstr("was begun with --bag --arrange year/kind --once"));
}

TEST_F(MuseumDisc, WhatDoesNotGoTogetherIsRefused) {
  const ScratchFolder scratch;
  const std::string to = (scratch / "out").string();
  for (const std::vector<std::string>& more : {std::vector<std::string>{"--once", "--replace"},
                                               {"--bag-info", "A: b"},
                                               {"--bag", "--bag-info", "no element"},
                                               {"--bag", "--bag-info", "Payload-Oxum: 1.1"},
                                               {"--bag", "--bag-info", "A: b\nC: d"},
                                               {"--arrange", "month"}}) {
    std::vector<std::string> pull{"pull", image(), "--to", to};
    pull.insert(pull.end(), more.begin(), more.end());
    const ProcessResult r = lacuna(pull);
    EXPECT_EQ(r.status, 2) << more.back();
    EXPECT_THAT(r.out, IsEmpty());
  }
  EXPECT_FALSE(std::filesystem::exists(to));
}

}  // namespace
}  // namespace lacuna::test

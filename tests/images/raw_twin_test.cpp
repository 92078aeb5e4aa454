// SPDX-License-Identifier: GPL-3.0-or-later
// The same disc as a plain image and as whole sectors: everything said of every file is the same, intact and damaged.
// The plain twin has a map of what the raw one has to find out by the sectors' own codes.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "lacuna/content.h"
#include "lacuna/disc.h"
#include "lacuna/pull.h"
#include "lacuna/verdict.h"
#include "support/raw_disc.h"
#include "support/udf_builder.h"

namespace lacuna::test {
namespace {

std::vector<std::uint8_t> authored(const std::string& options) {
  const ScratchFolder tree;
  std::mt19937 random(5);
  for (int i = 0; i < 40; ++i) {
    std::string content(random() % 9000, '\0');
    std::ranges::generate(content, [&] { return static_cast<char>(random() >> 9); });
    write_file(tree.path() / (i % 3 == 0 ? "letters" : "pictures of the pier") / ("no " + std::to_string(i) + ".jpeg"),
               content);
  }
  return genisoimage(tree.path(), options);
}

/// What is said of every file, one a line; and its bytes' states.
std::vector<std::string> account(const Image& image) {
  const auto disc = open_disc(image);
  if (!disc) return {disc.error().message};
  const auto verdicts = judge(**disc);
  if (!verdicts) return {verdicts.error().message};
  std::vector<std::string> lines;
  const Tree& tree = (*disc)->tree();
  for (NodeId id = 1; id < tree.size(); ++id) {
    const Verdict& v = verdicts->of(id);
    std::string line = tree.path(id) + ": " + std::string(to_string(v.state));
    for (const Gap& g : verdicts->gaps(v)) {
      line += " " + std::to_string(g.offset) + "+" + std::to_string(g.length) + " " + std::string(to_string(g.state));
    }
    if (!tree.node(id).is_directory()) {
      FileReader reader(**disc, id);
      std::vector<std::uint8_t> bytes(static_cast<std::size_t>(reader.size()));
      std::vector<Gap> gaps;
      reader.read(0, bytes, gaps);
      std::size_t sum = 0;
      for (const std::uint8_t b : bytes) sum = sum * 131 + b;
      line += " #" + std::to_string(sum) + " gaps " + std::to_string(gaps.size());
    }
    lines.push_back(std::move(line));
  }
  return lines;
}

void expect_same(const std::vector<std::string>& one, const std::vector<std::string>& other) {
  EXPECT_EQ(one.size(), other.size());
  for (std::size_t i = 0; i < std::min(one.size(), other.size()); ++i) EXPECT_EQ(one[i], other[i]);
}

struct Twin {
  const char* name;
  SectorForm form;
  std::uint32_t unit_bytes;
};

class RawTwins : public ::testing::TestWithParam<Twin> {
 protected:
  RawDisc raw(Bytes plain) const {
    RawDisc disc(GetParam().unit_bytes);
    disc.add(GetParam().form, plain);
    return disc;
  }

  void compare(const std::vector<std::uint8_t>& plain) {
    const ScratchFolder folder;
    write_file(folder / "plain.iso", std::string(plain.begin(), plain.end()));
    RawDisc disc = raw(plain);
    const auto intact = open_image(disc.write(folder, "intact.bin"));
    const auto twin = open_image(folder / "plain.iso");
    ASSERT_TRUE(intact && twin);
    EXPECT_EQ(account(*intact), account(*twin));

    std::mt19937 random(11);
    std::string map = "#! default good\n";
    for (std::uint64_t i = 0; i < disc.units(); ++i) {
      const auto unit = disc.unit(i);
      if (random() % 12 == 0) {  // beyond repair
        for (std::size_t b = 24; b < 2100; ++b) unit[b] = static_cast<std::uint8_t>(random() >> 7);
        map += std::to_string(i) + " 1 bad\n";
      } else if (random() % 12 == 0) {  // to be repaired
        for (std::size_t b = 0; b < 15; ++b) unit[700 + b] ^= 0x77;
        map += std::to_string(i) + " 1 repaired\n";
      }
    }
    write_file(folder / "plain.map", map);
    ImageOptions options;
    options.maps = {folder / "plain.map"};
    const auto hurt = open_image(disc.write(folder, "hurt.bin"));
    const auto mapped = open_image(folder / "plain.iso", options);
    ASSERT_TRUE(hurt && mapped);
    EXPECT_EQ(states_text(*hurt), states_text(*mapped));
    expect_same(account(*hurt), account(*mapped));

    // Made plain, it still is the same.
    const auto made = write_plain_image(*hurt, {folder / "made.iso", {}, {}});
    ASSERT_TRUE(made) << made.error().message;
    options.maps = {folder / "made.iso.map"};
    const auto again = open_image(folder / "made.iso", options);
    ASSERT_TRUE(again);
    EXPECT_EQ(again->raw(), nullptr);
    EXPECT_EQ(again->basis(), GetParam().unit_bytes < kRawSectorBytes ? Basis::kAssumed : Basis::kEdc);
    expect_same(account(*again), account(*mapped));
    const auto taken = write_plain_image(*hurt, {folder / "made.iso", {}, {}});
    ASSERT_FALSE(taken);
    EXPECT_EQ(taken.error().code, ErrorCode::kCannotWrite);
  }
};

TEST_P(RawTwins, Iso9660) { compare(authored("-R -J -quiet")); }
TEST_P(RawTwins, Udf) {
  UdfNode root = udf_directory("");
  for (std::uint32_t i = 0; i < 30; ++i)
    root.children.push_back(udf_file("no " + std::to_string(i), udf_noise(i, 700 * i)));
  compare(build_udf(std::move(root)).bytes);
}

INSTANTIATE_TEST_SUITE_P(All, RawTwins,
                         ::testing::Values(Twin{"mode_1", SectorForm::kMode1, 2352},
                                           Twin{"form_1", SectorForm::kForm1, 2352},
                                           Twin{"form_1_without_header", SectorForm::kForm1, 2336},
                                           Twin{"with_subchannels", SectorForm::kMode1, 2448}),
                         [](const auto& p) { return p.param.name; });

TEST(RawTwin, PlainImagesHaveNoTrackToWrite) {
  const ScratchFolder folder;
  const auto plain = authored("-quiet");
  write_file(folder / "plain.iso", std::string(plain.begin(), plain.end()));
  const auto image = open_image(folder / "plain.iso");
  const auto made = write_plain_image(*image, {folder / "made.iso", {}, {}});
  ASSERT_FALSE(made);
  EXPECT_EQ(made.error().code, ErrorCode::kUsage);
}

// ---- several tracks, by a cue sheet

TEST(RawTwin, VolumesAreFoundAtTheirTracks) {
  const ScratchFolder folder;
  const auto first = authored("-R -quiet");
  RawDisc disc;
  disc.add(SectorForm::kMode1, first);
  const std::uint64_t audio_lba = disc.units();
  disc.add_audio(300, 4);
  const std::uint64_t second_lba = disc.units();
  // A volume made for the place where it stands, as the addresses in it say.
  const ScratchFolder tree;
  write_file(tree.path() / "later.txt", "written in the second session\n");
  run_command(folder.path(),
              "genisoimage -quiet -R -C 0," + std::to_string(second_lba) + " -o second.iso " + tree.path().string());
  disc.add(SectorForm::kMode1, read_file(folder / "second.iso"));
  disc.write(folder, "disc.bin");
  const auto time = [](std::uint64_t lba) {
    const auto two = [](std::uint64_t n) { return (n < 10 ? "0" : "") + std::to_string(n); };
    return two(lba / 4500) + ":" + two(lba / 75 % 60) + ":" + two(lba % 75);
  };
  write_file(folder / "disc.cue",
             "FILE \"disc.bin\" BINARY\n  TRACK 01 MODE1/2352\n    INDEX 01 00:00:00\n"
             "  TRACK 02 AUDIO\n    TITLE \"Gulls\"\n    INDEX 01 " +
                 time(audio_lba) +
                 "\n"
                 "  TRACK 03 MODE1/2352\n    INDEX 01 " +
                 time(second_lba) + "\n");
  const auto image = open_image(folder / "disc.cue");
  ASSERT_TRUE(image);
  ASSERT_EQ(image->raw()->tracks().size(), 3U);
  EXPECT_EQ(image->raw()->tracks()[1].title, "Gulls");
  EXPECT_EQ(image->raw()->of_form(SectorForm::kAudio).total(), 300U);
  DiscOptions all;
  all.all_sessions = true;
  const auto opened = open_disc(*image, all);
  ASSERT_TRUE(opened) << opened.error().message;
  std::vector<std::string> paths;
  const Tree& seen = (*opened)->tree();
  for (NodeId id = 1; id < seen.size(); ++id) paths.push_back(seen.path(id));
  EXPECT_THAT(paths, ::testing::Contains("session-2/later.txt"));
  EXPECT_THAT(paths, ::testing::Contains(::testing::StartsWith("session-1/letters/no ")));
  ASSERT_EQ((*opened)->sessions().size(), 2U);
  EXPECT_EQ((*opened)->sessions()[1].start_lba, second_lba);
}

}  // namespace
}  // namespace lacuna::test

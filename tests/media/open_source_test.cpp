// SPDX-License-Identifier: GPL-3.0-or-later
// Files, sparse files, devices and numbered parts, as the operating system has them.
#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <fstream>
#include <memory>

#include "lacuna/image.h"
#include "media/part_names.h"
#include "media/temp_folder.h"
#include "support/memory_image.h"

namespace lacuna {
namespace {

using enum SectorState;
using test::numbered_sectors;
using test::TempFolder;
using Paths = std::vector<std::filesystem::path>;

struct Opened {
  Result<std::unique_ptr<SectorSource>> source;
  Findings findings;

  std::string message() const { return source.ok() ? "opened" : source.error().message; }
  std::vector<std::string> kinds() const {
    std::vector<std::string> out;
    for (const Finding& f : findings.list()) out.push_back(f.kind);
    return out;
  }
};

Opened open(const Paths& paths, std::uint64_t starts_at = 0) {
  Findings findings;
  auto source = open_source(paths, {starts_at, 0, {}, {}}, findings);
  return {std::move(source), std::move(findings)};
}

std::vector<std::uint8_t> read_all(const SectorSource& source, std::vector<SectorState>* states_out = nullptr) {
  const std::size_t count = static_cast<std::size_t>(source.end_lba() - source.first_lba());
  std::vector<std::uint8_t> out(count * kSectorBytes);
  std::vector<SectorState> states(count);
  source.read(source.first_lba(), out, states);
  if (states_out != nullptr) *states_out = states;
  return out;
}

std::vector<std::uint8_t> cut(const std::vector<std::uint8_t>& all, std::size_t from, std::size_t to) {
  return {all.begin() + static_cast<std::ptrdiff_t>(from), all.begin() + static_cast<std::ptrdiff_t>(to)};
}

TEST(OpenSource, RegularFileGivesItsBytes) {
  const TempFolder folder;
  const std::vector<std::uint8_t> bytes = numbered_sectors(7);
  const Opened x = open({folder.write("disc.iso", bytes)});
  ASSERT_TRUE(x.source.ok()) << x.message();
  EXPECT_EQ((*x.source)->end_lba(), 7U);
  EXPECT_TRUE((*x.source)->holes().empty());
  EXPECT_EQ(read_all(**x.source), bytes);
  EXPECT_TRUE(x.findings.empty());
}

TEST(OpenSource, ReadOnlyFileOpens) {
  const TempFolder folder;
  const auto path = folder.write("disc.iso", numbered_sectors(1));
  std::filesystem::permissions(path, std::filesystem::perms::owner_read);
  EXPECT_TRUE(open({path}).source.ok());
}

TEST(OpenSource, WhatIsNoImageIsRefusedWithAReason) {
  const TempFolder folder;
  const auto refusal = [](const std::filesystem::path& path) {
    const Opened x = open({path});
    EXPECT_FALSE(x.source.ok());
    if (!x.source.ok()) {
      EXPECT_EQ(x.source.error().code, ErrorCode::kNotReadable);
    }
    return x.message();
  };
  const std::string advice = "; give an image file, a block device, or the first of numbered parts";
  const std::string in = "'" + (folder / "").string();
  EXPECT_EQ(refusal(folder / "none.iso"), "cannot open " + in + "none.iso': No such file or directory; check the path");
  EXPECT_EQ(refusal(folder / ""), in + "' is a directory" + advice);
  EXPECT_EQ(refusal(folder.write("empty.iso", std::string_view())),
            in + "empty.iso' is empty; was the copy interrupted? Copy it again");
  EXPECT_EQ(refusal("/dev/null"), "'/dev/null' is a character device" + advice);
  ASSERT_EQ(::mkfifo((folder / "pipe").c_str(), 0600), 0);
  EXPECT_EQ(refusal(folder / "pipe"), in + "pipe' is a pipe" + advice);
  ASSERT_EQ(::symlink("loop", (folder / "loop").c_str()), 0);
  EXPECT_EQ(refusal(folder / "loop"), "cannot open " + in + "loop': Too many levels of symbolic links");
  const Opened nothing = open({});
  ASSERT_FALSE(nothing.source.ok());
  EXPECT_EQ(nothing.source.error().code, ErrorCode::kUsage);
}

TEST(OpenSource, UnreadableFileIsRefusedWithAdvice) {
  const TempFolder folder;
  const auto path = folder.write("disc.iso", numbered_sectors(1));
  std::filesystem::permissions(path, std::filesystem::perms::none);
  std::filesystem::permissions(folder / "", std::filesystem::perms{0755});
  // Root may read every file, so that root becomes someone else meanwhile.
  constexpr uid_t kNobody = 65534;
  const bool is_root = ::geteuid() == 0;
  if (is_root) {
    ASSERT_EQ(::seteuid(kNobody), 0);
  }
  const Opened x = open({path});
  if (is_root) {
    ASSERT_EQ(::seteuid(0), 0);
  }
  EXPECT_EQ(x.message(), "cannot open '" + path.string() +
                             "': Permission denied; make it readable for this user, or copy it to where it is");
}

TEST(OpenSource, SparseFileOf128GigabytesOpensAtOnceAndItsHoleIsUnread) {
  const TempFolder folder;
  const auto path = folder.write("disc.iso", numbered_sectors(8));
  constexpr std::uint64_t kBytes = std::uint64_t{128} << 30;
  constexpr std::uint64_t kEnd = kBytes / kSectorBytes;
  ASSERT_EQ(::truncate(path.c_str(), static_cast<off_t>(kBytes - 8 * kSectorBytes)), 0);
  {
    std::ofstream tail(path, std::ios::binary | std::ios::app);
    for (const std::uint8_t b : numbered_sectors(8, kEnd - 8)) tail.put(static_cast<char>(b));
  }
  const Opened x = open({path});
  ASSERT_TRUE(x.source.ok()) << x.message();
  if ((*x.source)->holes().empty()) GTEST_SKIP() << "the file system of the temporary folder knows no holes";
  const auto image = Image::open({path});
  ASSERT_TRUE(image.ok());
  const SectorMap states = (*image)->states();
  EXPECT_EQ((*image)->end_lba(), kEnd);
  EXPECT_LE(states.runs().size(), 5U);
  EXPECT_EQ(states.at(0), kGood);
  EXPECT_EQ(states.at(kEnd / 2), kUnread);
  EXPECT_EQ(states.at(kEnd - 1), kGood);
  EXPECT_EQ(states.at(kEnd), kAbsent);
  std::vector<std::uint8_t> out(kSectorBytes);
  std::vector<SectorState> state(1);
  (*image)->read(kEnd - 1, out, state);
  EXPECT_EQ(out, test::numbered_sector(kEnd - 1));
}

TEST(OpenSource, BlockDeviceIsReadLikeAFile) {
  const TempFolder folder;
  const std::vector<std::uint8_t> bytes = numbered_sectors(16);
  const auto path = folder.write("disc.iso", bytes);
  const std::string command = "losetup --read-only --find --show '" + path.string() + "' 2>/dev/null";
  std::FILE* pipe = ::popen(command.c_str(), "r");
  ASSERT_NE(pipe, nullptr);
  std::array<char, 64> line{};
  const bool got_line = std::fgets(line.data(), static_cast<int>(line.size()), pipe) != nullptr;
  if (::pclose(pipe) != 0 || !got_line) GTEST_SKIP() << "no loop device can be set up here (needs root and losetup)";
  std::string device = line.data();
  device.erase(device.find_last_not_of('\n') + 1);
  {
    const Opened x = open({device});
    EXPECT_TRUE(x.source.ok()) << x.message();
    if (x.source.ok()) {
      EXPECT_EQ((*x.source)->end_lba(), 16U);
      EXPECT_TRUE((*x.source)->holes().empty());
      EXPECT_EQ(read_all(**x.source), bytes);
    }
  }
  EXPECT_EQ(std::system(("losetup --detach " + device).c_str()), 0);
}

// --- parts ----------------------------------------------------------------------------------------------------------

TEST(PartName, NamesThatArePartsAndNamesThatAreNot) {
  const auto stem_and_number = [](const char* path) -> std::string {
    const auto name = PartName::parse(path);
    return name ? name->stem + "|" + std::to_string(name->number) : "none";
  };
  EXPECT_EQ(stem_and_number("a/x.001"), "x.|1");
  EXPECT_EQ(stem_and_number("x.iso.010"), "x.iso.|10");
  EXPECT_EQ(stem_and_number("x.00"), "x.|0");
  EXPECT_EQ(stem_and_number("x.1"), "x.|1");
  EXPECT_EQ(stem_and_number("x.part1"), "x.part|1");
  EXPECT_EQ(stem_and_number("X.PART02"), "X.PART|2");
  EXPECT_EQ(stem_and_number("disc1"), "none");
  EXPECT_EQ(stem_and_number("disc.iso"), "none");
  EXPECT_EQ(stem_and_number(".001"), "none");
  EXPECT_EQ(stem_and_number("001"), "none");
  EXPECT_EQ(stem_and_number("x.1234567890"), "none");
}

TEST(PartName, NumbersGrowInWidthOnlyWhenTheyMust) {
  EXPECT_EQ(PartName::parse("a/x.099")->path_of(100), "a/x.100");
  EXPECT_EQ(PartName::parse("x.999")->path_of(1000), "x.1000");
  EXPECT_EQ(PartName::parse("x.9")->path_of(10), "x.10");
  const auto same = [](const char* a, const char* b) { return PartName::parse(a)->same_set(*PartName::parse(b)); };
  EXPECT_TRUE(same("x.9", "x.10"));
  EXPECT_TRUE(same("x.10", "x.9"));
  EXPECT_TRUE(same("x.001", "x.1000"));
  EXPECT_FALSE(same("x.001", "x.02"));
  EXPECT_FALSE(same("x.01", "x.1"));
  EXPECT_FALSE(same("x.01", "y.02"));
  EXPECT_FALSE(same("a/x.01", "b/x.02"));
}

// Writes parts of `size` bytes with these numbers, of an image of `bytes`.
void write_parts(const TempFolder& folder, const std::vector<std::uint8_t>& bytes, std::size_t size,
                 const std::vector<std::pair<std::string, std::size_t>>& names_and_slots) {
  for (const auto& [name, slot] : names_and_slots) {
    folder.write(name, cut(bytes, slot * size, std::min(bytes.size(), (slot + 1) * size)));
  }
}

TEST(Parts, OthersAreFoundFromTheFirstAndSectorsCrossThem) {
  const std::vector<std::uint8_t> bytes = numbered_sectors(10);
  for (const auto& names : std::vector<std::vector<std::string>>{{"x.001", "x.002", "x.003"},
                                                                 {"x.iso.001", "x.iso.002", "x.iso.003"},
                                                                 {"x.00", "x.01", "x.02"},
                                                                 {"x.1", "x.2", "x.3"},
                                                                 {"x.part1", "x.part2", "x.part3"}}) {
    const TempFolder folder;
    write_parts(folder, bytes, 7001, {{names[0], 0}, {names[1], 1}, {names[2], 2}});
    folder.write("y.002", bytes);  // of another set
    const Opened x = open({folder / names[0]});
    ASSERT_TRUE(x.source.ok()) << x.message();
    EXPECT_EQ(read_all(**x.source), bytes) << names[0];
    EXPECT_EQ(x.kinds(), std::vector<std::string>{"parts-joined"});
  }
}

TEST(Parts, TwelvePartsWithGrowingNumbersAreInNumericOrder) {
  const std::vector<std::uint8_t> bytes = numbered_sectors(12);
  const TempFolder folder;
  for (std::size_t i = 0; i < 12; ++i) folder.write("x." + std::to_string(i + 1), cut(bytes, i * 2048, (i + 1) * 2048));
  EXPECT_EQ(read_all(*open({folder / "x.1"}).source.value()), bytes);
}

TEST(Parts, MissingPartIsAbsentAtItsPlaceAndNothingShifts) {
  const std::vector<std::uint8_t> bytes = numbered_sectors(16);
  const TempFolder folder;
  write_parts(folder, bytes, 4 * 2048 + 100, {{"x.001", 0}, {"x.002", 1}, {"x.004", 3}});
  for (const Paths& paths : {Paths{folder / "x.001"}, Paths{folder / "x.001", folder / "x.002", folder / "x.004"}}) {
    const Opened x = open(paths);
    ASSERT_TRUE(x.source.ok()) << x.message();
    std::vector<SectorState> states;
    const std::vector<std::uint8_t> all = read_all(**x.source, &states);
    // Part 3 is bytes 16584 to 24876: sectors 8 (in part) to 12 (in part).
    EXPECT_EQ((*x.source)->missing(), RangeSet::from_unsorted({{8, 13}}));
    for (std::size_t i = 0; i < 16; ++i) {
      EXPECT_EQ(states[i], i >= 8 && i < 13 ? kAbsent : kGood) << i;
      if (states[i] == kGood) {
        EXPECT_EQ(cut(all, i * 2048, (i + 1) * 2048), test::numbered_sector(i));
      }
    }
    const Finding& finding = x.findings.list().back();
    EXPECT_EQ(finding.kind, "part-missing");
    EXPECT_EQ(finding.subject, (folder / "x.003").string());
    EXPECT_EQ(finding.severity, Severity::kLoss);
    EXPECT_EQ(finding.lba, 8U);
  }
}

TEST(Parts, MissingPartAmongPartsOfUnequalSizesIsAnError) {
  const TempFolder folder;
  folder.write("x.001", numbered_sectors(2));
  folder.write("x.002", numbered_sectors(1));
  folder.write("x.004", numbered_sectors(1));
  const Opened x = open({folder / "x.001"});
  ASSERT_FALSE(x.source.ok());
  EXPECT_NE(x.message().find("the place of the others can't be known"), std::string::npos) << x.message();
  EXPECT_NE(x.message().find("x.002' has 2048 bytes"), std::string::npos) << x.message();
}

TEST(Parts, FoundPartsOfUnequalSizesAreAnErrorAndListedOnesADoubt) {
  const TempFolder folder;
  std::vector<std::uint8_t> bytes = numbered_sectors(5);
  folder.write("x.001", cut(bytes, 0, 4096));
  folder.write("x.002", cut(bytes, 4096, 6144));
  folder.write("x.003", cut(bytes, 6144, 10240));
  EXPECT_NE(open({folder / "x.001"}).message().find("list every part"), std::string::npos);
  const Opened listed = open({folder / "x.001", folder / "x.002", folder / "x.003"});
  ASSERT_TRUE(listed.source.ok()) << listed.message();
  EXPECT_EQ(read_all(**listed.source), bytes);
  EXPECT_EQ(listed.kinds(), std::vector<std::string>{"parts-unequal"});
}

TEST(Parts, EmptyPartIsAnErrorThatNamesIt) {
  const TempFolder folder;
  folder.write("x.001", numbered_sectors(2));
  folder.write("x.002", std::string_view());
  EXPECT_NE(open({folder / "x.001"}).message().find("x.002' is empty"), std::string::npos);
}

TEST(Parts, ListOutOfOrderIsAUsageError) {
  const TempFolder folder;
  for (const char* name : {"x.1", "x.2", "x.10"}) folder.write(name, numbered_sectors(1));
  const Opened x = open({folder / "x.1", folder / "x.10", folder / "x.2"});
  ASSERT_FALSE(x.source.ok());
  EXPECT_EQ(x.source.error().code, ErrorCode::kUsage);
  EXPECT_NE(x.message().find("parts are out of order"), std::string::npos);
  EXPECT_FALSE(open({folder / "x.1", folder / "x.1"}).source.ok()) << "the same part twice";
}

TEST(Parts, ListWithoutNumbersIsJoinedAsGiven) {
  const TempFolder folder;
  const std::vector<std::uint8_t> bytes = numbered_sectors(3);
  const auto tail = folder.write("a-tail", cut(bytes, 2500, bytes.size()));
  const auto head = folder.write("z-head", cut(bytes, 0, 2500));
  EXPECT_EQ(read_all(*open({head, tail}).source.value()), bytes);
}

TEST(Parts, ListThatBeginsWithALaterPartSaysSo) {
  const TempFolder folder;
  folder.write("x.002", numbered_sectors(2, 2));
  folder.write("x.003", numbered_sectors(2, 4));
  const Opened x = open({folder / "x.002", folder / "x.003"}, 2);
  ASSERT_TRUE(x.source.ok()) << x.message();
  EXPECT_EQ((*x.source)->first_lba(), 2U);
  EXPECT_EQ(x.kinds(), std::vector<std::string>{"part-missing"});
}

TEST(Parts, LaterPartGivenAloneIsOpenedByItselfWithADoubt) {
  const TempFolder folder;
  folder.write("x.001", numbered_sectors(2));
  folder.write("x.002", numbered_sectors(2));
  const Opened x = open({folder / "x.002"});
  ASSERT_TRUE(x.source.ok()) << x.message();
  EXPECT_EQ((*x.source)->end_lba(), 2U);
  EXPECT_EQ(x.kinds(), std::vector<std::string>{"part-alone"});
}

TEST(Parts, NumberedFileWithoutSiblingsIsAPlainFile) {
  const TempFolder folder;
  folder.write("photos.2003", numbered_sectors(2));
  folder.write("x.001", numbered_sectors(2));
  EXPECT_TRUE(open({folder / "photos.2003"}).findings.empty());
  EXPECT_TRUE(open({folder / "x.001"}).findings.empty());
}

TEST(Parts, NumberFarOffIsNotTakenForAPart) {
  const TempFolder folder;
  folder.write("disc.1", numbered_sectors(2));
  folder.write("disc.2", numbered_sectors(2));
  folder.write("disc.999999999", numbered_sectors(2));
  const Opened x = open({folder / "disc.1"});
  ASSERT_TRUE(x.source.ok()) << x.message();
  EXPECT_EQ((*x.source)->end_lba(), 4U);
  EXPECT_EQ(x.kinds(), (std::vector<std::string>{"part-far-off", "parts-joined"}));
  const Opened listed = open({folder / "disc.1", folder / "disc.999999999"});
  ASSERT_FALSE(listed.source.ok());
  EXPECT_EQ(listed.source.error().code, ErrorCode::kUsage);
}

TEST(Parts, HugeSparsePartsBeyondTheLimitAreAnError) {
  const TempFolder folder;
  for (const char* name : {"x.1", "x.2", "x.3"}) {
    const auto path = folder.write(name, numbered_sectors(1));
    if (::truncate(path.c_str(), off_t{4} << 40) != 0) GTEST_SKIP() << "the file system takes no files of 4 TiB";
  }
  EXPECT_NE(open({folder / "x.1"}).message().find("makes the image larger than the 4294967296 sectors"),
            std::string::npos);
}

}  // namespace
}  // namespace lacuna

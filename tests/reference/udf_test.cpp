// SPDX-License-Identifier: GPL-3.0-or-later
// Every UDF volume that public tools write and that test suites publish: names, sizes, dates to the microsecond and
// contents equal to libudfread's, 7zz's and udfclient's, and all contents equal to what went into the image. Where
// readers disagree, udf_explanations.cpp says why, with the clause that decides; a difference without an explanation,
// an explanation that explains nothing and a refusal where a reader agrees after all are failures.
#include <fmt/chrono.h>
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <set>

#include "reference/explanations.h"
#include "reference/lacuna_listing.h"
#include "reference/udf_readers.h"

namespace lacuna::test {
namespace {

namespace fs = std::filesystem;

/// An image to compare, and what Lacuna makes of it.
struct Case {
  fs::path image;
  std::string name;
  std::map<std::string, std::string> sums;  ///< SHA-256 of each file by path; empty: not known.
  IntactDisc opened;
  ReferenceListing listing;
};

FourDates dates_of(const Disc& disc, const Node& node) {
  const NodeDetails& details = disc.tree().details(node);
  FourDates dates;
  std::size_t i = 0;
  for (const Timestamp& t : {node.modified, details.accessed, details.created, details.attributes_changed}) {
    if (t.known) dates[i] = fmt::format("{:%Y-%m-%d %H:%M:%S}.{:06}", fmt::gmtime(t.seconds), t.nanoseconds / 1000);
    ++i;
  }
  return dates;
}

/// Lines of sha256sum, "./" before the paths or not.
std::map<std::string, std::string> read_sums(const fs::path& file) {
  std::map<std::string, std::string> sums;
  std::ifstream in(file);
  for (std::string line; std::getline(in, line);) {
    const std::size_t at = line.find("  ");
    if (at == std::string::npos) continue;
    std::string path = line.substr(at + 2);
    if (path.starts_with("./")) path.erase(0, 2);
    sums[path] = line.substr(0, at);
  }
  return sums;
}

std::uint32_t block_bytes(const Disc& disc) {
  for (const Volume& v : disc.sessions().back().volumes) {
    if (v.udf) return v.logical_block_bytes;
  }
  ADD_FAILURE() << "no volume of UDF";
  return kSectorBytes;
}

class UdfReference : public ::testing::Test {
 protected:
  void SetUp() override {
    for (const char* program : {"7zz", "udfclient"}) {
      if (!has_program(program)) GTEST_SKIP() << "no " << program << " here (Debian packages 7zip, udfclient)";
    }
  }

  void add(const fs::path& image, const std::string& name, std::map<std::string, std::string> sums) {
    std::string why;
    auto opened = open_intact(image, View::kUdf, why);
    if (!opened) {
      ADD_FAILURE() << name << ": " << why;
      return;
    }
    Case c{image, name, std::move(sums), std::move(*opened), {}};
    const Tree& tree = c.opened.disc->tree();
    SCOPED_TRACE(name);
    c.listing = list_with_lacuna(*c.opened.disc);
    std::vector<std::string> top;
    if (explained_refusal("udfclient", name, View::kUdf, false).empty()) {
      for (const auto& [path, entry] : c.listing) {
        if (path.find('/') == std::string::npos) top.push_back(path);
      }
    }
    if (!top.empty()) udfclient_.add(name, image, block_bytes(*c.opened.disc), "", top);
    EXPECT_EQ(tree.node(kRoot).flags & (node_flag::kIncomplete | node_flag::kUnread), 0);
    for (const Finding& f : c.opened.disc->findings().list()) {
      if (f.severity == Severity::kLoss) ADD_FAILURE() << f.kind << " " << f.subject << ": " << f.text;
    }
    cases_.push_back(std::move(c));
  }

  void compare_all(const char* prefix) {
    udfclient_.run();
    for (const Case& c : cases_) {
      SCOPED_TRACE(c.name);
      expect_sums(c);
      const ReferenceListing undated = without_dates(c.listing);

      std::string why;
      Findings findings;
      const auto source = open_source({c.image}, {}, findings);
      ASSERT_TRUE(source.ok());
      compare("libudfread", c, undated, list_with_libudfread(**source, why), why);

      SevenZipListing seven = list_with_7zz(c.image);
      compare("7zz", c, c.listing, seven.opened ? std::optional(seven.entries) : std::nullopt, seven.message);
      if (seven.opened) expect_dates(c, seven.dates);

      if (std::string reason = explained_refusal("udfclient", c.name, View::kUdf, false); !reason.empty()) {
        say(c.name, "udfclient", reason);
      } else if (!c.listing.empty()) {
        compare("udfclient", c, ascii_files(undated), ascii_files(udfclient_.listing(c.name)), "");
        if (HasFailure()) std::cout << udfclient_.log(c.name) << "\n";
      }
    }
    for (const std::string& line : unused_explanations(prefix)) ADD_FAILURE() << "explains nothing: " << line;
  }

  std::size_t count() const { return cases_.size(); }

 private:
  static void say(const std::string& name, const std::string& reader, const std::string& reason) {
    std::cout << name << ": not compared with " << reader << ": " << reason << "\n";
  }

  static void expect_sums(const Case& c) {
    if (c.name.find("/empty-") != std::string::npos) {
      EXPECT_TRUE(c.listing.empty());
    }
    // Names that genisoimage writes for UDF end at 103 units and before a character outside the BMP.
    std::multiset<std::string> brought, written;
    for (const auto& [path, entry] : c.listing) brought.insert(entry.sha256);
    for (const auto& [path, sum] : c.sums) {
      written.insert(sum);
      if (c.image.extension() == ".iso") continue;
      const auto found = c.listing.find(path);
      if (found == c.listing.end()) {
        ADD_FAILURE() << path << " is missing";
      } else {
        EXPECT_EQ(found->second.sha256, sum) << path;
      }
    }
    EXPECT_TRUE(std::ranges::includes(brought, written));
  }

  static void compare(const std::string& reader, const Case& c, const ReferenceListing& ours,
                      const std::optional<ReferenceListing>& theirs, const std::string& why) {
    SCOPED_TRACE(reader);
    const auto different = theirs ? differences(ours, *theirs) : std::vector<Difference>();
    if (const std::string reason = explained_refusal(reader, c.name, View::kUdf, false); !reason.empty()) {
      say(c.name, reader, reason);
      EXPECT_TRUE(!theirs || !different.empty()) << "it agrees after all";
      return;
    }
    if (!theirs) {
      ADD_FAILURE() << "the reader gives nothing: " << why;
      return;
    }
    for (const Difference& d : different) {
      if (!explained(reader, c.name, View::kUdf, d))
        ADD_FAILURE() << to_string(d.what) << ": " << d.path << " " << d.text;
    }
  }

  static void expect_dates(const Case& c, const std::map<std::string, FourDates>& theirs) {
    static constexpr const char* kNames[] = {"modified", "accessed", "created", "attributes changed"};
    const Tree& tree = c.opened.disc->tree();
    for (const NodeId id : tree.in_order()) {
      const std::string path = tree.path(id);
      const auto found = theirs.find(path);
      if (found == theirs.end()) continue;
      const FourDates ours = dates_of(*c.opened.disc, tree.node(id));
      for (std::size_t i = 0; i < 4; ++i) {
        if (ours[i] == found->second[i]) continue;
        const Difference d{Difference::What::kDate, path, "ours " + ours[i] + ", theirs " + found->second[i]};
        if (!explained("7zz", c.name, View::kUdf, d)) ADD_FAILURE() << kNames[i] << ": " << path << " " << d.text;
      }
    }
  }

  std::vector<Case> cases_;
  Udfclient udfclient_;
};

/// Images of the folder of images shared with the project, beside the checkout or where LACUNA_SHARED says.
fs::path shared_images(const char* below) {
  const char* shared = std::getenv("LACUNA_SHARED");
  return (shared != nullptr ? fs::path(shared) : fs::path(LACUNA_SOURCE) / ".." / "shared") / "images" / below;
}

/// A copy in which zeros are holes, unpacked.
fs::path unpacked(const ScratchFolder& scratch, const fs::path& file) {
  fs::path to = file.filename();
  std::string unpack = "cat";
  if (to.extension() == ".gz") {
    to.replace_extension();
    unpack = "gzip -dc";
  }
  const std::string command =
      unpack + " '" + fs::absolute(file).string() + "' | dd of='" + to.string() + "' bs=64k conv=sparse status=none";
  EXPECT_TRUE(run_command(scratch.path(), command)) << file;
  return scratch.path() / to;
}

TEST_F(UdfReference, AuthoredImages) {
  for (const auto& entry : fs::directory_iterator(LACUNA_AUTHORED_UDF)) {
    const fs::path& image = entry.path();
    if (image.extension() != ".udf" && image.extension() != ".iso") continue;
    fs::path sums = image;
    add(image, "udf-authored/" + image.stem().string(), read_sums(sums.replace_extension(".sha256")));
  }
  EXPECT_GE(count(), 30u);
  compare_all("udf-authored/");
}

TEST_F(UdfReference, SharedAuthoredImages) {
  const fs::path folder = shared_images("authored");
  if (!fs::is_directory(folder)) GTEST_SKIP() << "no shared images: neither in $LACUNA_SHARED nor beside the checkout";
  const ScratchFolder scratch;
  for (const auto& entry : fs::directory_iterator(folder)) {
    const std::string name = entry.path().stem().stem().string();  // NAME.udf.gz
    if (entry.path().extension() != ".gz") continue;
    const std::string list = name.substr(0, name.find('-'));
    const auto sums = read_sums(folder / (list + ".sha256"));
    EXPECT_TRUE(list == "empty" || !sums.empty()) << list;
    add(unpacked(scratch, entry.path()), "udf-shared/" + name, sums);
  }
  EXPECT_GE(count(), 20u);
  compare_all("udf-shared/");
}

TEST_F(UdfReference, SharedRealImages) {
  const fs::path folder = shared_images("real");
  if (!fs::is_directory(folder)) GTEST_SKIP() << "no shared images: neither in $LACUNA_SHARED nor beside the checkout";
  const ScratchFolder scratch;
  for (const auto& entry : fs::directory_iterator(folder)) {
    const std::string name = entry.path().filename().string();
    if (!name.starts_with("ul-udf") && !name.starts_with("cdio-test-udf1") && !name.starts_with("cornytrace")) continue;
    const fs::path image = unpacked(scratch, entry.path());
    add(image, "udf-real/" + image.filename().string(), {});
  }
  EXPECT_GE(count(), 14u);
  compare_all("udf-real/");
}

/// Both file systems of a bridge name the same extents (UDF 6.9 and its predecessors' bridge format), so that they
/// become one tree in which every file has the names of both.
TEST_F(UdfReference, BridgesAreOneTree) {
  int images = 0;
  for (const auto& entry : fs::directory_iterator(LACUNA_AUTHORED_UDF)) {
    if (entry.path().extension() != ".iso") continue;
    SCOPED_TRACE(entry.path().filename());
    std::string why;
    const auto united = open_intact(entry.path(), {}, why);
    ASSERT_TRUE(united) << why;
    const auto udf = open_intact(entry.path(), View::kUdf, why);
    ASSERT_TRUE(udf) << why;
    fs::path sums_file = entry.path();
    const auto sums = read_sums(sums_file.replace_extension(".sha256"));
    const Tree& tree = united->disc->tree();
    std::size_t both = 0;
    for (const NodeId id : tree.in_order()) {
      const Node& node = tree.node(id);
      for (const View view : {View::kUdf, View::kIso9660}) {
        EXPECT_FALSE(tree.text(node.names[static_cast<std::size_t>(view)]).empty())
            << tree.path(id) << " has no name in " << lacuna::to_string(view);
      }
      ++both;
    }
    EXPECT_EQ(both, udf->disc->tree().in_order().size());
    const ReferenceListing listing = list_with_lacuna(*united->disc);
    for (const auto& [path, sum] : sums) {
      ASSERT_TRUE(listing.contains(path)) << path;
      EXPECT_EQ(listing.at(path).sha256, sum) << path;
    }
    ++images;
  }
  EXPECT_EQ(images, 5);
}

}  // namespace
}  // namespace lacuna::test

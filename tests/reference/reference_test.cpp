// SPDX-License-Identifier: GPL-3.0-or-later
// Every file list, size, date and content equal to libarchive's and to libiso9660's, view by view, on images that
// other programs wrote. Where readers disagree, explanations.cpp says why, with the clause that decides; a difference
// without an explanation and an explanation that explains nothing are both failures.
#include <gtest/gtest.h>

#include <clocale>
#include <cstdlib>
#include <fstream>
#include <iostream>

#include "lacuna/image.h"
#include "lacuna/pull.h"
#include "reference/explanations.h"
#include "reference/lacuna_listing.h"
#include "support/authoring.h"

namespace lacuna::test {
namespace {

namespace fs = std::filesystem;

using Reader = std::optional<ReferenceListing> (*)(const fs::path&, View, std::string&);
struct NamedReader {
  std::string name;
  Reader read;
};
constexpr View kComparedViews[] = {View::kRockRidge, View::kJoliet, View::kIso9660};
const NamedReader kReaders[] = {{"libarchive", list_with_libarchive}, {"libiso9660", list_with_libiso9660}};

class Reference : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    // libarchive converts names to the locale's charset, libiso9660 dates from the time zone.
    ASSERT_NE(std::setlocale(LC_ALL, "C.UTF-8"), nullptr);
    setenv("TZ", "UTC", 1);
    tzset();
  }

  /// Compares all views that an image has with all readers.
  static void compare(const fs::path& image, const std::string& name) {
    int views = 0;
    bool has_rock_ridge = false;
    for (const View view : kComparedViews) {
      std::string why;
      const auto ours = list_with_lacuna(image, view, why);
      if (!ours) continue;
      ++views;
      has_rock_ridge = has_rock_ridge || view == View::kRockRidge;
      for (const NamedReader& reader : kReaders) {
        SCOPED_TRACE(name + ", " + std::string(lacuna::to_string(view)) + ", " + reader.name);
        if (const std::string reason = explained_refusal(reader.name, name, view, has_rock_ridge); !reason.empty()) {
          std::cout << name << ", " << lacuna::to_string(view) << ": not compared with " << reader.name << ": "
                    << reason << "\n";
          continue;
        }
        const auto theirs = reader.read(image, view, why);
        if (!theirs) {
          ADD_FAILURE() << "the reader gives nothing: " << why;
          continue;
        }
        for (const Difference& d : differences(*ours, *theirs)) {
          if (!explained(reader.name, name, view, d)) {
            ADD_FAILURE() << to_string(d.what) << ": " << d.path << " " << d.text;
          }
        }
      }
    }
    EXPECT_GT(views, 0) << name << ": no view could be read";
  }

  static void expect_explanations_used(const char* prefix) {
    for (const std::string& line : unused_explanations(prefix)) ADD_FAILURE() << "explains nothing: " << line;
  }
};

TEST_F(Reference, AuthoredImages) {
  int images = 0;
  for (const auto& entry : fs::directory_iterator(LACUNA_AUTHORED)) {
    if (entry.path().extension() != ".iso") continue;
    compare(entry.path(), "authored/" + entry.path().stem().string());
    ++images;
  }
  EXPECT_GE(images, 50);
  expect_explanations_used("authored/");
}

TEST_F(Reference, ImagesInDebianPackages) {
  int images = 0;
  for (const char* file : {"grub-rescue/grub-rescue-cdrom.iso", "grub-rescue/grub-rescue-floppy.img", "ipxe/ipxe.iso",
                           "memtest86+/memtest86+ia32.iso", "memtest86+/memtest86+x64.iso"}) {
    const fs::path image = fs::path(LACUNA_PACKAGED) / "usr/lib" / file;
    if (!fs::exists(image)) continue;
    compare(image, std::string("packaged/") + file);
    ++images;
  }
  if (fs::exists(fs::path(LACUNA_PACKAGED) / "reason")) {
    std::ifstream reason(fs::path(LACUNA_PACKAGED) / "reason");
    std::string line;
    std::getline(reason, line);
    GTEST_SKIP() << line << "; compared were " << images << " images";
  }
  EXPECT_EQ(images, 5);
  expect_explanations_used("packaged/");
}

/// Images of other test suites, beside the checkout or where LACUNA_SHARED says.
TEST_F(Reference, SharedImages) {
  const char* shared = std::getenv("LACUNA_SHARED");
  const fs::path folder =
      (shared != nullptr ? fs::path(shared) : fs::path(LACUNA_SOURCE) / ".." / "shared") / "images" / "real";
  if (!fs::is_directory(folder)) GTEST_SKIP() << "no shared images: neither in $LACUNA_SHARED nor beside the checkout";
  const ScratchFolder scratch;
  int images = 0;
  for (const auto& entry : fs::directory_iterator(folder)) {
    std::string name = entry.path().filename().string();
    // Copied byte by byte: a checkout may keep the zeros in them as holes, which Lacuna takes for sectors never read.
    std::string unpack = "cat";
    if (name.ends_with(".gz")) {
      name.resize(name.size() - 3);
      unpack = "gzip -dc";
    }
    if (!run_command(scratch.path(), unpack + " '" + fs::absolute(entry.path()).string() + "' >'" + name + "'"))
      continue;
    fs::path image = scratch / name;
    if (const auto raw = Image::open({image}); name.ends_with(".bin") && raw && (*raw)->raw() != nullptr) {
      image += ".iso";  // the other readers get what Lacuna makes of its sectors
      const auto made = write_plain_image(**raw, {image, {}, {}});
      ASSERT_TRUE(made) << made.error().message;
    }
    if (const std::string reason = explained_omission(name); !reason.empty()) {
      std::cout << name << ": not compared: " << reason << "\n";
      std::string why;
      for (const View view : kComparedViews) EXPECT_FALSE(list_with_lacuna(image, view, why)) << name;
      continue;
    }
    compare(image, "shared/" + name);
    ++images;
  }
  EXPECT_GT(images, 15);
  expect_explanations_used("shared/");
}

}  // namespace
}  // namespace lacuna::test

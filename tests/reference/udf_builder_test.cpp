// SPDX-License-Identifier: GPL-3.0-or-later
// What build_udf() writes is read by programs that know nothing of it: libudfread (type 1, metadata in one extent), 7zz
// (type 1) and udfclient (VAT, sparable and metadata partitions). Each must bring out every file that it can read, to
// the byte; what a reader cannot read is printed with the reason. The driver of Linux 6.1, run by hand, brought out all
// files of chains of ICBs (strategy 4096), which none of these knows, and of metadata on a sparable partition.
#include <gtest/gtest.h>

#include <algorithm>
#include <iostream>
#include <set>

#include "reference/lacuna_listing.h"
#include "reference/udf_readers.h"
#include "support/authoring.h"
#include "support/iso_builder.h"
#include "support/memory_image.h"
#include "support/udf_builder_variants.h"

namespace lacuna::test {
namespace {

namespace fs = std::filesystem;

/// All plain files that identifiers in directories name.
ReferenceListing expected_files(const UdfImage& image) {
  ReferenceListing all;
  for (const auto& [path, file] : image.files) {
    if (file.type != UdfType::kFile || path.find(':') != std::string::npos) continue;
    if (file.bytes >= (std::uint64_t{1} << 30)) continue;
    const std::string content = file.read();
    Sha256 sha;
    sha.add(content.data(), content.size());
    ReferenceEntry& e = all[path];
    e.size = file.bytes;
    e.sha256 = sha.hex();
  }
  return all;
}

void expect_same(const ReferenceListing& ours, ReferenceListing theirs) {
  std::erase_if(theirs, [](const auto& e) { return e.second.kind == ReferenceEntry::Kind::kDirectory; });
  for (const Difference& d : differences(ours, without_dates(std::move(theirs)))) {
    ADD_FAILURE() << to_string(d.what) << ": " << d.path << " " << d.text;
  }
}

void expect_libudfread_agrees(const UdfImage& image) {
  std::string why;
  const auto theirs = list_with_libudfread(*MemoryImage(image.bytes, image.first_byte / kSectorBytes).source(), why);
  ASSERT_TRUE(theirs) << why;
  expect_same(expected_files(image), *theirs);
}

/// One copy of each file's content for both file systems; the volume structures of UDF lie in a file of zeros.
TEST(UdfBuilder, BridgeIsReadByLibudfread) {
  const IsoImage iso = build_iso(
      iso_directory("", {iso_file("A.;1", std::string(300 * 2048, '\0')), iso_file("LETTER.TXT;1", udf_noise(1, 5000)),
                         iso_file("PHOTO.JPG;1", udf_noise(2, 70001))}));
  UdfOptions options;
  options.revision = 0x0102;
  options.base = iso.bytes;
  UdfNode letter = udf_file("letter.txt", udf_noise(1, 5000)), photo = udf_file("photo.jpg", udf_noise(2, 70001));
  letter.at_block = iso.primary.at("LETTER.TXT;1").extent / 2048;
  photo.at_block = iso.primary.at("PHOTO.JPG;1").extent / 2048;
  UdfImage image = build_udf(udf_directory("", {letter, photo, udf_file("only in udf", udf_noise(3, 100))}), options);
  EXPECT_TRUE(std::ranges::equal(std::span(iso.bytes).first(18 * 2048), std::span(image.bytes).first(18 * 2048)));
  for (const auto& [path, file] : image.files) {
    if (file.type != UdfType::kFile) continue;
    ASSERT_EQ(file.extents.size(), 1u) << path;
    EXPECT_TRUE(std::ranges::equal(image.at(*file.extents[0].address).first(file.bytes), file.recorded,
                                   [](std::uint8_t a, char b) { return a == static_cast<std::uint8_t>(b); }))
        << path;
  }
  expect_libudfread_agrees(image);
}

TEST(UdfBuilder, LibudfreadReadsIt) {
  int images = 0;
  for (const UdfVariant& variant : udf_variants()) {
    const bool one_extent = variant.options.metadata_unit_blocks >= 512;
    std::string reason;
    if ((variant.needs & kNeedsMap) != 0) reason = "it knows no virtual and no sparable partitions";
    if ((variant.needs & kNeedsMetadata) != 0 && !one_extent) reason = "it knows one extent of the metadata file only";
    if ((variant.needs & kNeedsChains) != 0) reason = "it knows no ICB strategy but 4";
    if ((variant.needs & kNeedsBlockSize) != 0) reason = "it knows no block size but 2048";
    if ((variant.needs & (kNeedsSession | kNeedsSearch)) != 0) reason = "it looks at 256 and the end only";
    if ((variant.needs & kNeedsSets) != 0) reason = "it knows one partition and takes the first file set";
    if ((variant.needs & kNeedsSpecial) != 0) reason = "it follows deleted entries and lists links as files";
    if (!reason.empty()) {
      std::cout << "libudfread does not read '" << variant.name << "': " << reason << "\n";
      continue;
    }
    SCOPED_TRACE(variant.name);
    expect_libudfread_agrees(build_udf(variant.root, variant.options));
    ++images;
  }
  EXPECT_GE(images, 10);
}

TEST(UdfBuilder, SevenZipReadsIt) {
  if (!has_program("7zz")) GTEST_SKIP() << "no 7zz here (Debian package 7zip)";
  const ScratchFolder scratch;
  int images = 0;
  for (const UdfVariant& variant : udf_variants()) {
    std::string reason;
    if ((variant.needs & (kNeedsMap | kNeedsMetadata)) != 0) reason = "it knows type 1 partitions only";
    if ((variant.needs & kNeedsChains) != 0) reason = "it knows no ICB strategy but 4";
    if ((variant.needs & kNeedsExtended) != 0) reason = "it knows no extended descriptors";
    if (variant.options.block_bytes == 1024 || variant.options.block_bytes == 4096) {
      reason = "it knows blocks of 512 and 2048 bytes only";
    }
    if ((variant.needs & (kNeedsSession | kNeedsSearch)) != 0) reason = "it looks for an anchor at 256 only";
    if ((variant.needs & kNeedsSpecial) != 0) reason = "it refuses images with links, devices or holes";
    if (!variant.options.system_streams.empty()) reason = "it brings out all files, but calls it an error";
    if (variant.name.starts_with("file sets")) reason = "it gives all file sets at once";
    if (variant.options.continue_after != 0) reason = "it does not follow volume descriptor pointers";
    if (!reason.empty()) {
      std::cout << "7zz does not read '" << variant.name << "': " << reason << "\n";
      continue;
    }
    SCOPED_TRACE(variant.name);
    const UdfImage image = build_udf(variant.root, variant.options);
    write_file(scratch / "image.udf", std::string(image.bytes.begin(), image.bytes.end()));
    const SevenZipListing seven = list_with_7zz(scratch / "image.udf");
    EXPECT_EQ(seven.status, 0) << seven.message;
    expect_same(expected_files(image), seven.entries);
    ++images;
  }
  EXPECT_GE(images, 8);
}

TEST(UdfBuilder, UdfclientReadsIt) {
  if (!has_program("udfclient")) GTEST_SKIP() << "no udfclient here (Debian package udfclient)";
  const ScratchFolder scratch;
  Udfclient udfclient;
  std::map<std::string, ReferenceListing> expected;
  for (const UdfVariant& variant : udf_variants()) {
    const auto& sequences = variant.options.sparing_sequences;
    std::string reason;
    if ((variant.needs & kNeedsExtended) != 0) reason = "it knows no extended descriptors";
    if ((variant.needs & kNeedsSession) != 0) reason = "it has no means to say where an image begins";
    if ((variant.needs & kNeedsChains) != 0) reason = "it takes what ends a chain of ICBs for a file entry";
    if (variant.options.sparable && variant.options.metadata) reason = "it finds no metadata behind sparing tables";
    if (variant.options.sparable && sequences.front() != *std::ranges::max_element(sequences)) {
      reason = "it takes the first sparing table, whatever its number";
    }
    if (variant.options.anchors == std::vector<std::int64_t>{512}) reason = "it looks at 256 and the end only";
    if (!reason.empty()) {
      std::cout << "udfclient does not read '" << variant.name << "': " << reason << "\n";
      continue;
    }
    const UdfImage image = build_udf(variant.root, variant.options);
    const fs::path file = scratch / (std::to_string(expected.size()) + ".udf");
    write_file(file, std::string(image.bytes.begin(), image.bytes.end()));
    ReferenceListing& ours = expected[variant.name] = ascii_files(expected_files(image));
    ours.erase("tail.bin");  // It brings out tails and five gigabytes of holes as content.
    std::set<std::string> top;
    for (const auto& [path, entry] : ours) top.insert(path.substr(0, path.find('/')));
    udfclient.add(variant.name, file, image.block_bytes,
                  "4c4143554e410001LACUNA_TEST:LACUNA_TEST:LACUNA_TEST:LACUNA_TEST", {top.begin(), top.end()});
  }
  udfclient.run();
  for (const auto& [name, ours] : expected) {
    SCOPED_TRACE(name);
    expect_same(ours, udfclient.listing(name));
    if (HasFailure()) std::cout << udfclient.log(name) << "\n";
  }
  EXPECT_GE(expected.size(), 35u);
}

}  // namespace
}  // namespace lacuna::test

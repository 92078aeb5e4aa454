// SPDX-License-Identifier: GPL-3.0-or-later
// What build_udf() writes is read by programs that know nothing of it: libudfread (type 1, metadata in one extent), 7zz
// (type 1) and udfclient (VAT, sparable and metadata partitions). Each must bring out every file that it can read, to
// the byte; what a reader cannot read is printed with the reason. The driver of Linux 6.1, run by hand, brought out all
// files of chains of ICBs (strategy 4096), which none of these knows, and of metadata on a sparable partition.
#include <gtest/gtest.h>
#include <udfread/blockinput.h>
#include <udfread/udfread.h>

#include <algorithm>
#include <cstring>
#include <filesystem>
#include <iostream>
#include <set>

#include "support/authoring.h"
#include "support/iso_builder.h"
#include "support/process.h"
#include "support/udf_builder_variants.h"

namespace lacuna::test {
namespace {

namespace fs = std::filesystem;
using Contents = std::map<std::string, std::string>;

/// Content of all plain files that identifiers in directories name.
Contents expected_files(const UdfImage& image) {
  Contents all;
  for (const auto& [path, file] : image.files) {
    if (file.type != UdfType::kFile || path.find(':') != std::string::npos) continue;
    if (file.bytes < (std::uint64_t{1} << 30)) all[path] = file.read();
  }
  return all;
}

bool is_ascii(const std::string& s) {
  return std::ranges::all_of(s, [](char c) { return static_cast<unsigned char>(c) < 128; });
}

void expect_same(const Contents& theirs, const Contents& ours) {
  for (const auto& [path, content] : ours) {
    const auto found = theirs.find(path);
    if (found == theirs.end()) {
      ADD_FAILURE() << path << " was not brought out";
    } else {
      EXPECT_TRUE(found->second == content) << path << " differs";
    }
  }
  for (const auto& [path, content] : theirs) EXPECT_TRUE(ours.contains(path)) << path << " was never written";
}

Contents files_below(const fs::path& folder) {
  Contents all;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    if (!entry.is_regular_file()) continue;
    const std::vector<std::uint8_t> bytes = read_file(entry.path());
    all[entry.path().lexically_relative(folder).string()] = std::string(bytes.begin(), bytes.end());
  }
  return all;
}

// --- libudfread, through its block input ---

struct MemoryInput {
  udfread_block_input input{};
  const std::vector<std::uint8_t>* bytes = nullptr;
};

int read_blocks(udfread_block_input* input, std::uint32_t lba, void* to, std::uint32_t blocks, int) {
  static_assert(offsetof(MemoryInput, input) == 0);
  const std::vector<std::uint8_t>& bytes = *reinterpret_cast<MemoryInput*>(input)->bytes;
  const std::uint64_t whole = bytes.size() / UDF_BLOCK_SIZE;
  if (lba >= whole) return -1;
  const auto n = static_cast<std::uint32_t>(std::min<std::uint64_t>(blocks, whole - lba));
  std::memcpy(to, bytes.data() + std::uint64_t{lba} * UDF_BLOCK_SIZE, std::size_t{n} * UDF_BLOCK_SIZE);
  return static_cast<int>(n);
}

std::uint32_t count_blocks(udfread_block_input* input) {
  return static_cast<std::uint32_t>(reinterpret_cast<MemoryInput*>(input)->bytes->size() / UDF_BLOCK_SIZE);
}

void read_directory(udfread* udf, const std::string& path, Contents& into) {
  UDFDIR* directory = udfread_opendir(udf, ("/" + path).c_str());
  if (directory == nullptr) {
    ADD_FAILURE() << "libudfread cannot open the directory " << path;
    return;
  }
  udfread_dirent entry{};
  while (udfread_readdir(directory, &entry) != nullptr) {
    const std::string name = entry.d_name;
    if (name == "." || name == "..") continue;
    const std::string below = path.empty() ? name : path + "/" + name;
    if (entry.d_type == UDF_DT_DIR) {
      read_directory(udf, below, into);
      continue;
    }
    UDFFILE* file = udfread_file_open(udf, ("/" + below).c_str());
    if (file == nullptr) {
      ADD_FAILURE() << "libudfread cannot open " << below;
      continue;
    }
    std::string content(static_cast<std::size_t>(std::max<std::int64_t>(udfread_file_size(file), 0)), '\0');
    std::size_t done = 0;
    while (done < content.size()) {
      const ssize_t n = udfread_file_read(file, content.data() + done, content.size() - done);
      if (n <= 0) break;
      done += static_cast<std::size_t>(n);
    }
    content.resize(done);
    into[below] = std::move(content);
    udfread_file_close(file);
  }
  udfread_closedir(directory);
}

Contents read_with_libudfread(const UdfImage& image) {
  MemoryInput input{{nullptr, read_blocks, count_blocks}, &image.bytes};
  udfread* udf = udfread_init();
  Contents all;
  if (udfread_open_input(udf, &input.input) < 0) {
    ADD_FAILURE() << "libudfread cannot open it";
  } else {
    read_directory(udf, "", all);
    EXPECT_STREQ(udfread_get_volume_id(udf), "LACUNA_TEST");
  }
  udfread_close(udf);
  return all;
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
  expect_same(read_with_libudfread(image), expected_files(image));
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
    const UdfImage image = build_udf(variant.root, variant.options);
    expect_same(read_with_libudfread(image), expected_files(image));
    ++images;
  }
  EXPECT_GE(images, 10);
}

// --- Programs ---

bool has_program(const std::string& program) {
  return run_process({"/bin/sh", "-c", "command -v " + program}).status == 0;
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
    const std::string name = std::to_string(images++);
    write_file(scratch / (name + ".udf"), std::string(image.bytes.begin(), image.bytes.end()));
    const ProcessResult result = run_process(
        {"/usr/bin/timeout", "60", "7zz", "x", "-y", "-tudf", "-o" + name, name + ".udf"}, {.in = scratch.path()});
    EXPECT_EQ(result.status, 0) << result.out << result.err;
    if (fs::exists(scratch / name)) expect_same(files_below(scratch / name), expected_files(image));
  }
  EXPECT_GE(images, 8);
}

/// Runs commands in udfclient, which takes them from its standard input.
std::string udfclient(const fs::path& in, std::uint32_t block_bytes, const std::string& commands) {
  write_file(in / "commands", commands + "quit\n");
  return run_process(
             {"/bin/sh", "-c", "timeout 60 udfclient -b " + std::to_string(block_bytes) + " image.udf < commands"},
             {.in = in})
      .out;
}

TEST(UdfBuilder, UdfclientReadsIt) {
  if (!has_program("udfclient")) GTEST_SKIP() << "no udfclient here (Debian package udfclient)";
  int images = 0;
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
    SCOPED_TRACE(variant.name);
    const UdfImage image = build_udf(variant.root, variant.options);
    const ScratchFolder scratch;
    write_file(scratch / "image.udf", std::string(image.bytes.begin(), image.bytes.end()));
    // A logical volume's root is a directory named set:primary:logical:file set.
    const std::string root = "4c4143554e410001LACUNA_TEST:LACUNA_TEST:LACUNA_TEST:LACUNA_TEST";

    Contents ours;  // It changes names outside ASCII; it brings out tails and five gigabytes of holes as content.
    std::set<std::string> top;
    for (const auto& [path, content] : expected_files(image)) {
      if (!is_ascii(path) || path == "tail.bin") continue;
      ours[path] = content;
      top.insert(path.substr(0, path.find('/')));
    }
    fs::create_directory(scratch / "out");
    fs::create_symlink("../image.udf", scratch / "out" / "image.udf");
    std::string commands = "cd \"/" + root + "\"\n";
    for (const std::string& name : top) commands += "get \"" + name + "\"\n";
    const std::string log = udfclient(scratch / "out", image.block_bytes, commands);
    fs::remove(scratch / "out" / "commands");
    fs::remove(scratch / "out" / "image.udf");
    expect_same(files_below(scratch / "out"), ours);
    if (HasFailure()) std::cout << log << "\n";
    ++images;
  }
  EXPECT_GE(images, 35);
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
// No memory: opening, walking, reading and pulling with every allocation failing in turn. No exception crosses, every
// failure is told as such, nothing leaks, and afterwards the same call does what it should.
#include <atomic>
#include <cstdlib>
#include <new>

#include "c_disc.h"
#include "support/authoring.h"

namespace {

constexpr long kNever = -1;
std::atomic<long> allocations_left{kNever};  // before all fail
std::atomic<long> live{0};

bool may_allocate() {
  long left = allocations_left.load();
  while (left != kNever) {
    if (left == 0) return false;
    if (allocations_left.compare_exchange_weak(left, left - 1)) return true;
  }
  return true;
}

void* allocate(std::size_t bytes, std::size_t alignment) {
  if (!may_allocate()) throw std::bad_alloc();
  void* p = alignment == 0 ? std::malloc(bytes == 0 ? 1 : bytes)
                           : std::aligned_alloc(alignment, (bytes + alignment - 1) / alignment * alignment);
  if (p == nullptr) throw std::bad_alloc();
  ++live;
  return p;
}

void release(void* p) noexcept {
  if (p != nullptr) --live;
  std::free(p);
}

}  // namespace

void* operator new(std::size_t bytes) { return allocate(bytes, 0); }
void* operator new[](std::size_t bytes) { return allocate(bytes, 0); }
void* operator new(std::size_t bytes, std::align_val_t a) { return allocate(bytes, static_cast<std::size_t>(a)); }
void* operator new[](std::size_t bytes, std::align_val_t a) { return allocate(bytes, static_cast<std::size_t>(a)); }
// Sanitizers bring their own of these, which would not be counted.
void* operator new(std::size_t bytes, const std::nothrow_t&) noexcept {
  try {
    return allocate(bytes, 0);
  } catch (const std::bad_alloc&) {
    return nullptr;
  }
}
void* operator new[](std::size_t bytes, const std::nothrow_t& nothrow) noexcept { return operator new(bytes, nothrow); }
void operator delete(void* p, const std::nothrow_t&) noexcept { release(p); }
void operator delete[](void* p, const std::nothrow_t&) noexcept { release(p); }
void operator delete(void* p) noexcept { release(p); }
void operator delete[](void* p) noexcept { release(p); }
void operator delete(void* p, std::size_t) noexcept { release(p); }
void operator delete[](void* p, std::size_t) noexcept { release(p); }
void operator delete(void* p, std::align_val_t) noexcept { release(p); }
void operator delete[](void* p, std::align_val_t) noexcept { release(p); }
void operator delete(void* p, std::size_t, std::align_val_t) noexcept { release(p); }
void operator delete[](void* p, std::size_t, std::align_val_t) noexcept { release(p); }

namespace lacuna::test {
namespace {

/// Runs `work` with memory for 0, 1, 2, … allocations until it succeeds. It frees what it gets.
void with_failing_memory(const char* what, const std::function<lacuna_code(lacuna_error**)>& work) {
  ASSERT_EQ(work(nullptr), LACUNA_OK) << what;  // what is allocated once and kept
  const long before = live;
  for (long n = 0;; ++n) {
    lacuna_error* error = nullptr;
    allocations_left = n;
    const lacuna_code code = work(&error);
    allocations_left = kNever;
    ASSERT_EQ(lacuna_error_code(error), code) << what << ", " << n;
    if (code != LACUNA_OK) {
      ASSERT_EQ(code, LACUNA_OUT_OF_MEMORY) << what << ", " << n << ": " << lacuna_error_message(error).data;
    }
    lacuna_error_free(error);
    ASSERT_EQ(live, before) << what << " leaks, " << n;
    if (code == LACUNA_OK) {
      ::testing::Test::RecordProperty(std::string(what) + "_allocations", static_cast<int>(n));
      EXPECT_GT(n, 0) << what;
      return;
    }
    ASSERT_LT(n, 200000) << what;
  }
}

TEST(CMemory, OpeningAnImage) {
  CDisc box;
  const lacuna_sector_run known[] = {{0, 3, LACUNA_SECTOR_BAD, 0}};
  lacuna_source source = box.source();
  source.known = known;
  source.known_count = 1;
  with_failing_memory("from_source", [&](lacuna_error** error) {
    lacuna_image* image = nullptr;
    const lacuna_code code = lacuna_image_from_source(&source, &image, error);
    lacuna_image_free(image);
    return code;
  });
}

TEST(CMemory, OpeningAFile) {
  CDisc box;
  const ScratchFolder folder;
  write_file(folder / "disc.iso", {reinterpret_cast<const char*>(box.bytes().data()), box.bytes().size()});
  write_file(folder / "disc.map", "20 1 bad\n22 4 unread\n");
  const std::string iso = (folder / "disc.iso").string(), map = (folder / "disc.map").string();
  const lacuna_string path = lacuna_text(iso.c_str()), map_path = lacuna_text(map.c_str());
  auto options = sized<lacuna_image_options>();
  options.maps = &map_path;
  options.map_count = 1;
  options.threads = 1;
  with_failing_memory("image_open", [&](lacuna_error** error) {
    lacuna_image* image = nullptr;
    const lacuna_code code = lacuna_image_open(&path, 1, &options, &image, error);
    lacuna_image_free(image);
    return code;
  });
}

TEST(CMemory, OpeningADisc) {
  CDisc box;
  box.alter = [lba = box.lba_of("PHOTO.JPG;1") + 3](std::uint64_t at, std::uint8_t*, lacuna_sector_state& s) {
    if (at == lba) s = LACUNA_SECTOR_BAD;
  };
  auto options = sized<lacuna_disc_options>();
  options.threads = 1;
  options.scan = LACUNA_SCAN_ALWAYS;
  with_failing_memory("disc_open", [&](lacuna_error** error) {
    const lacuna_source source = box.source();
    lacuna_image* image = nullptr;
    lacuna_disc* disc = nullptr;
    lacuna_code code = lacuna_image_from_source(&source, &image, error);
    if (code == LACUNA_OK) code = lacuna_disc_open(image, &options, &disc, error);
    lacuna_disc_free(disc);
    lacuna_image_free(image);
    return code;
  });
}

TEST(CMemory, WalkingReadingAndTelling) {
  CDisc box;
  box.alter = [lba = box.lba_of("PHOTO.JPG;1") + 3](std::uint64_t at, std::uint8_t*, lacuna_sector_state& s) {
    if (at == lba) s = LACUNA_SECTOR_BAD;
    if (at == lba + 1) s = LACUNA_SECTOR_SUSPECT;
  };
  const COpened disc = box.open();
  std::vector<char> buffer(60000);
  with_failing_memory("walk", [&](lacuna_error** error) {
    lacuna_files* walk = nullptr;
    lacuna_code code = lacuna_disc_files(disc.get(), nullptr, &walk, error);
    while (code == LACUNA_OK) {
      lacuna_file* file = nullptr;
      code = lacuna_files_next(walk, &file, error);
      if (file == nullptr) break;
      lacuna_byte_run runs[8];
      std::size_t got = 0, count = 0;
      const lacuna_byte_run* gaps = nullptr;
      const lacuna_extent* extents = nullptr;
      const lacuna_string* doubts = nullptr;
      code = lacuna_file_read_runs(file, 0, buffer.data(), buffer.size(), &got, runs, 8, &count, error);
      if (code == LACUNA_OK) code = lacuna_file_gaps(file, &gaps, &count, error);
      if (code == LACUNA_OK) code = lacuna_file_extents(file, &extents, &count, error);
      if (code == LACUNA_OK) code = lacuna_file_doubts(file, &doubts, &count, error);
      lacuna_file_free(file);
    }
    lacuna_files_free(walk);
    return code;
  });
}

TEST(CMemory, AReadThatFailedIsDoneRightTheNextTime) {
  CDisc box;
  const COpened disc = box.open();
  const std::string expected = content("photo", 60000);
  for (long n = 0; n < 20; ++n) {
    const CFile file = find(disc, "PHOTO.JPG");
    std::string buffer(3000, '?');
    std::size_t got = 0;
    allocations_left = n;
    const lacuna_code code = lacuna_file_read(file.get(), 10, buffer.data(), buffer.size(), &got, nullptr);
    allocations_left = kNever;
    ASSERT_TRUE(code == LACUNA_OK || code == LACUNA_OUT_OF_MEMORY);
    ASSERT_EQ(lacuna_file_read(file.get(), 5000, buffer.data(), buffer.size(), &got, nullptr), LACUNA_OK);
    ASSERT_EQ(buffer.substr(0, got), expected.substr(5000, got));
  }
}

TEST(CMemory, APullThatFailedGoesOnTheNextTime) {
  CDisc box;
  const COpened disc = box.open();
  const ScratchFolder folder;
  auto options = sized<lacuna_pull_options>();
  options.threads = 1;
  bool done = false;
  for (long n = 0; !done; n += 5) {
    const std::string to = (folder / std::to_string(n)).string();
    options.to = lacuna_text(to.c_str());
    const long before = live;
    for (const long left : {n, kNever}) {
      lacuna_pull_report* report = nullptr;
      allocations_left = left;
      const lacuna_code code = lacuna_disc_pull(disc.get(), &options, &report, nullptr);
      allocations_left = kNever;
      lacuna_pull_report_free(report);
      ASSERT_EQ(live, before) << n;
      ASSERT_TRUE(code == LACUNA_OK || (left == n && code == LACUNA_OUT_OF_MEMORY)) << n << ": " << code;
      if (left == n) done = code == LACUNA_OK;
    }
    auto verified = sized<lacuna_verify_info>();
    ASSERT_EQ(lacuna_verify(options.to, nullptr, &verified, nullptr), LACUNA_OK) << n;
    EXPECT_EQ(verified.files_right, 3U) << n;
    EXPECT_EQ(verified.problem_count, 0U) << n;
    ASSERT_LT(n, 20000);
  }
}

}  // namespace
}  // namespace lacuna::test

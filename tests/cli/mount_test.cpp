// SPDX-License-Identifier: GPL-3.0-or-later
// A mounted disc, used as people and programs use folders.
#include <fcntl.h>
#include <fmt/format.h>
#include <png.h>
#include <signal.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <sys/xattr.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <thread>

#include "cli/command.h"
#include "support/noise.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;

constexpr std::uint32_t kSector = 2048;

class Mount : public ::testing::Test {
 protected:
  // Photos as a museum's disc holds them, and bytes of which none repeats what is near it.
  static void SetUpTestSuite() {
    box_ = new ScratchFolder;
    const std::filesystem::path tree = *box_ / "tree";
    write_file(tree / "log/tides.dat", noise(700 * kSector + 77, 1));
    write_file(tree / "log/empty.txt", "");
    write_file(tree / "log/deep/er/buoy.dat", noise(3 * kSector, 2));
    run_command(tree, "ln -s ../log/tides.dat log/latest");
    write_file(tree / "quay.png", picture());
    run_command(box_->path(), "find tree -exec touch -h -d '1999-05-04 03:02:02 UTC' {} +");
    const auto bytes = genisoimage(tree, "-R -J -V HARBOUR_LOG");
    write_file(*box_ / "disc.iso", std::string(bytes.begin(), bytes.end()));
  }
  static void TearDownTestSuite() {
    delete box_;
    box_ = nullptr;
  }

  void SetUp() override {
    const int fuse = ::open("/dev/fuse", O_RDWR);
    if (fuse < 0) GTEST_SKIP() << "/dev/fuse can't be opened here: nothing can be mounted";
    ::close(fuse);
    std::filesystem::create_directory(at());
  }
  void TearDown() override {
    if (mounted_) {
      EXPECT_EQ(run_process({"/usr/bin/fusermount3", "-u", at().string()}).status, 0);
    }
  }

  /// 96 x 64 grey pixels of noise, which does not compress.
  static std::string picture() {
    png_image image{};
    image.version = PNG_IMAGE_VERSION;
    image.width = 96;
    image.height = 64;
    image.format = PNG_FORMAT_GRAY;
    const std::string pixels = noise(96 * 64, 3);
    png_alloc_size_t bytes = 0;
    EXPECT_TRUE(png_image_write_get_memory_size(image, bytes, 0, pixels.data(), 0, nullptr));
    std::string out(bytes, '\0');
    EXPECT_TRUE(png_image_write_to_memory(&image, out.data(), &bytes, 0, pixels.data(), 0, nullptr));
    out.resize(bytes);
    return out;
  }

  static std::string image() { return (*box_ / "disc.iso").string(); }
  static std::filesystem::path tree() { return *box_ / "tree"; }
  std::filesystem::path at() const { return scratch_ / "m"; }
  std::uint64_t lba_of(const std::string& file) const {
    const auto disc = read_file(image()), bytes = read_file(tree() / file);
    const auto found = std::search(disc.begin(), disc.end(), bytes.begin(), bytes.end());
    EXPECT_NE(found, disc.end());
    return static_cast<std::uint64_t>(found - disc.begin()) / kSector;
  }
  void mount(const std::string& map_text = "") {
    write_file(scratch_ / "d.map", "#! default good\n" + map_text);
    const ProcessResult done = lacuna({"mount", image(), "--map", (scratch_ / "d.map").string(), at().string()});
    ASSERT_EQ(done.status, 0) << done.err;
    mounted_ = true;
    EXPECT_THAT(done.err, HasSubstr("fusermount3 -u"));
  }
  std::string attribute(const std::string& file, const std::string& name) const {
    std::array<char, 4096> value{};
    const ssize_t n = ::getxattr((at() / file).c_str(), name.c_str(), value.data(), value.size());
    return n < 0 ? "none" : std::string(value.data(), static_cast<std::size_t>(n));
  }

  ScratchFolder scratch_;
  bool mounted_ = false;

 private:
  static inline ScratchFolder* box_ = nullptr;
};

/// Sectors 10 and 11 of a file of 700.
class MountWithGap : public Mount {
 protected:
  void SetUp() override {
    Mount::SetUp();
    if (IsSkipped()) return;
    mount(fmt::format("{} 2 bad\n", lba_of("log/tides.dat") + 10));
    fd_ = ::open((at() / "log/tides.dat").c_str(), O_RDONLY | O_CLOEXEC);
    ASSERT_GE(fd_, 0);
    right_ = read_file(tree() / "log/tides.dat");
  }
  void TearDown() override {
    if (fd_ >= 0) ::close(fd_);
    Mount::TearDown();
  }
  /// What pread gives: a number of right bytes, or -errno.
  std::int64_t read_at(std::uint64_t offset, std::size_t bytes) const {
    std::vector<std::uint8_t> out(bytes);
    const ssize_t n = ::pread(fd_, out.data(), bytes, static_cast<off_t>(offset));
    if (n < 0) return -errno;
    EXPECT_TRUE(std::equal(out.begin(), out.begin() + n, right_.begin() + static_cast<std::ptrdiff_t>(offset)));
    return n;
  }

  int fd_ = -1;
  std::vector<std::uint8_t> right_;
};

TEST_F(Mount, ACopyEqualsWhatWasBurnt) {
  ASSERT_NO_FATAL_FAILURE(mount());
  const std::string from = at().string(), to = (scratch_ / "copy").string();
  EXPECT_TRUE(run_command(scratch_.path(), "cp -r m copy && diff -r copy '" + tree().string() + "'"));
  EXPECT_TRUE(
      run_command(scratch_.path(), "(cd m && find . -type f -exec sha256sum {} +) | sort > a; (cd '" + tree().string() +
                                       "' && find . -type f -exec sha256sum {} +) | sort > b; test -s a && cmp a b"));
  EXPECT_TRUE(run_command(scratch_.path(), "(cd m && find . | sort) > a; (cd '" + tree().string() +
                                               "' && find . | sort) > b; test -s a && cmp a b"));
  struct stat facts {};
  ASSERT_EQ(::stat((at() / "log/tides.dat").c_str(), &facts), 0);
  EXPECT_EQ(facts.st_mtime, 925786922);  // date -u -d '1999-05-04 03:02:02' +%s
  EXPECT_EQ(facts.st_size, 700 * kSector + 77);
  EXPECT_EQ(std::filesystem::read_symlink(at() / "log/latest"), "../log/tides.dat");
}

TEST_F(Mount, NothingCanBeWrittenOrRun) {
  ASSERT_NO_FATAL_FAILURE(mount());
  EXPECT_LT(::open((at() / "new").c_str(), O_WRONLY | O_CREAT | O_CLOEXEC, 0644), 0);
  EXPECT_EQ(errno, EROFS);
  EXPECT_LT(::open((at() / "quay.png").c_str(), O_RDWR | O_CLOEXEC), 0);
  EXPECT_EQ(errno, EROFS);
  EXPECT_LT(::unlink((at() / "quay.png").c_str()), 0);
  EXPECT_EQ(errno, EROFS);
  EXPECT_LT(::setxattr((at() / "quay.png").c_str(), "user.lacuna.state", "x", 1, 0), 0);
  EXPECT_TRUE(run_command(scratch_.path(), "grep ' '$PWD/m' fuse.lacuna ro,nosuid,nodev,noexec' /proc/mounts"));
}

TEST_F(MountWithGap, AReadEndsAtTheByteThatIsMissing) {
  EXPECT_EQ(read_at(0, 64 * kSector), 10 * kSector);
  EXPECT_EQ(read_at(10 * kSector - 100, 4096), 100);
  EXPECT_EQ(read_at(10 * kSector, 1), -EIO);
  EXPECT_EQ(read_at(12 * kSector - 1, kSector), -EIO);
  EXPECT_EQ(read_at(12 * kSector, 2 * kSector), 2 * kSector);
  EXPECT_EQ(read_at(10 * kSector, 0), 0);
  EXPECT_EQ(read_at(700 * kSector, 4096), 77);
  EXPECT_EQ(read_at(700 * kSector + 77, 4096), 0);
  // As cat and cp do.
  std::uint64_t got = 0;
  std::vector<char> buffer(1 << 17);
  ssize_t n = 0;
  while ((n = ::read(fd_, buffer.data(), buffer.size())) > 0) got += static_cast<std::uint64_t>(n);
  EXPECT_EQ(n, -1);
  EXPECT_EQ(errno, EIO);
  EXPECT_EQ(got, 10 * kSector);
}

// A page of memory has no half: pages that hold a missing byte fault, none is filled up with zeros.
TEST_F(MountWithGap, PagesInMemoryAreRightOrFault) {
  const std::size_t page = 4096, bytes = right_.size();
  void* const mapped = ::mmap(nullptr, bytes, PROT_READ, MAP_PRIVATE, fd_, 0);
  ASSERT_NE(mapped, MAP_FAILED);
  const char* const start = static_cast<const char*>(mapped);
  std::array<int, 2> pipe{};
  ASSERT_EQ(::pipe(pipe.data()), 0);
  for (std::size_t first = 0; first < bytes; first += page) {
    const std::size_t length = std::min(page, bytes - first);
    // A fault while the kernel copies is an error of write(), not a signal.
    const ssize_t n = ::write(pipe[1], start + first, length);
    const bool missing = first < 12 * kSector && first + page > 10 * kSector;
    if (missing) {
      EXPECT_TRUE(n < 0 && errno == EFAULT) << first;
      continue;
    }
    ASSERT_EQ(n, static_cast<ssize_t>(length)) << first;
    std::vector<std::uint8_t> out(length);
    ASSERT_EQ(::read(pipe[0], out.data(), length), n);
    EXPECT_TRUE(std::equal(out.begin(), out.end(), right_.begin() + static_cast<std::ptrdiff_t>(first))) << first;
  }
  struct stat facts {};
  ASSERT_EQ(::fstat(fd_, &facts), 0);
  EXPECT_EQ(static_cast<std::size_t>(facts.st_size), bytes);
  ::munmap(mapped, bytes);
  ::close(pipe[0]);
  ::close(pipe[1]);
}

TEST_F(MountWithGap, AttributesTellWhatIsKnown) {
  EXPECT_EQ(attribute("log/tides.dat", "user.lacuna.state"), "damaged");
  EXPECT_EQ(attribute("log/tides.dat", "user.lacuna.basis"), "map");
  EXPECT_EQ(attribute("log/tides.dat", "user.lacuna.gaps"), "20480 4096 bad");
  EXPECT_EQ(attribute("log/tides.dat", "user.lacuna.missing_bytes"), "4096");
  EXPECT_EQ(attribute("log/tides.dat", "user.lacuna.path"), "log/tides.dat");
  EXPECT_EQ(attribute("log/tides.dat", "user.lacuna.extents"), fmt::format("{} 1433677", lba_of("log/tides.dat")));
  EXPECT_EQ(attribute("quay.png", "user.lacuna.state"), "whole");
  EXPECT_EQ(attribute("quay.png", "user.lacuna.gaps"), "none");
  EXPECT_EQ(attribute("quay.png", "user.lacuna.nonsense"), "none");
  EXPECT_EQ(attribute("", "user.lacuna.volume_id"), "HARBOUR_LOG");
  EXPECT_THAT(attribute("", "user.lacuna.files"), HasSubstr("damaged 1"));
  std::array<char, 1024> names{};
  const ssize_t n = ::listxattr((at() / "quay.png").c_str(), names.data(), names.size());
  ASSERT_GT(n, 0);
  EXPECT_THAT(std::string(names.data(), static_cast<std::size_t>(n)), HasSubstr("user.lacuna.state"));
  EXPECT_EQ(::listxattr((at() / "quay.png").c_str(), names.data(), 5), -1);
  EXPECT_EQ(errno, ERANGE);
}

TEST_F(MountWithGap, EightThreadsReadSideBySide) {
  std::vector<std::thread> threads;
  std::array<int, 8> wrong{};
  for (std::size_t t = 0; t < 8; ++t) {
    threads.emplace_back([&, t] {
      const bool own = t % 2 == 0;  // Half of them share a descriptor.
      const int fd = own ? ::open((at() / "log/tides.dat").c_str(), O_RDONLY | O_CLOEXEC) : fd_;
      std::vector<std::uint8_t> out(5000);
      for (std::uint64_t i = 0; i < 200; ++i) {
        const std::uint64_t offset = (i * 7919 + t * 104729) % right_.size();
        const ssize_t n = ::pread(fd, out.data(), out.size(), static_cast<off_t>(offset));
        const bool in_gap = offset >= 10 * kSector && offset < 12 * kSector;
        const std::uint64_t end = offset < 10 * kSector ? 10 * kSector : right_.size();
        const auto expected = static_cast<ssize_t>(std::min<std::uint64_t>(out.size(), end - offset));
        if (in_gap ? n != -1 : n != expected) ++wrong[t];
        if (n > 0 && !std::equal(out.begin(), out.begin() + n, right_.begin() + static_cast<std::ptrdiff_t>(offset)))
          ++wrong[t];
      }
      if (own) ::close(fd);
    });
  }
  for (std::thread& thread : threads) thread.join();
  EXPECT_THAT(wrong, ::testing::Each(0));
}

// libpng reads through the mount.
TEST_F(Mount, APictureIsSeenThroughIt) {
  ASSERT_NO_FATAL_FAILURE(mount());
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  ASSERT_TRUE(png_image_begin_read_from_file(&image, (at() / "quay.png").c_str())) << image.message;
  EXPECT_EQ(image.width, 96U);
  EXPECT_EQ(image.height, 64U);
  image.format = PNG_FORMAT_GRAY;
  std::string pixels(96 * 64, '\0');
  ASSERT_TRUE(png_image_finish_read(&image, nullptr, pixels.data(), 0, nullptr)) << image.message;
  EXPECT_EQ(pixels, noise(96 * 64, 3));
}

TEST_F(Mount, ADamagedPictureIsAReadErrorAndNotAnotherPicture) {
  mount(fmt::format("{} 1 bad\n", lba_of("quay.png") + 1));
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  ASSERT_TRUE(png_image_begin_read_from_file(&image, (at() / "quay.png").c_str())) << image.message;
  image.format = PNG_FORMAT_GRAY;
  std::string pixels(96 * 64, '\0');
  EXPECT_FALSE(png_image_finish_read(&image, nullptr, pixels.data(), 0, nullptr));
}

TEST_F(Mount, TheForegroundOneEndsWithCtrlC) {
  ProcessOptions options;
  bool seen = false;
  options.meanwhile = [&](int pid) {
    if (seen || !std::filesystem::exists(at() / "quay.png")) return;
    seen = true;
    ::kill(pid, SIGINT);
  };
  const ProcessResult done = lacuna({"mount", image(), at().string(), "--stay"}, options);
  EXPECT_EQ(done.status, 0) << done.err;
  EXPECT_TRUE(seen);
  EXPECT_TRUE(std::filesystem::is_empty(at())) << "it is unmounted";
}

TEST_F(Mount, FoldersThatWouldBeHiddenOrAreNotThereAreRefused) {
  write_file(at() / "mine.txt", "mine");
  const ProcessResult full = lacuna({"mount", image(), at().string()});
  EXPECT_EQ(full.status, 4);
  EXPECT_THAT(full.err, HasSubstr("is not empty"));
  const ProcessResult none = lacuna({"mount", image(), (scratch_ / "none").string()});
  EXPECT_EQ(none.status, 4);
  EXPECT_THAT(none.err, HasSubstr("no such folder"));
  write_file(scratch_ / "text.iso", "no disc");
  std::filesystem::create_directory(scratch_ / "e");
  EXPECT_EQ(lacuna({"mount", (scratch_ / "text.iso").string(), (scratch_ / "e").string()}).status, 3);
  EXPECT_EQ(lacuna({"mount", image()}).status, 2);
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
// A failing drive for tests: a shared library that a program is started with. Reads of one file answer as a script has
// it, the same in each run; all else goes through.
//
//   env LD_PRELOAD=LIBRARY LACUNA_FLAKY_PATH=disc.iso LACUNA_FLAKY_SCRIPT=script [LACUNA_FLAKY_LOG=log] PROGRAM …
//
// The test of a command has it as LACUNA_FLAKY_DRIVE; tests/cli/flaky_drive.h writes scripts and reads logs.
//
// The script has one rule a line; `#` begins a comment. FIRST and COUNT are sectors of 2048 bytes; of a sector all
// rules that name it hold, in this order:
//
//   FIRST COUNT hang MS [TRIES]    answers after so many milliseconds, at every try or only at the first ones
//   FIRST COUNT error [TRIES]      EIO, the same
//   FIRST COUNT chance PERCENT     EIO at a part of the tries, by the seed
//   FIRST COUNT garbage            other bytes than the file has, by the seed, and no error
//   FIRST COUNT short BYTES        a read that reaches into the sector ends after so many bytes of it
//   seed N                         of what is left to chance (1)
//   whole                          an error fails the whole request; else it ends before the sector that fails
//   gone REQUESTS                  after so many requests the disc is gone: ENOMEDIUM
//
// The log gets one line a request: `FIRST ASKED TRIED GOOD ERRNO`, the sectors asked for, those that were tried, and of
// these how many were given whole. Where there is a log before the first read, tries are counted on from it, so that a
// program which is run again finds the drive as it left it. A script that can't be read ends the program.
//
// The file is known by device and inode, under whatever name it was opened. Taken over: read, readv, pread, preadv and
// the forms of these for large files and checked buffers; not: mmap, sendfile, copy_file_range, asynchronous reads.
#include <dlfcn.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <limits>
#include <map>
#include <mutex>
#include <span>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

namespace {

constexpr std::uint64_t kSector = 2048;

using ReadAt = ssize_t (*)(int, void*, std::size_t, off_t);

/// The C library's own.
template <class Function>
Function real(const char* name) {
  return reinterpret_cast<Function>(::dlsym(RTLD_NEXT, name));
}

[[noreturn]] void give_up(const std::string& why) {
  const std::string line = "flaky drive: " + why + "\n";
  if (::write(STDERR_FILENO, line.data(), line.size()) < 0) ::_exit(125);
  ::_exit(125);
}

std::string variable(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? "" : value;
}

/// splitmix64, of the seed and what it is for.
std::uint64_t noise(std::uint64_t seed, std::uint64_t a, std::uint64_t b) {
  std::uint64_t v = seed * 0x9e3779b97f4a7c15U + a * 0xbf58476d1ce4e5b9U + b * 0x94d049bb133111ebU;
  v = (v ^ v >> 30) * 0xbf58476d1ce4e5b9U;
  v = (v ^ v >> 27) * 0x94d049bb133111ebU;
  return v ^ v >> 31;
}

struct Rule {
  std::uint64_t first = 0, count = 0;
  std::string what;
  std::uint64_t value = 0;                                          // milliseconds, percent, bytes
  std::uint64_t tries = std::numeric_limits<std::uint64_t>::max();  // the first ones, of hang and error
};

struct Plan {
  std::size_t bytes = 0;    // that are read
  std::uint64_t tried = 0;  // sectors
  int error = 0;            // where they end
  std::uint64_t hang_ms = 0;
  std::vector<std::uint64_t> garbage;
};

class Drive {
 public:
  static Drive& get() {
    static Drive drive;
    return drive;
  }

  bool is(int fd) {
    if (!known_) return false;
    struct stat info {};
    return ::fstat(fd, &info) == 0 && info.st_dev == file_.st_dev && info.st_ino == file_.st_ino;
  }

  ssize_t read(int fd, void* to, std::size_t size, off_t at) {
    const auto first = static_cast<std::uint64_t>(at) / kSector;
    Plan plan;
    {
      const std::lock_guard lock(mutex_);
      plan = plan_for(static_cast<std::uint64_t>(at), size);
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(plan.hang_ms));
    ssize_t n = 0;
    if (plan.bytes > 0) {
      n = real_pread_(fd, to, plan.bytes, at);
      if (n < 0) return n;  // asked for in a way that no file takes
    }
    const auto bytes = std::span(static_cast<std::uint8_t*>(to), static_cast<std::size_t>(n));
    for (const std::uint64_t lba : plan.garbage) spoil(lba, static_cast<std::uint64_t>(at), bytes);
    const std::uint64_t good = (static_cast<std::uint64_t>(at + n)) / kSector;
    log(first, (static_cast<std::uint64_t>(at) + size + kSector - 1) / kSector - first, plan,
        good > first ? good - first : 0);
    if (plan.error != 0 && n == 0) {
      errno = plan.error;
      return -1;
    }
    return n;
  }

 private:
  Drive() : real_pread_(real<ReadAt>("pread")) {
    const std::string path = variable("LACUNA_FLAKY_PATH");
    if (path.empty()) return;
    if (::stat(path.c_str(), &file_) != 0) give_up("no file " + path);
    read_script(variable("LACUNA_FLAKY_SCRIPT"));
    log_ = variable("LACUNA_FLAKY_LOG");
    count_on();
    known_ = true;
  }

  void read_script(const std::string& path) {
    std::ifstream script(path);
    if (!script) give_up("no script " + path);
    std::string line;
    while (std::getline(script, line)) {
      std::istringstream words(line.substr(0, line.find('#')));
      std::string word;
      if (!(words >> word)) continue;
      Rule rule;
      bool fine = true;
      if (word == "seed") {
        fine = static_cast<bool>(words >> seed_);
      } else if (word == "whole") {
        whole_ = true;
      } else if (word == "gone") {
        fine = static_cast<bool>(words >> gone_after_);
      } else {
        std::istringstream(word) >> rule.first;
        fine = word.find_first_not_of("0123456789") == std::string::npos && words >> rule.count >> rule.what;
        const bool has_value = rule.what == "hang" || rule.what == "chance" || rule.what == "short";
        if (has_value) fine = fine && words >> rule.value;
        if (rule.what != "garbage" && rule.what != "error" && !has_value) fine = false;
        if (std::uint64_t tries = 0; (rule.what == "hang" || rule.what == "error") && words >> tries)
          rule.tries = tries;
        rules_.push_back(rule);
      }
      if (!fine) give_up("can't make out: " + line);
    }
  }

  /// From the log of earlier runs.
  void count_on() {
    std::ifstream log(log_);
    std::uint64_t first = 0, asked = 0, tried = 0, good = 0;
    int error = 0;
    while (log >> first >> asked >> tried >> good >> error) {
      for (std::uint64_t lba = first; lba < first + tried; ++lba) ++tries_[lba];
    }
  }

  /// With the lock. Counts the tries.
  Plan plan_for(std::uint64_t at, std::size_t size) {
    Plan plan;
    if (requests_++ >= gone_after_) {
      plan.error = ENOMEDIUM;
      return plan;
    }
    const std::uint64_t end = at + size, first = at / kSector;
    plan.bytes = size;
    for (std::uint64_t lba = first; lba * kSector < end && plan.bytes == size; ++lba) {
      const std::uint64_t tries = tries_[lba]++, from = std::max(lba * kSector, at);
      ++plan.tried;
      bool fails = false;
      std::uint64_t most = kSector;
      for (const Rule& rule : rules_) {
        if (lba < rule.first || lba - rule.first >= rule.count) continue;
        if (rule.what == "hang" && tries < rule.tries) plan.hang_ms += rule.value;
        if (rule.what == "error" && tries < rule.tries) fails = true;
        if (rule.what == "chance" && noise(seed_, lba, tries) % 100 < rule.value) fails = true;
        if (rule.what == "garbage") plan.garbage.push_back(lba);
        if (rule.what == "short") most = std::min(most, rule.value);
      }
      if (fails) {
        plan.error = EIO;
        plan.bytes = whole_ ? 0 : static_cast<std::size_t>(from - at);
        return plan;
      }
      // Never nothing: that would be the end of the file.
      const std::uint64_t until = std::max(lba * kSector + most, at + 1);
      if (most < kSector && until > from) plan.bytes = static_cast<std::size_t>(std::min(end, until) - at);
    }
    return plan;
  }

  void spoil(std::uint64_t lba, std::uint64_t at, std::span<std::uint8_t> bytes) const {
    for (std::uint64_t i = std::max(lba * kSector, at); i < (lba + 1) * kSector && i - at < bytes.size(); ++i) {
      bytes[static_cast<std::size_t>(i - at)] ^= static_cast<std::uint8_t>(1 + noise(seed_, lba, ~(i % kSector)) % 255);
    }
  }

  void log(std::uint64_t first, std::uint64_t asked, const Plan& plan, std::uint64_t good) {
    if (log_.empty()) return;
    const std::lock_guard lock(mutex_);
    std::ofstream(log_, std::ios::app) << first << ' ' << asked << ' ' << plan.tried << ' ' << good << ' ' << plan.error
                                       << '\n';
  }

  ReadAt real_pread_;
  bool known_ = false;
  struct stat file_ {};
  std::string log_;
  std::vector<Rule> rules_;
  std::uint64_t seed_ = 1, gone_after_ = std::numeric_limits<std::uint64_t>::max();
  bool whole_ = false;
  std::mutex mutex_;
  std::map<std::uint64_t, std::uint64_t> tries_;
  std::uint64_t requests_ = 0;
};

/// While the drive reads its script, all goes through.
bool is_ours(int fd) {
  thread_local bool inside = false;
  if (inside) return false;
  inside = true;
  const bool ours = Drive::get().is(fd);
  inside = false;
  return ours;
}

/// At the file's position, which moves on.
ssize_t read_on(int fd, void* to, std::size_t size) {
  const off_t at = ::lseek(fd, 0, SEEK_CUR);
  if (at < 0) return -1;
  const ssize_t n = Drive::get().read(fd, to, size, at);
  if (n > 0) ::lseek(fd, at + n, SEEK_SET);
  return n;
}

/// Into the first buffer that has room: fewer bytes than were asked for are no error.
const iovec* first_buffer(const iovec* buffers, int count) {
  for (int i = 0; i < count; ++i) {
    if (buffers[i].iov_len != 0) return buffers + i;
  }
  return nullptr;
}

ssize_t read_at(int fd, void* to, std::size_t size, off_t at) {
  if (size != 0 && is_ours(fd)) return Drive::get().read(fd, to, size, at);
  static const auto through = real<ReadAt>("pread");
  return through(fd, to, size, at);
}

ssize_t read_at(int fd, const iovec* buffers, int count, off_t at) {
  if (const iovec* b = first_buffer(buffers, count); b != nullptr && is_ours(fd)) {
    return Drive::get().read(fd, b->iov_base, b->iov_len, at);
  }
  static const auto through = real<ssize_t (*)(int, const iovec*, int, off_t)>("preadv");
  return through(fd, buffers, count, at);
}

ssize_t read_next(int fd, void* to, std::size_t size) {
  if (size != 0 && is_ours(fd)) return read_on(fd, to, size);
  static const auto through = real<ssize_t (*)(int, void*, std::size_t)>("read");
  return through(fd, to, size);
}

}  // namespace

extern "C" {

ssize_t read(int fd, void* to, std::size_t size) { return read_next(fd, to, size); }
ssize_t __read_chk(int fd, void* to, std::size_t size, std::size_t /*room*/) { return read_next(fd, to, size); }

ssize_t pread(int fd, void* to, std::size_t size, off_t at) { return read_at(fd, to, size, at); }
ssize_t pread64(int fd, void* to, std::size_t size, off64_t at) { return read_at(fd, to, size, at); }
ssize_t __pread_chk(int fd, void* to, std::size_t size, off_t at, std::size_t /*room*/) {
  return read_at(fd, to, size, at);
}
ssize_t __pread64_chk(int fd, void* to, std::size_t size, off64_t at, std::size_t /*room*/) {
  return read_at(fd, to, size, at);
}

ssize_t readv(int fd, const iovec* buffers, int count) {
  if (const iovec* b = first_buffer(buffers, count); b != nullptr && is_ours(fd)) {
    return read_on(fd, b->iov_base, b->iov_len);
  }
  static const auto through = real<ssize_t (*)(int, const iovec*, int)>("readv");
  return through(fd, buffers, count);
}
ssize_t preadv(int fd, const iovec* buffers, int count, off_t at) { return read_at(fd, buffers, count, at); }
ssize_t preadv64(int fd, const iovec* buffers, int count, off64_t at) { return read_at(fd, buffers, count, at); }

}  // extern "C"

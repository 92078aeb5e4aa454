// SPDX-License-Identifier: GPL-3.0-or-later
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "command.h"
#include "progress.h"

namespace lacuna::tool {
namespace {

void write_all(std::string_view text) {
  while (!text.empty()) {
    if (interrupted()) throw Failure{kInterrupted, ""};
    const ssize_t n = ::write(STDOUT_FILENO, text.data(), text.size());
    if (n >= 0) {
      text.remove_prefix(static_cast<std::size_t>(n));
    } else if (errno == EPIPE) {
      throw Failure{kPipeClosed, ""};
    } else if (errno != EINTR) {
      throw Failure{kUnwritable,
                    fmt::format("standard output: {}; what was printed is not complete", std::strerror(errno))};
    }
  }
}

}  // namespace

const Sink& standard_output() {
  static const Sink sink = write_all;
  return sink;
}

void say(const std::string& message) { fmt::print(stderr, "lacuna: {}\n", shown(message)); }

void secure_standard_streams() {
  for (int fd = STDIN_FILENO; fd <= STDERR_FILENO; ++fd) {
    if (::fcntl(fd, F_GETFD) != -1 || errno != EBADF) continue;
    // Gets the lowest free number, which is fd. Read-only for standard output, so that writing still fails as it would.
    if (::open("/dev/null", fd == STDERR_FILENO ? O_WRONLY : O_RDONLY) != fd) std::_Exit(kUnwritable);
  }
}

void fail(const Error& error) {
  switch (error.code) {
    case ErrorCode::kUsage:
    case ErrorCode::kBadInput:
      throw Failure{kUsageError, error.message};
    case ErrorCode::kNotReadable:
    case ErrorCode::kNoFileSystem:
      throw Failure{kUnreadable, error.message};
    case ErrorCode::kCannotWrite:
      throw Failure{kUnwritable, error.message};
    case ErrorCode::kCancelled:
      throw Failure{kInterrupted, error.message};
  }
  throw Failure{kUnreadable, error.message};
}

}  // namespace lacuna::tool

// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/process.h"

#include <fcntl.h>
#include <gtest/gtest.h>
#include <poll.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cstdlib>

namespace lacuna::test {
namespace {

struct Pipe {
  int read_end = -1, write_end = -1;
  Pipe() {
    std::array<int, 2> ends{};
    if (pipe2(ends.data(), O_CLOEXEC) == 0) read_end = ends[0], write_end = ends[1];
  }
  ~Pipe() { close_end(read_end), close_end(write_end); }
  Pipe(const Pipe&) = delete;
  Pipe& operator=(const Pipe&) = delete;
  static void close_end(int& end) {
    if (end != -1) close(end);
    end = -1;
  }
};

/// In the child: only calls that are safe between fork and exec.
[[noreturn]] void become(char* const* arguments, const ProcessOptions& options, const Pipe& out, const Pipe& err) {
  if (!options.in.empty() && chdir(options.in.c_str()) != 0) _exit(126);
  dup2(err.write_end, STDERR_FILENO);
  if (options.stdout_closed) {
    close(STDOUT_FILENO);
  } else if (!options.stdout_to.empty()) {
    const int file = open(options.stdout_to.c_str(), O_WRONLY | O_CREAT, 0666);
    if (file == -1 || dup2(file, STDOUT_FILENO) == -1) _exit(126);
    close(file);
  } else {
    dup2(out.write_end, STDOUT_FILENO);
  }
  if (options.largest_file) {
    const rlimit limit{*options.largest_file, *options.largest_file};
    setrlimit(RLIMIT_FSIZE, &limit);
    signal(SIGXFSZ, SIG_IGN);  // Stays ignored over exec: writes fail instead.
  }
  execv(arguments[0], arguments);
  _exit(127);
}

/// Appends what there is; false at the end.
bool take(int from, std::string& to, std::size_t most) {
  std::array<char, 65536> buffer{};
  const ssize_t n = read(from, buffer.data(), std::min(buffer.size(), most));
  if (n <= 0) return false;
  to.append(buffer.data(), static_cast<std::size_t>(n));
  return true;
}

}  // namespace

ProcessResult run_process(const std::vector<std::string>& arguments, const ProcessOptions& options) {
  setenv("LC_ALL", "C.UTF-8", 1);
  setenv("TZ", "UTC", 1);
  std::vector<std::string> copies = arguments;
  std::vector<char*> raw;
  for (std::string& a : copies) raw.push_back(a.data());
  raw.push_back(nullptr);

  Pipe out, err;
  ProcessResult result;
  const pid_t child = fork();
  if (child == -1) {
    ADD_FAILURE() << "no process could be started";
    return result;
  }
  if (child == 0) become(raw.data(), options, out, err);
  Pipe::close_end(out.write_end);
  Pipe::close_end(err.write_end);

  while (out.read_end != -1 || err.read_end != -1) {
    std::array<pollfd, 2> polled{pollfd{out.read_end, POLLIN, 0}, pollfd{err.read_end, POLLIN, 0}};
    poll(polled.data(), polled.size(), options.meanwhile ? 3 : -1);
    if (options.meanwhile) options.meanwhile(child);
    if (polled[0].revents != 0) {
      const std::size_t most = options.stdout_reads ? *options.stdout_reads - result.out.size() : ~std::size_t{0};
      if (most == 0 || !take(out.read_end, result.out, most)) Pipe::close_end(out.read_end);
    }
    if (polled[1].revents != 0 && !take(err.read_end, result.err, ~std::size_t{0})) Pipe::close_end(err.read_end);
  }
  int status = 0;
  waitpid(child, &status, 0);
  result.status = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  return result;
}

}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
#include "progress.h"

#include <fmt/format.h>
#include <signal.h>

#include <atomic>
#include <cmath>

#include "lacuna/report.h"

namespace lacuna::tool {
namespace {

// The only state that a signal handler can reach.
std::atomic<bool> interrupt_flag{false};
static_assert(std::atomic<bool>::is_always_lock_free);

std::string clock_text(double seconds) {
  const auto s = static_cast<std::uint64_t>(std::lround(seconds));
  return s < 3600 ? fmt::format("{}:{:02}", s / 60, s % 60)
                  : fmt::format("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60);
}

}  // namespace

void catch_interrupts() {
  struct sigaction action {};
  action.sa_handler = [](int) { interrupt_flag.store(true); };
  action.sa_flags = static_cast<int>(SA_RESETHAND);  // The second one has its usual effect.
  sigaction(SIGINT, &action, nullptr);
  sigaction(SIGTERM, &action, nullptr);
}

bool interrupted() noexcept { return interrupt_flag.load(std::memory_order_relaxed); }

std::string progress_text(const Progress& p, std::uint64_t bytes_since_start, double seconds) {
  std::string text(p.task);
  if (p.total_bytes != 0) {
    const double part = std::min(1.0, static_cast<double>(p.done_bytes) / static_cast<double>(p.total_bytes));
    text += fmt::format("  {:3.0f} %", std::floor(part * 100));
  } else {
    text += fmt::format("  {}", human_bytes(p.done_bytes));
  }
  if (seconds < 0.5 || bytes_since_start == 0) return text;
  const double rate = static_cast<double>(bytes_since_start) / seconds;
  text += fmt::format("  {}/s", human_bytes(static_cast<std::uint64_t>(rate)));
  if (p.total_bytes > p.done_bytes) {
    const double left = static_cast<double>(p.total_bytes - p.done_bytes) / rate;
    if (left < 360000) text += fmt::format("  {} left", clock_text(left));
  }
  return text;
}

ProgressCallback ProgressLine::callback() {
  return [this](const Progress& p) {
    if (visible_) show(p);
    return !interrupted();
  };
}

void ProgressLine::show(const Progress& p) {
  const Clock::time_point now = Clock::now();
  if (p.task != task_) {
    task_ = p.task;
    started_ = now;
    first_done_ = p.done_bytes;
  } else if (now - shown_at_ < std::chrono::milliseconds(100)) {
    return;
  }
  shown_at_ = now;
  const std::uint64_t since = p.done_bytes - std::min(p.done_bytes, first_done_);
  std::string text = progress_text(p, since, std::chrono::duration<double>(now - started_).count());
  text.resize(std::min<std::size_t>(text.size(), 79));
  // Blanks over what is left of the line before: works on every terminal.
  fmt::print(stderr, "\r{:<{}}\r{}", text, width_, text);
  std::fflush(stderr);
  width_ = text.size();
}

void ProgressLine::erase() {
  if (width_ == 0) return;
  fmt::print(stderr, "\r{:<{}}\r", "", width_);
  std::fflush(stderr);
  width_ = 0;
}

}  // namespace lacuna::tool

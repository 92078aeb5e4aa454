// SPDX-License-Identifier: GPL-3.0-or-later
// A file's bytes and their states.
#include <algorithm>

#include "capi/file.h"
#include "capi/guard.h"

namespace lacuna::capi {
namespace {

struct Read {
  std::size_t bytes = 0;
  std::vector<Gap> gaps;  // suspect and missing stretches, in order
};

Read read_file(const lacuna_file& file, std::uint64_t offset, void* to, std::size_t size) {
  const std::lock_guard lock(file.mutex);
  if (!file.reader) file.reader.emplace(*file.open->disc, file.node);
  Read out;
  try {
    out.bytes = file.reader->read(offset, {static_cast<std::uint8_t*>(to), size}, out.gaps);
  } catch (...) {
    file.reader.reset();  // what it holds is of an unfinished read
    throw;
  }
  return out;
}

/// Takes runs as long as there is room.
class RunWriter {
 public:
  RunWriter(std::uint64_t offset, lacuna_byte_run* to, std::size_t capacity)
      : at_(offset), to_(to), capacity_(capacity) {}

  /// The run from where the last one ended up to `end`; false when there is no room.
  bool add_up_to(std::uint64_t end, SectorState state) {
    if (end <= at_) return true;
    if (count_ == capacity_) return false;
    to_[count_++] = {at_, end - at_, static_cast<std::uint32_t>(state), 0};
    at_ = end;
    return true;
  }

  std::uint64_t at() const noexcept { return at_; }
  std::size_t count() const noexcept { return count_; }

 private:
  std::uint64_t at_;
  lacuna_byte_run* to_;
  std::size_t capacity_;
  std::size_t count_ = 0;
};

void write_runs(RunWriter& runs, const Read& read, std::uint64_t offset) {
  const std::uint64_t end = offset + read.bytes;
  for (const Gap& gap : read.gaps) {
    if (!runs.add_up_to(gap.offset, SectorState::kGood)) return;
    if (!runs.add_up_to(std::min(gap.offset + gap.length, end), gap.state)) return;
  }
  static_cast<void>(runs.add_up_to(end, SectorState::kGood));
}

std::size_t bytes_before_missing(const Read& read, std::uint64_t offset) {
  for (const Gap& gap : read.gaps) {
    if (!has_bytes(gap.state)) return static_cast<std::size_t>(gap.offset - offset);
  }
  return read.bytes;
}

void check_read(const lacuna_file* file, const void* bytes, std::size_t size, const std::size_t* got) {
  need(file != nullptr && got != nullptr && (bytes != nullptr || size == 0), "lacuna_file_read: an argument is NULL");
  need(!file->of_tree().is_directory(), "lacuna_file_read: it is a directory");
}

}  // namespace
}  // namespace lacuna::capi

using namespace lacuna::capi;

lacuna_code lacuna_file_read(const lacuna_file* file, std::uint64_t offset, void* bytes, std::size_t size,
                             std::size_t* got, lacuna_error** error) {
  return guarded(error, [&] {
    check_read(file, bytes, size, got);
    const Read read = read_file(*file, offset, bytes, size);
    const std::size_t readable = bytes_before_missing(read, offset);
    if (readable == 0 && read.bytes != 0) {
      throw Failure{LACUNA_MISSING_BYTES, file->path + ": the byte at " + std::to_string(offset) +
                                              " is missing (its sector is " +
                                              std::string(to_string(read.gaps.front().state)) + ")"};
    }
    *got = readable;
  });
}

lacuna_code lacuna_file_read_runs(const lacuna_file* file, std::uint64_t offset, void* bytes, std::size_t size,
                                  std::size_t* got, lacuna_byte_run* runs, std::size_t capacity, std::size_t* run_count,
                                  lacuna_error** error) {
  return guarded(error, [&] {
    check_read(file, bytes, size, got);
    need(runs != nullptr && run_count != nullptr && capacity != 0, "lacuna_file_read_runs: there is no room for runs");
    const Read read = read_file(*file, offset, bytes, size);
    RunWriter writer(offset, runs, capacity);
    write_runs(writer, read, offset);
    *got = static_cast<std::size_t>(writer.at() - offset);
    *run_count = writer.count();
  });
}

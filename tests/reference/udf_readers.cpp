// SPDX-License-Identifier: GPL-3.0-or-later
#include "reference/udf_readers.h"

#include <gtest/gtest.h>
#include <udfread/blockinput.h>
#include <udfread/udfread.h>

#include <algorithm>
#include <ctime>
#include <sstream>

#include "support/process.h"

namespace lacuna::test {
namespace {

namespace fs = std::filesystem;

bool is_ascii(const std::string& s) {
  return std::ranges::all_of(s, [](char c) { return static_cast<unsigned char>(c) < 128; });
}

std::string hash_of_file(const fs::path& file) {
  const std::vector<std::uint8_t> bytes = read_file(file);
  Sha256 sha;
  sha.add(bytes.data(), bytes.size());
  return sha.hex();
}

/// What was brought out to a folder.
ReferenceListing files_below(const fs::path& folder) {
  ReferenceListing all;
  if (!fs::exists(folder)) return all;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    if (!entry.is_regular_file() || entry.is_symlink()) continue;
    ReferenceEntry e;
    e.size = entry.file_size();
    e.sha256 = hash_of_file(entry.path());
    all[entry.path().lexically_relative(folder).string()] = std::move(e);
  }
  return all;
}

// --- libudfread ---

struct SourceInput {
  udfread_block_input input{};
  const SectorSource* source = nullptr;
};

static_assert(UDF_BLOCK_SIZE == kSectorBytes);

int read_blocks(udfread_block_input* input, std::uint32_t lba, void* to, std::uint32_t blocks, int) {
  static_assert(offsetof(SourceInput, input) == 0);
  const SectorSource& source = *reinterpret_cast<SourceInput*>(input)->source;
  if (lba < source.first_lba() || lba >= source.end_lba()) return -1;
  const auto n = static_cast<std::uint32_t>(std::min<std::uint64_t>(blocks, source.end_lba() - lba));
  std::vector<SectorState> states(n);
  source.read(lba, {static_cast<std::uint8_t*>(to), std::size_t{n} * kSectorBytes}, states);
  return static_cast<int>(n);
}

std::uint32_t count_blocks(udfread_block_input* input) {
  return static_cast<std::uint32_t>(reinterpret_cast<SourceInput*>(input)->source->end_lba());
}

std::string hash_of(UDFFILE* file, std::uint64_t bytes) {
  Sha256 sha;
  std::vector<char> buffer(64 * UDF_BLOCK_SIZE);
  for (std::uint64_t done = 0; done < bytes;) {
    const ssize_t n = udfread_file_read(file, buffer.data(), std::min<std::uint64_t>(bytes - done, buffer.size()));
    if (n <= 0) return "unreadable";
    sha.add(buffer.data(), static_cast<std::size_t>(n));
    done += static_cast<std::uint64_t>(n);
  }
  return sha.hex();
}

void read_directory(udfread* udf, const std::string& path, ReferenceListing& into) {
  UDFDIR* directory = udfread_opendir(udf, ("/" + path).c_str());
  if (directory == nullptr) {
    into[path].sha256 = "a directory that can't be opened";
    return;
  }
  udfread_dirent entry{};
  while (udfread_readdir(directory, &entry) != nullptr) {
    const std::string name = entry.d_name;
    if (name == "." || name == "..") continue;
    const std::string below = path.empty() ? name : path + "/" + name;
    ReferenceEntry& e = into[below];
    if (entry.d_type == UDF_DT_DIR) {
      e.kind = ReferenceEntry::Kind::kDirectory;
      read_directory(udf, below, into);
      continue;
    }
    UDFFILE* file = udfread_file_open(udf, ("/" + below).c_str());
    if (file == nullptr) {
      e.sha256 = "can't be opened";
      continue;
    }
    e.size = static_cast<std::uint64_t>(std::max<std::int64_t>(udfread_file_size(file), 0));
    e.sha256 = hash_of(file, e.size);
    udfread_file_close(file);
  }
  udfread_closedir(directory);
}

/// Runs each line of `commands` in the shell, many at a time.
void run_side_by_side(const fs::path& in, const std::vector<std::string>& commands) {
  std::string lines;
  for (const std::string& c : commands) lines += c + '\0';
  write_file(in / "commands", lines);
  const ProcessResult result = run_process({"/bin/sh", "-c", "xargs -0 -a commands -P 24 -n 1 sh -c"}, {.in = in});
  EXPECT_TRUE(result.status == 0 || result.status == 123) << result.err;  // 123: one of them failed, as its log tells
}

}  // namespace

ReferenceListing without_dates(ReferenceListing listing) {
  for (auto& [path, entry] : listing) entry.modified.reset();
  return listing;
}

ReferenceListing ascii_files(const ReferenceListing& listing) {
  ReferenceListing some;
  for (const auto& [path, entry] : listing) {
    if (entry.kind == ReferenceEntry::Kind::kFile && is_ascii(path)) some[path] = entry;
  }
  return some;
}

std::optional<ReferenceListing> list_with_libudfread(const SectorSource& source, std::string& why) {
  SourceInput input{{nullptr, read_blocks, count_blocks}, &source};
  udfread* udf = udfread_init();
  std::optional<ReferenceListing> all;
  if (udfread_open_input(udf, &input.input) < 0) {
    why = "libudfread can't open it";
  } else {
    all.emplace();
    read_directory(udf, "", *all);
  }
  udfread_close(udf);
  return all;
}

bool has_program(const std::string& program) {
  return run_process({"/bin/sh", "-c", "command -v " + program}).status == 0;
}

SevenZipListing list_with_7zz(const fs::path& image) {
  SevenZipListing all;
  const std::string file = fs::absolute(image).string();
  const ProcessResult list = run_process({"/usr/bin/timeout", "60", "7zz", "l", "-slt", "-tudf", file});
  std::istringstream lines(list.out);
  std::string line, path;
  bool entries = false;
  while (std::getline(lines, line)) {
    if (line == "Type = Udf") all.opened = true;
    if (line.starts_with("ERROR") || line.starts_with("WARNING")) all.message += line + "\n";
    if (line == "----------") entries = true;
    const std::size_t equals = line.find(" = ");
    if (!entries || equals == std::string::npos) continue;
    const std::string key = line.substr(0, equals), value = line.substr(equals + 3);
    if (key == "Path") {
      path = value;
      all.entries[path];
      all.dates[path];
    } else if (key == "Folder" && value == "+") {
      all.entries[path].kind = ReferenceEntry::Kind::kDirectory;
    } else if (key == "Size" && all.entries[path].kind == ReferenceEntry::Kind::kFile) {
      all.entries[path].size = std::stoull(value);
    }
    static constexpr const char* kDates[] = {"Modified", "Accessed", "Created", "Metadata Changed"};
    for (std::size_t i = 0; i < 4; ++i) {
      if (key == kDates[i]) all.dates[path][i] = value;
    }
    std::tm tm{};
    if (key == "Modified" && strptime(value.c_str(), "%Y-%m-%d %H:%M:%S", &tm) != nullptr) {
      all.entries[path].modified = timegm(&tm);
    }
  }
  const ScratchFolder scratch;
  const ProcessResult extract =
      run_process({"/usr/bin/timeout", "60", "7zz", "x", "-y", "-tudf", "-oout", file}, {.in = scratch.path()});
  all.status = std::max(list.status, extract.status);
  for (const auto& [below, entry] : files_below(scratch / "out")) {
    ReferenceEntry& e = all.entries[below];
    e.sha256 = e.size == entry.size ? entry.sha256 : "not of the size that it is listed with";
  }
  return all;
}

// --- udfclient ---

void Udfclient::add(const std::string& name, const fs::path& image, std::uint32_t block_bytes, const std::string& root,
                    const std::vector<std::string>& top) {
  const std::string folder = std::to_string(sessions_.size());
  sessions_[name] = {fs::absolute(image), block_bytes, root, top, folder};
  fs::create_directories(scratch_ / folder / "out");
  fs::create_symlink(fs::absolute(image), scratch_ / folder / "image.udf");
}

/// Each session with the commands in its folder, which it takes from its standard input.
void Udfclient::run_all(const std::string& log) {
  std::vector<std::string> commands;
  for (const auto& [name, s] : sessions_) {
    if (!fs::exists(scratch_ / s.folder / (log + ".in"))) continue;
    commands.push_back("cd '" + s.folder + "/out' && timeout 60 udfclient -b " + std::to_string(s.block_bytes) +
                       " ../image.udf <../" + log + ".in >../" + log + " 2>&1");
  }
  if (!commands.empty()) run_side_by_side(scratch_.path(), commands);
}

void Udfclient::run() {
  for (const auto& [name, s] : sessions_) {
    if (s.root.empty()) write_file(scratch_ / s.folder / "root.in", "ls /\nquit\n");
  }
  run_all("root");
  for (auto& [name, s] : sessions_) {
    // "drwxrwxrwx     -1     -1         396  set:primary:logical:file set"
    std::istringstream lines(fs::exists(scratch_ / s.folder / "root")
                                 ? [&] {
                                     const auto bytes = read_file(scratch_ / s.folder / "root");
                                     return std::string(bytes.begin(), bytes.end());
                                   }()
                                 : std::string());
    for (std::string line; std::getline(lines, line);) {
      if (!line.starts_with("d") || std::ranges::count(line, ':') < 3) continue;
      s.root = line.substr(line.find_first_not_of(' ', 1));
      for (int field = 0; field < 4; ++field) {
        const std::size_t blank = s.root.find(' ');
        s.root.erase(0, s.root.find_first_not_of(' ', blank));
      }
    }
    std::string commands = "cd \"/" + s.root + "\"\n";
    for (const std::string& top : s.top) commands += "get \"" + top + "\"\n";
    write_file(scratch_ / s.folder / "log.in", commands + "quit\n");
  }
  run_all("log");
}

ReferenceListing Udfclient::listing(const std::string& name) const {
  return files_below(scratch_ / sessions_.at(name).folder / "out");
}

std::string Udfclient::log(const std::string& name) const {
  const fs::path file = scratch_ / sessions_.at(name).folder / "log";
  if (!fs::exists(file)) return {};
  const auto bytes = read_file(file);
  return {bytes.begin(), bytes.end()};
}

}  // namespace lacuna::test

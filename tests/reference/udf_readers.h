// SPDX-License-Identifier: GPL-3.0-or-later
// What readers that know nothing of Lacuna make of a UDF volume: libudfread, 7zz and udfclient, brought to the form of
// the other reference readers.
#pragma once

#include <array>
#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/image.h"
#include "reference/reference_listing.h"
#include "support/authoring.h"

namespace lacuna::test {

/// A listing in which dates of entries count as unknown, for readers that tell none.
ReferenceListing without_dates(ReferenceListing listing);
/// Files only, of paths in ASCII only.
ReferenceListing ascii_files(const ReferenceListing& listing);

/// libudfread, through its block input over a source. Without dates. Nothing, with a reason, when it can't open it.
std::optional<ReferenceListing> list_with_libudfread(const SectorSource& source, std::string& why);

/// Modified, accessed, created, attributes changed: "2004-05-06 07:08:09.123456" in UTC; empty: none.
using FourDates = std::array<std::string, 4>;

/// What `7zz l -slt` and `7zz x` make of a file.
struct SevenZipListing {
  ReferenceListing entries;
  std::map<std::string, FourDates> dates;
  bool opened = false;  ///< As a UDF volume.
  int status = 0;       ///< The worse one of both runs.
  std::string message;  ///< Its lines on errors and warnings.
};
bool has_program(const std::string& program);
SevenZipListing list_with_7zz(const std::filesystem::path& image);

/// Sessions of udfclient, run side by side: each waits about a second for itself. Files only, without dates; names
/// outside ASCII come out changed.
class Udfclient {
 public:
  /// Adds an image. `root` is the name of the logical volume's root, "set:primary:logical:file set"; empty: looked up,
  /// in a session before. `top` are the names below it that are to be brought out.
  void add(const std::string& name, const std::filesystem::path& image, std::uint32_t block_bytes,
           const std::string& root, const std::vector<std::string>& top);
  void run();
  ReferenceListing listing(const std::string& name) const;
  /// What it said.
  std::string log(const std::string& name) const;

 private:
  struct Session {
    std::filesystem::path image;
    std::uint32_t block_bytes = 2048;
    std::string root;
    std::vector<std::string> top;
    std::string folder;
  };
  void run_all(const std::string& log);

  ScratchFolder scratch_;
  std::map<std::string, Session> sessions_;
};

}  // namespace lacuna::test

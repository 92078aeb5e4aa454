// SPDX-License-Identifier: GPL-3.0-or-later
// The options that several subcommands share, and the opening of an image by them.
#pragma once

#include <CLI/CLI.hpp>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/image.h"
#include "lacuna/report.h"
#include "lacuna/verdict.h"
#include "progress.h"

namespace lacuna::tool {

/// A number as people and scripts write it: decimal or 0x-hex, nothing else.
std::optional<std::uint64_t> parse_number(const std::string& text);
/// An option that takes such a number, up to `largest`.
CLI::Option* add_number(CLI::App& app, const std::string& name, std::uint64_t& value, const std::string& help,
                        std::uint64_t largest);
/// An option given once an argument, as often as wanted: `--map a --map b`.
CLI::Option* add_repeated(CLI::App& app, const std::string& name, std::vector<std::string>& values,
                          const std::string& help);

/// --threads, --quiet, --progress.
struct CommonArguments {
  std::uint64_t threads = 0;
  bool quiet = false;
  std::string progress = "auto";

  void add_to(CLI::App& app);
  bool shows_progress() const;
  /// A line to standard error, unless --quiet.
  void note(const std::string& message) const;
};

/// --format, of the words given.
struct FormatArgument {
  std::string word = "text";

  void add_to(CLI::App& app, std::vector<std::string> words);
  Format format() const;
};

/// An image opened and read, ready for reports.
struct OpenedDisc {
  std::unique_ptr<Image> image;
  std::unique_ptr<const Disc> disc;
  Verdicts verdicts;
  ReportContext context;

  /// True when a directory could not be read and is not known from elsewhere: there may be files that nothing names.
  bool may_hide_files() const { return verdicts.hurt_directories() != 0; }
  /// Every file, and the file system's own structures as far as reading them brought up.
  bool all_whole() const;
};

/// IMAGE and everything that shapes how it is read.
struct ImageArguments {
  std::string image;
  std::vector<std::string> parts, maps;
  std::vector<std::string> map_columns, map_good, map_bad;
  std::string map_unit = "sectors";
  std::uint64_t starts_at = 0;
  std::string view, session;
  std::vector<std::string> session_starts;
  std::string names_charset;
  std::string scan = "auto";
  bool no_look_inside = false, deleted = false, streams = false, unclaimed = false;
  std::vector<std::string> many;  ///< IMAGE[,map=FILE]... of commands that take several (image_argument.h).

  void add_to(CLI::App& app);
  /// The same for a command that takes several images; use each().
  void add_many_to(CLI::App& app);
  /// One for each image, with what belongs to it alone. Throws Failure.
  std::vector<ImageArguments> each() const;
  /// The same arguments as a shell would read them.
  std::string quoted() const;
  DiscOptions disc_options() const;
  std::unique_ptr<Image> open_image(const CommonArguments& common, ProgressLine& line) const;
  /// Opens, reads and judges; what there is to say about the image goes to standard error. Throws Failure.
  OpenedDisc open(const CommonArguments& common, ProgressLine& line) const;

 private:
  void add_reading_to(CLI::App& app);
};

/// Runs `one` for each image. Of several, one that fails is told of and passed over. Gives the worst exit status.
int for_each_image(const ImageArguments& images, const std::function<int(const ImageArguments&)>& one);

/// GLOB…: which files. Names those that match nothing.
struct GlobArguments {
  std::vector<std::string> patterns;

  void add_to(CLI::App& app);
  GlobSet globs() const { return GlobSet(patterns, false); }
  /// Says which patterns match no path of the disc; true when each matches.
  bool all_match(const Disc& disc) const;
  /// Whether directories that could not be read may hold more of what was asked for: not when every pattern is the
  /// full path of one file.
  bool name_single_files(const Disc& disc) const;
};

}  // namespace lacuna::tool

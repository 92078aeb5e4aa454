// SPDX-License-Identifier: GPL-3.0-or-later
// Manifest: what `lacuna-manifest.jsonl` says, line by line, and `SHA256SUMS`. The journal of a pull at work has the
// same lines under a header of its own.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "lacuna/completions.h"
#include "lacuna/disc.h"
#include "lacuna/pull.h"
#include "lacuna/result.h"
#include "lacuna/verdict.h"
#include "salvage/checksums.h"

namespace lacuna {

inline constexpr std::string_view kManifestSchema = "lacuna/manifest/1";
inline constexpr std::string_view kWorkSchema = "lacuna/work/1";

/// By what an image, or another image of the same disc, is known again.
struct ImageIdentity {
  std::string name;  ///< The image's file name as given, without its folders.
  std::uint64_t bytes = 0;
  std::string volume_id;
  std::string volume_created;      ///< ISO 8601; empty when not recorded.
  std::uint64_t volume_bytes = 0;  ///< Volume space size.
  std::string descriptors_sha256;  ///< Over all volume descriptors that could be read; empty when none could.
};
ImageIdentity identify(const Disc& disc);
/// The same descriptors; or, as another read of a disc may have got other descriptors, the same name, date and size of
/// the volume; or, when neither tells anything of its descriptors, the same name and length of the image.
bool same_disc(const ImageIdentity& a, const ImageIdentity& b);

/// How the files of a folder are laid out; the same for all pulls into it.
struct FolderLayout {
  bool bag = false;
  Arrangement arrangement = Arrangement::kTree;
  bool once = false;

  /// Such a folder takes files of several discs, and has a manifest for each.
  bool is_collection() const noexcept { return once || arrangement != Arrangement::kTree; }
  friend bool operator==(const FolderLayout&, const FolderLayout&) = default;
};
/// As options of the command.
std::string describe(const FolderLayout& layout);

struct ManifestHeader {
  std::string schema{kManifestSchema};
  std::string made;  ///< UTC, ISO 8601.
  ImageIdentity image;
  std::string session;  ///< "2" or "all".
  std::string basis;
  bool map = false;
  bool complete = true;  ///< False when the pull was stopped before its end.
  bool damaged = false, skip_programs = false, portable_names = false;
  std::string audio_format;  ///< "flac"; empty: as WAV.
  std::vector<std::string> only;
  FolderLayout layout;
  std::string run;     ///< The journal's: what the names of files under construction go on with.
  std::string record;  ///< The journal's: the manifest that it becomes part of.
  /// Counts over the entries, filled by the writer.
  std::array<std::uint64_t, kFileStateCount> states{};
  std::array<std::uint64_t, kPullOutcomeCount> outcomes{};
};

/// One file of the disc, pulled or not.
struct ManifestEntry {
  std::string path;                                        ///< In the tree.
  std::string target;                                      ///< Relative to the folder; empty when nothing was written.
  std::vector<std::pair<std::string, std::string>> names;  ///< (view, name), where they differ from the path's last.
  std::string kind;                                        ///< As to_string(NodeKind).
  std::uint64_t size = 0;
  std::optional<std::uint64_t> target_bytes;  ///< Of the file in the folder, when it has another form (FLAC).
  FileState state = FileState::kWhole;
  std::string basis, evidence;
  PullOutcome outcome = PullOutcome::kPulled;
  std::uint64_t missing_bytes = 0;
  std::vector<Gap> gaps;
  Checksums sums;
  std::string modified, created;  ///< ISO 8601; empty when the disc does not say.
  std::vector<std::string> doubts;
  std::vector<Donation> donors;  ///< Of a file whose evidence is `twin`: where the bytes come from that it lacks here.
  std::string symlink;   ///< A link's own target on the disc, …
  std::string link;      ///< … and as made.
  std::string gap_list;  ///< Path of the list of gaps beside a damaged file.
  std::string gap_list_sha256;
  std::string why;                       ///< Why it was not pulled.
  bool deleted = false, stream = false;  ///< As node_flag says.
  /// The target is the file of another path, of this disc or another, which has the same bytes.
  bool shared = false;

  bool in_folder() const noexcept { return !target.empty(); }
  std::uint64_t bytes_in_folder() const noexcept { return target_bytes.value_or(size); }
};

/// One line each, without the line feed.
std::string to_line(const ManifestHeader& header);
std::string to_line(const ManifestEntry& entry);

/// Reads a line; `error` says what is wrong with it.
std::optional<ManifestHeader> parse_header(std::string_view line, std::string& error);
std::optional<ManifestEntry> parse_entry(std::string_view line, std::string& error);

/// A line of SHA256SUMS with its line feed, in the form of GNU coreutils: a name with a backslash is escaped and its
/// line begins with one.
std::string sums_line(std::string_view sha256, std::string_view name);
/// (checksum, name) of such a line.
std::optional<std::pair<std::string, std::string>> parse_sums_line(std::string_view line);

/// Hands the lines of a text file to f(line, number) until it gives false, each without its line feed; a last line
/// that lacks one comes with `torn`. Lines beyond kMaxLineBytes are an error (EFBIG). Gives 0 or an errno.
int for_each_line(int fd, const std::function<bool(std::string_view line, std::uint64_t number, bool torn)>& f);
inline constexpr std::size_t kMaxLineBytes = std::size_t{1} << 28;

std::optional<PullOutcome> pull_outcome_from(std::string_view word) noexcept;

}  // namespace lacuna

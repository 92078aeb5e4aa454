// SPDX-License-Identifier: GPL-3.0-or-later
// Disc: what an image holds, read from its file systems: sessions, volumes, one united tree, and every structure that
// the reading rested on. Build it with open_disc(); afterwards it is constant and safe for concurrent use.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/export.h"
#include "lacuna/finding.h"
#include "lacuna/image.h"
#include "lacuna/progress.h"
#include "lacuna/result.h"
#include "lacuna/states.h"
#include "lacuna/timestamp.h"
#include "lacuna/tree.h"
#include "lacuna/udf_facts.h"

namespace lacuna {

/// How a session's start is known.
enum class SessionSource : std::uint8_t {
  kFirst,  ///< The disc's first sectors.
  kGiven,  ///< Named by the caller, or the start of a data track.
  kFound,  ///< By a descriptor set that stands there.
  kTable,  ///< An earlier state of a volume, by a virtual allocation table (UDF 2.2.11) or an older file set.
  kScan,   ///< Put together from what the sectors hold, without a descriptor that leads there.
};
LACUNA_API std::string_view to_string(SessionSource) noexcept;

/// What one volume descriptor says of its volume. Texts are UTF-8, trailing filler removed.
struct LACUNA_API Volume {
  View view = View::kIso9660;  ///< kRockRidge when the primary tree carries Rock Ridge.
  std::uint64_t descriptor_lba = 0;
  std::string system_id, volume_id, volume_set_id, publisher_id, preparer_id, application_id;
  std::string copyright_file, abstract_file, bibliographic_file;
  std::uint32_t logical_block_bytes = 0;
  std::uint64_t space_bytes = 0;  ///< Volume space size; of UDF volumes: up to the end of the last partition.
  std::uint32_t set_size = 1, sequence_number = 1;
  int joliet_level = 0;  ///< 1..3, 0: not Joliet.
  bool xa = false;       ///< Carries the CD-ROM XA marker.
  Timestamp created, modified, expires, effective;
  std::optional<UdfFacts> udf;  ///< Set when `view` is kUdf.
};

/// A session: volumes that were recorded in one go.
struct LACUNA_API Session {
  std::uint32_t number = 1;  ///< From 1, in the order of their starts.
  std::uint64_t start_lba = 0;
  SessionSource source = SessionSource::kFirst;
  std::vector<Volume> volumes;  ///< In the order of their descriptors.
  bool in_tree = false;         ///< Whether the disc's tree shows it.
};

enum class StructureKind : std::uint8_t {
  kVolumeDescriptor,
  kPathTable,
  kDirectory,
  kContinuationArea,
  kBootCatalog,
  kExtendedAttributes,
  kAnchor,            ///< ECMA-167 3/10.2
  kIntegrity,         ///< ECMA-167 3/10.10
  kFileSet,           ///< ECMA-167 4/14.1
  kFileEntry,         ///< ECMA-167 4/14.9, 4/14.17, and what leads to it
  kAllocationExtent,  ///< ECMA-167 4/14.5
  kVirtualTable,      ///< UDF 2.2.11
  kSparingTable,      ///< UDF 2.2.12
  kMetadataFile,      ///< UDF 2.2.13
  kSpaceMap,          ///< ECMA-167 4/14.11, 4/14.12
};
LACUNA_API std::string_view to_string(StructureKind) noexcept;

/// A stretch of the disc that the file system itself uses.
struct LACUNA_API Structure {
  StructureKind kind = StructureKind::kDirectory;
  View view = View::kIso9660;
  std::uint64_t position = 0;  ///< Byte address on the disc.
  std::uint64_t bytes = 0;
  NodeId node = kNoNode;  ///< The directory or file that it belongs to, if any.
  std::string label;      ///< "primary volume descriptor", "path table L", …; empty for a node's own.
};

/// A directory of which records could not be read.
struct LACUNA_API LostDirectory {
  NodeId node = kNoNode;
  View view = View::kIso9660;             ///< The view whose directory is hurt.
  std::uint64_t position = 0, bytes = 0;  ///< Its extent.
  RangeSet missing_lbas;
  /// UDF: byte address where its information control block should stand, for whoever looks for it; its children name
  /// the same block as their parent.
  std::optional<std::uint64_t> icb_position;
  std::optional<std::uint64_t> subdirectories;     ///< How many a path table says are in it.
  std::optional<std::uint64_t> entries_elsewhere;  ///< How many another view names in it, and the tree thus has.
};

/// When to go through all sectors for what is left of lost structures.
enum class ScanMode : std::uint8_t {
  kAuto,    ///< When something that should be there could not be read.
  kAlways,  ///< Also when nothing is missing: finds remains of earlier uses of a rewritable disc.
  kNever,
};

/// What to read of an image, and how.
struct LACUNA_API DiscOptions {
  std::optional<View> view;                   ///< One view only; default: all of them united.
  std::optional<std::uint32_t> session;       ///< By number; default: the last.
  bool all_sessions = false;                  ///< Each under its own folder `session-N`.
  std::vector<std::uint64_t> session_starts;  ///< Where sessions start, when the caller knows.
  std::string names_charset;                  ///< iconv name for 8-bit names; default UTF-8, else escaped.
  bool deleted = false;                       ///< Also what is named as deleted (UDF).
  bool streams = false;                       ///< Also named streams, as `FILE:STREAM` beside their file (UDF).
  bool unclaimed = false;                     ///< Also readable stretches that nothing claims, under `_unclaimed/`.
  ScanMode scan = ScanMode::kAuto;
  unsigned threads = 0;  ///< For the scan; 0: as many as the machine has.
  ProgressCallback progress;
};

/// The pass over all sectors, when there was one.
struct LACUNA_API ScanFacts {
  std::string reason;                 ///< Why, for people.
  std::uint64_t looked_at_bytes = 0;  ///< Readable sectors that no file was known to fill.
  RangeSet structure_lbas;            ///< In which it met structures of whatever volume.
};

/// What an image holds. Constant and safe for concurrent use.
class LACUNA_API Disc {
 public:
  const Image& image() const noexcept { return *image_; }
  const Tree& tree() const noexcept { return tree_; }
  const std::vector<Session>& sessions() const noexcept { return sessions_; }
  /// Ascending by position.
  const std::vector<Structure>& structures() const noexcept { return structures_; }
  const std::vector<LostDirectory>& lost_directories() const noexcept { return lost_directories_; }
  /// Other file systems and partitions seen beside what was read ("UDF", "HFS+", "Apple partition map").
  const std::vector<std::string>& also_present() const noexcept { return also_present_; }
  const Findings& findings() const noexcept { return findings_; }
  /// Nothing when no scan was needed, or none was allowed.
  const std::optional<ScanFacts>& scan() const noexcept { return scan_; }
  /// The volume that stands for the disc: the first of the last session in the tree; nothing when none was read.
  const Volume* main_volume() const noexcept;

 private:
  friend class DiscBuilder;
  Disc() = default;

  const Image* image_ = nullptr;
  Tree tree_;
  std::vector<Session> sessions_;
  std::vector<Structure> structures_;
  std::vector<LostDirectory> lost_directories_;
  std::vector<std::string> also_present_;
  Findings findings_;
  std::optional<ScanFacts> scan_;
};

/// Reads the file systems of an image, which must outlive the disc. Errors: kNoFileSystem with what was found instead
/// and what to do, kUsage for a view or session that is not there, kCancelled.
LACUNA_API Result<std::unique_ptr<const Disc>> open_disc(const Image& image, const DiscOptions& options = {});

}  // namespace lacuna

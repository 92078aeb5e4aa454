// SPDX-License-Identifier: GPL-3.0-or-later
// What ISO 9660 has in one session: the trees of its views, read side by side and united.
#pragma once

#include <memory>
#include <unordered_set>
#include <vector>

#include "disc/sessions.h"
#include "iso9660/adoption.h"
#include "iso9660/tree_reader.h"
#include "iso9660/volume_trees.h"

namespace lacuna::iso9660 {

/// What a scan found, for all sessions.
struct ScanResult {
  ScanResult(const Remains& remains, const Image& image) : frames(remains, image) {}

  Frames frames;
  /// Directories that the disc's sessions have (byte addresses): nothing for an earlier volume.
  std::unordered_set<std::uint64_t> current;
};

struct IsoPartFacts {
  DescriptorSet set;  ///< May hold no descriptor.
  VolumeTrees trees;
  std::int64_t shift_bytes = 0;
  std::shared_ptr<const ScanResult> scan;  ///< None: nothing was looked for.
  Range orphans{0, ~std::uint64_t{0}};     ///< As Scope::orphans.
  bool earlier = false;                    ///< An earlier volume: made of what the sessions don't have.
  std::vector<std::uint64_t>
      boot_catalogs;  ///< Byte addresses of those that the scan found, if the boot record is lost.
};

class IsoPart final : public SessionPart {
 public:
  /// The builder and the options outlive the part.
  IsoPart(DiscBuilder& builder, const DiscOptions& options, IsoPartFacts facts);

  std::vector<View> views() const override;
  /// Reads and unites the session's views.
  Result<std::unique_ptr<SessionTree>> read() override;

  /// Reads all views, whatever the options ask for; gives the byte addresses of their directories, and those of the
  /// files in them. With `keep`, the next read() gives what was read. Errors: as read().
  struct Extents {
    std::vector<std::uint64_t> directories;
    std::vector<Range> files;
  };
  Result<Extents> survey(bool keep);
  void set_orphans(Range bytes) { facts_.orphans = bytes; }  ///< As Scope::orphans.

 private:
  std::vector<TreeRequest> requests_for_views(const std::optional<View>& only) const;
  TreeRequest request(const VolumeBasis& volume, View view, bool susp) const;
  std::vector<Result<ReadTree>> read_all(std::vector<TreeRequest>& requests) const;
  Result<std::unique_ptr<SessionTree>> read_views(const std::optional<View>& only, std::vector<std::uint64_t>* entered);
  void mark_rock_ridge(bool rock_ridge);
  void add_path_tables(std::vector<Structure>& structures) const;

  DiscBuilder& builder_;
  const DiscOptions& options_;
  IsoPartFacts facts_;
  std::unique_ptr<SessionTree> kept_;
};

}  // namespace lacuna::iso9660

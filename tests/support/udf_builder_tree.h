// SPDX-License-Identifier: GPL-3.0-or-later
// Files and directories for build_udf(): ICBs, content, identifiers, streams; and the record of what lies where.
#pragma once

#include <cstdint>
#include <deque>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "support/udf_builder_spaces.h"

namespace lacuna::test::udf {

/// What is being built: partitions, the references that lead into them, and the record. Addresses in it are pending
/// until resolve() knows where partitions begin.
class Volume {
 public:
  explicit Volume(const UdfOptions& options);

  const UdfOptions& options;
  Style style;
  std::deque<Partition> partitions;
  std::deque<Space> spaces;  ///< By partition reference.
  UdfImage image;

  Space& icb_space(const UdfNode& node);
  Space& data_space(const UdfNode& node) { return spaces.at(node.partition); }
  /// Of file sets and the tree: behind virtual or metadata map if there is one, else the first.
  Space& tree_space() { return options.vat || options.metadata ? spaces.back() : spaces.front(); }
  std::uint32_t blocks_for(std::uint64_t bytes) const {
    return static_cast<std::uint32_t>((bytes + options.block_bytes - 1) / options.block_bytes);
  }

  static std::uint64_t pending(Place place, std::uint32_t offset, std::uint32_t block_bytes);
  /// Notes a structure within one block, in each copy. Parts noted under one group become one where they touch.
  void note(const std::string& kind, const std::string& path, const Space& space, std::uint32_t block,
            std::uint32_t offset, std::size_t bytes, std::uint32_t version = 0, std::uint32_t group = 0);
  std::uint32_t new_group() { return ++groups_; }
  /// All that was noted and listed so far becomes one version older.
  void age();
  /// Puts addresses of the disc for the pending ones. `first_blocks` by partition; `moved` by packet of 32 blocks of
  /// the first partition.
  void resolve(const std::vector<std::uint64_t>& first_blocks, const std::map<std::uint32_t, std::uint64_t>& moved);

 private:
  void join_parts();
  std::vector<std::uint32_t> structure_groups_;
  std::uint32_t groups_ = 0;
};

/// Writes trees. One author writes all generations of a VAT, so that what stays the same stays where it is.
class TreeAuthor {
 public:
  explicit TreeAuthor(Volume& volume, std::uint64_t first_unique_id = 16)
      : v_(volume), next_unique_id_(first_unique_id) {}

  struct Written {
    LongAd root, streams;
    Style::Counts counts;
  };
  Written write(const UdfNode& root, const std::vector<UdfNode>& system_streams);

 private:
  /// One allocated stretch.
  struct Run {
    UdfExtentType type = UdfExtentType::kRecorded;
    std::uint64_t bytes = 0;
    std::uint32_t block = 0;
    Space* space = nullptr;
    bool body = true;  ///< Within the information length.
  };
  struct Layout {
    std::uint64_t bytes = 0;
    std::vector<UdfPiece> pieces;
    std::string content;
    std::vector<Run> runs;
  };
  struct Item {
    const UdfNode* node = nullptr;
    std::string path, key;
    Item* parent = nullptr;
    std::vector<std::unique_ptr<Item>> children;
    std::unique_ptr<Item> streams;
    std::unique_ptr<UdfNode> made;  ///< The node of a stream directory.
    Item* target = nullptr;         ///< Of a hard link.
    Space* space = nullptr;
    std::uint32_t icb = 0;
    std::uint64_t unique_id = 0;
    std::uint16_t links = 0;
    std::vector<std::string> link_paths;  ///< Of the hard links that lead here.
    bool deleted = false, reachable = true, stream = false, directory = false, chained = false;
  };

  std::unique_ptr<Item> plan(const UdfNode& node, Item* parent, const std::string& path, bool stream);
  std::unique_ptr<Item> plan_streams(const std::vector<UdfNode>& streams, Item* parent, const std::string& path);
  void link(Item& item);
  void write(Item& item);
  void write_version(Item& item, const UdfNode& node, std::uint32_t block, std::uint32_t version);
  LongAd icb_of(const Item& item) const;

  bool extended(const UdfNode& node) const;
  std::size_t header_bytes(const UdfNode& node) const;  ///< Of the file entry, with its attributes.
  LongAd put_attributes_icb(const Item& item, const UdfNode& node, const std::string& key, std::uint32_t version);
  std::vector<UdfExtent> extents(const Item& item, const std::vector<Run>& runs, std::uint32_t block,
                                 std::size_t header, std::uint64_t bytes) const;
  std::vector<std::string> identifier_list(const Item& item, const std::vector<Run>& runs,
                                           std::uint32_t embedded_at) const;
  void note_directory(const Item& item, const std::vector<std::string>& list, const std::vector<Run>& runs,
                      std::uint32_t embedded_at, std::uint32_t version);
  Layout& lay_out(const UdfNode& node, const std::string& key, std::uint64_t bytes, Space& space);
  std::uint32_t steady_blocks(const std::string& key, Space& space, std::uint32_t n);
  void put_content(Layout& layout, const std::string& content);
  /// Descriptors for the ICB; what does not fit goes into AEDs.
  Bytes put_descriptors(const Item& item, const UdfNode& node, UdfAds form, const std::vector<Run>& runs,
                        std::size_t room, std::uint32_t version);
  void list(const Item& item, UdfFile file, std::uint32_t version);

  Volume& v_;
  std::map<std::string, std::uint32_t> steady_;
  std::map<std::string, std::uint64_t> unique_ids_;
  std::map<std::string, Layout> layouts_;
  std::map<std::string, Item*> by_path_;
  std::uint64_t next_unique_id_;
  Style::Counts counts_;
};

}  // namespace lacuna::test::udf

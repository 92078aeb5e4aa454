// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/boot_entries.h"

#include <fmt/format.h>

#include <algorithm>
#include <unordered_map>

#include "base/text.h"
#include "iso9660/decode/el_torito.h"
#include "media/stretch.h"

namespace lacuna::iso9660 {
namespace {

constexpr std::size_t kMaxImages = 256;
constexpr std::uint64_t kCatalogBytes = 4 * kSectorBytes;  // 1 sector in practice; sections may go on
constexpr std::uint32_t kLoadSectorBytes = 512;

const char* platform_word(std::uint8_t platform) {
  switch (platform) {
    case 0x00:
      return "x86";
    case 0x01:
      return "powerpc";
    case 0x02:
      return "mac";
    case 0xef:
      return "efi";
    default:
      return "other";
  }
}

const char* media_word(std::uint8_t media) {
  switch (static_cast<BootMedia>(media)) {
    case BootMedia::kNoEmulation:
      return "plain";
    case BootMedia::kFloppy1200:
      return "floppy-1200k";
    case BootMedia::kFloppy1440:
      return "floppy-1440k";
    case BootMedia::kFloppy2880:
      return "floppy-2880k";
    case BootMedia::kHardDisk:
      return "hard-disk";
  }
  return "unknown";
}

class BootFolder {
 public:
  BootFolder(DiscBuilder& builder, Tree& tree, NodeId parent, std::int64_t shift_bytes)
      : builder_(builder), tree_(tree), parent_(parent), shift_bytes_(shift_bytes) {}

  void add(const FoundDescriptor& descriptor) {
    const auto record = decode_boot_record(descriptor.sector);
    if (!record || !record->el_torito) return;
    const std::uint64_t position = position_of(record->catalog_lba);
    if (!lies_before_disc(position)) add_catalog(position);
  }

  /// A catalog that no boot record leads to.
  void add_found(std::uint64_t position) {
    if (lies_in_file(position)) return;
    found_ = true;
    finding(Severity::kDoubt, "boot-record-lost", position / kSectorBytes,
            "the boot record is lost; a boot catalog was found here");
    add_catalog(position);
  }

 private:
  std::uint64_t position_of(std::uint32_t lba) const {
    return std::uint64_t{lba} * kSectorBytes + static_cast<std::uint64_t>(shift_bytes_);
  }

  void add_catalog(std::uint64_t position) {
    const Image& image = builder_.image();
    const std::uint64_t lba = position / kSectorBytes;
    const Stretch first = read_stretch(image, position, kSectorBytes);
    if (!first.whole()) {
      finding(Severity::kLoss, "boot-catalog-unreadable", lba, "the boot catalog can't be read");
      return;
    }
    // Further sectors belong to the catalog only when its sections run on.
    auto catalog = decode_boot_catalog(first.bytes);
    std::uint64_t catalog_bytes = kSectorBytes;
    Stretch all;
    if (catalog && (catalog->problems & catalog_problem::kTruncated) != 0) {
      all = read_stretch(image, position, kCatalogBytes);
      if (all.whole()) {
        catalog = decode_boot_catalog(all.bytes);
        catalog_bytes = kCatalogBytes;
      }
    }
    if (!catalog) {
      finding(Severity::kDoubt, "boot-catalog", lba, "the boot record names a catalog that has no validation entry");
      return;
    }
    if ((catalog->problems & (catalog_problem::kChecksum | catalog_problem::kKey)) != 0) {
      finding(Severity::kDoubt, "boot-catalog", lba, "the validation entry's checksum or key is wrong");
    }
    builder_.structures().push_back(
        {StructureKind::kBootCatalog, View::kIso9660, position, catalog_bytes, kNoNode, "boot catalog"});
    add_file("boot.catalog", {position, catalog_bytes, 0, 0}, true, {});
    for (std::size_t i = 0; i < std::min(catalog->entries.size(), kMaxImages); ++i) add_image(i, catalog->entries[i]);
  }

  void add_image(std::size_t index, const CatalogEntry& entry) {
    const BootEntry& boot = entry.entry;
    const std::uint64_t position = position_of(boot.lba);
    if (lies_before_disc(position)) return;
    const Stretch start = read_stretch(builder_.image(), position, kSectorBytes);
    Extent extent{position, 0, 0, 0};
    std::string doubt;
    bool known = true;
    const Bytes first_sector = start.whole() ? Bytes(start.bytes) : Bytes{};
    if (const auto bytes = boot_image_bytes(boot, first_sector)) {
      extent.bytes = *bytes;
    } else if (const std::uint64_t bytes_of_file = file_bytes_at(position); bytes_of_file != 0) {
      extent.bytes = bytes_of_file;
    } else if (const auto table = decode_boot_info_table(first_sector, boot.lba)) {
      extent.bytes = table->image_bytes;
    } else {
      extent.bytes = std::max<std::uint64_t>(boot.load_sectors, 1) * kLoadSectorBytes;
      known = false;
      doubt = fmt::format("its size is not recorded; {} sectors of 512 bytes are what the boot loader is told to read",
                          boot.load_sectors);
    }
    add_file(fmt::format("{:02}-{}-{}.img", index + 1, platform_word(entry.platform), media_word(boot.media_type())),
             extent, known, std::move(doubt));
  }

  void add_file(std::string_view name, const Extent& extent, bool size_known, std::string doubt) {
    if (folder_ == kNoNode) {
      Node folder = named("_boot");
      folder.kind = NodeKind::kDirectory;
      folder_ = tree_.add_child(parent_, folder);
    }
    Node n = named(name);
    n.size = extent.bytes;
    if (!size_known) n.flags |= node_flag::kSizeGuessed;
    const NodeId id = tree_.add_child(folder_, n);
    if (extent.bytes != 0) tree_.add_extents(id, {&extent, 1});
    if (!doubt.empty()) tree_.add_doubt(id, std::move(doubt));
    if (found_) {
      tree_.edit(id).evidence = Evidence::kScan;
      tree_.add_doubt(id, "the boot record is lost; that the catalog found is this volume's is not confirmed");
    }
  }

  Node named(std::string_view name) {
    Node n;
    n.flags = node_flag::kBoot;
    n.names[static_cast<std::size_t>(View::kIso9660)] = tree_.add_text(name);
    n.view = View::kIso9660;
    return n;
  }

  bool lies_in_file(std::uint64_t position) const {
    for (NodeId id = 1; id < tree_.size(); ++id) {
      for (const Extent& e : tree_.extents(tree_.node(id))) {
        // A file of just the catalog is a writer's habit.
        if (e.has_place() && e.position < position && position - e.position < e.bytes) return true;
      }
    }
    return false;
  }

  /// Length of the file that starts at this byte address; 0 when there is none.
  std::uint64_t file_bytes_at(std::uint64_t position) {
    if (!indexed_) {
      indexed_ = true;
      for (NodeId id = 1; id < tree_.size(); ++id) {
        const Node& n = tree_.node(id);
        if (n.extent_count == 1 && !n.has(node_flag::kBoot)) {
          files_.emplace(tree_.extents(n).front().position, tree_.extents(n).front().bytes);
        }
      }
    }
    const auto it = files_.find(position);
    return it == files_.end() ? 0 : it->second;
  }

  void finding(Severity severity, const char* kind, std::uint64_t lba, std::string text) {
    builder_.findings().add({severity, kind, "boot catalog", lba, "El Torito 1.0, 2.0", std::move(text)});
  }

  DiscBuilder& builder_;
  Tree& tree_;
  NodeId parent_;
  std::int64_t shift_bytes_;
  bool found_ = false;  // by a scan
  NodeId folder_ = kNoNode;
  bool indexed_ = false;
  std::unordered_map<std::uint64_t, std::uint64_t> files_;
};

}  // namespace

void add_boot_entries(DiscBuilder& builder, const BootSource& source, Tree& tree, NodeId parent) {
  constexpr std::size_t kMostCatalogs = 16;
  BootFolder folder(builder, tree, parent, source.shift_bytes);
  for (const FoundDescriptor& descriptor : source.set->descriptors) {
    if (descriptor.header.type == descriptor_type::kBootRecord) folder.add(descriptor);
  }
  for (const std::uint64_t position :
       source.found_catalogs.first(std::min(kMostCatalogs, source.found_catalogs.size()))) {
    folder.add_found(position);
  }
}

}  // namespace lacuna::iso9660

// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/iso_builder.h"

#include <algorithm>
#include <cassert>
#include <memory>

namespace lacuna::test {
namespace {

constexpr std::uint32_t kSector = 2048;
constexpr std::uint8_t kDirectoryFlag = 0x02;
constexpr std::uint8_t kMultiExtentFlag = 0x80;

std::uint8_t low8(std::uint64_t v) { return static_cast<std::uint8_t>(v & 0xff); }

void append_le32(std::string& s, std::uint32_t v) {
  for (int i = 0; i < 4; ++i) s.push_back(static_cast<char>(low8(v >> (8 * i))));
}
void append_be32(std::string& s, std::uint32_t v) {
  for (int i = 3; i >= 0; --i) s.push_back(static_cast<char>(low8(v >> (8 * i))));
}
void append_both32(std::string& s, std::uint32_t v) {
  append_le32(s, v);
  append_be32(s, v);
}

void put_text(std::span<std::uint8_t> to, std::size_t at, std::size_t width, std::string_view text, char filler) {
  for (std::size_t i = 0; i < width; ++i) to[at + i] = static_cast<std::uint8_t>(i < text.size() ? text[i] : filler);
}

void put_date(std::span<std::uint8_t> to, std::size_t at, const IsoDate& d) {
  const std::uint8_t fields[] = {
      d.year, d.month, d.day, d.hour, d.minute, d.second, static_cast<std::uint8_t>(d.quarters)};
  std::copy(std::begin(fields), std::end(fields), to.begin() + static_cast<std::ptrdiff_t>(at));
}

/// One section of a file as its record tells it.
struct Section {
  std::uint32_t block = 0;
  std::uint32_t bytes = 0;
};

/// One node in one of the trees, with the places it was given.
struct Item {
  IsoNode* node = nullptr;
  Item* parent = nullptr;
  std::string path{};
  std::vector<Item*> children{};
  std::vector<Section> sections{};
  std::uint16_t number = 0;  // in the path table
};

class Builder {
 public:
  Builder(IsoNode root, const IsoOptions& options) : options_(options), root_(std::move(root)) {
    assert(options.block_bytes == 512 || options.block_bytes == 1024 || options.block_bytes == 2048);
    image_.start_lba = options.start_lba;
    root_.directory = true;
    root_.id = std::string(1, '\0');
  }

  IsoImage build() {
    collect(primary_, &root_, false);
    if (!options_.joliet_escape.empty()) collect(joliet_, &root_, true);
    reserve_descriptors();
    place_continuations();
    for (auto* tree : {&primary_, &joliet_}) place_directories(*tree, tree == &joliet_);
    for (auto* tree : {&primary_, &joliet_}) place_path_tables(*tree, tree == &joliet_ ? "joliet " : "");
    if (!options_.boot_catalog.empty()) {
      image_.structures["catalog"] = allocate(kSector, kSector);
      put_text(image_.at(image_.structures["catalog"]), 0, options_.boot_catalog.size(), options_.boot_catalog, 0);
    }
    place_files();
    allocate(0, kSector);
    for (auto* tree : {&primary_, &joliet_}) write_directories(*tree, tree == &joliet_);
    write_descriptors();
    return std::move(image_);
  }

 private:
  using Tree = std::vector<std::unique_ptr<Item>>;  // breadth first: the order of a path table (6.9.1)

  void collect(Tree& tree, IsoNode* root, bool joliet) {
    tree.push_back(std::make_unique<Item>(Item{.node = root}));
    for (std::size_t i = 0; i < tree.size(); ++i) {
      Item* item = tree[i].get();
      for (IsoNode& child : item->node->children) {
        if (joliet && child.joliet_id.empty()) continue;
        tree.push_back(std::make_unique<Item>(
            Item{.node = &child, .parent = item, .path = item->path.empty() ? child.id : item->path + "/" + child.id}));
        item->children.push_back(tree.back().get());
      }
    }
  }

  /// Appends zero bytes up to a multiple of `align`, then `bytes` more; gives the address of these.
  std::uint64_t allocate(std::uint64_t bytes, std::uint32_t align) {
    const std::uint64_t first = (image_.bytes.size() + align - 1) / align * align;
    image_.bytes.resize(first + bytes);
    return first + std::uint64_t{options_.start_lba} * kSector;
  }
  std::uint32_t block_of(std::uint64_t address) const {
    return static_cast<std::uint32_t>(address / options_.block_bytes);
  }

  void reserve_descriptors() {
    allocate(std::uint64_t{16} * kSector, kSector);
    const auto next = [&](const char* name) { image_.structures[name] = allocate(kSector, kSector); };
    next("primary");
    if (!options_.boot_catalog.empty()) next("boot");
    if (!options_.joliet_escape.empty()) next("joliet");
    if (options_.enhanced) next("enhanced");
    next("terminator");
  }

  void place_continuations() {
    for (auto& item : primary_) {
      IsoNode& n = *item->node;
      if (n.continuation.empty()) continue;
      const std::uint64_t at = allocate(n.continuation.size(), kSector);
      put_text(image_.at(at), 0, n.continuation.size(), n.continuation, 0);
      image_.primary[item->path].continuation = at;
      const std::string ce = susp_ce(block_of(at), 0, static_cast<std::uint32_t>(n.continuation.size()));
      (item->parent == nullptr ? n.self_system_use : n.system_use) += ce;
    }
  }

  std::string_view id_of(const Item& item, bool joliet) const {
    return joliet && item.parent != nullptr ? item.node->joliet_id : item.node->id;
  }
  static std::string_view system_use_of(const Item& item, bool joliet) {
    return joliet ? std::string_view() : std::string_view(item.node->system_use);
  }

  static std::size_t record_bytes(std::string_view id, std::string_view system_use) {
    const std::size_t n = 33 + id.size() + (id.size() % 2 == 0 ? 1 : 0) + system_use.size();
    return n + n % 2;
  }

  std::vector<std::size_t> record_sizes(const Item& dir, bool joliet) const {
    std::vector<std::size_t> sizes = {
        record_bytes(std::string_view("\0", 1), joliet ? "" : dir.node->self_system_use),
        record_bytes(std::string_view("\1", 1), joliet ? "" : dir.node->parent_system_use)};
    for (const Item* child : dir.children) {
      const std::size_t sections = std::max<std::size_t>(1, child->node->section_bytes.size());
      sizes.insert(sizes.end(), sections, record_bytes(id_of(*child, joliet), system_use_of(*child, joliet)));
    }
    return sizes;
  }

  void place_directories(Tree& tree, bool joliet) {
    std::uint16_t number = 0;
    for (auto& item : tree) {
      if (!item->node->directory) continue;
      item->number = ++number;
      std::uint64_t used = 0;
      for (const std::size_t size : record_sizes(*item, joliet)) {
        assert(size <= 254);
        if (used % kSector + size > kSector) used = (used / kSector + 1) * kSector;  // 6.8.1.1
        used += size;
      }
      const std::uint64_t bytes = (used + kSector - 1) / kSector * kSector;
      const std::uint64_t at = allocate(bytes, kSector);
      item->sections = {{block_of(at), static_cast<std::uint32_t>(bytes)}};
      IsoPlace& place = (joliet ? image_.joliet : image_.primary)[item->path];
      place.extent = at;
      place.bytes = bytes;
    }
  }

  void place_path_tables(Tree& tree, const std::string& prefix) {
    if (tree.empty()) return;
    std::string l, m;  // 9.4
    for (const auto& item : tree) {
      if (!item->node->directory) continue;
      const std::string_view id = item->parent == nullptr ? std::string_view("\0", 1) : id_of(*item, !prefix.empty());
      const std::uint16_t parent = item->parent == nullptr ? 1 : item->parent->number;
      for (std::string* t : {&l, &m}) {
        t->push_back(static_cast<char>(id.size()));
        t->push_back(0);
      }
      append_le32(l, item->sections[0].block);
      append_be32(m, item->sections[0].block);
      l += {static_cast<char>(parent & 0xff), static_cast<char>(parent >> 8)};
      m += {static_cast<char>(parent >> 8), static_cast<char>(parent & 0xff)};
      for (std::string* t : {&l, &m}) {
        *t += id;
        if (id.size() % 2 != 0) t->push_back(0);
      }
    }
    path_table_bytes_[prefix] = static_cast<std::uint32_t>(l.size());
    for (const char* copy : {"", "2"}) {
      if (*copy != 0 && !options_.optional_path_tables) continue;
      for (const auto& [name, table] : {std::pair{"path L", &l}, std::pair{"path M", &m}}) {
        const std::uint64_t at = allocate(table->size(), options_.block_bytes);
        put_text(image_.at(at), 0, table->size(), *table, 0);
        image_.structures[prefix + name + copy] = at;
      }
    }
  }

  void place_files() {
    std::map<std::string, Item*> by_path;
    for (auto& item : primary_) by_path[item->path] = item.get();
    for (const bool shared : {false, true}) {
      for (auto& item : primary_) {
        if (!item->node->directory && item->node->same_extent_as.empty() != shared) place_file(*item, by_path);
      }
    }
    for (auto& item : joliet_) {
      if (!item->node->directory) item->sections = by_path.at(item->path)->sections;
    }
  }

  void place_file(Item& item, const std::map<std::string, Item*>& by_path) {
    const IsoNode& n = *item.node;
    const std::uint32_t block = options_.block_bytes;
    IsoPlace& place = image_.primary[item.path];
    place.bytes = n.content.size();
    if (!n.same_extent_as.empty()) {
      item.sections = by_path.at(n.same_extent_as)->sections;
      place.extent = image_.primary.at(n.same_extent_as).extent;
      return;
    }
    const std::uint64_t ear_bytes = std::uint64_t{n.ear_blocks} * block;
    if (n.unit_blocks != 0) {
      const std::uint64_t unit = std::uint64_t{n.unit_blocks} * block;
      const std::uint64_t step = unit + std::uint64_t{n.gap_blocks} * block;
      const std::uint64_t units = (n.content.size() + unit - 1) / unit;
      const std::uint64_t at =
          n.in_gaps_of.empty() ? allocate(units * step, block) : image_.primary.at(n.in_gaps_of).extent + unit;
      for (std::uint64_t i = 0; i < units; ++i) {
        const std::string_view piece = std::string_view(n.content).substr(i * unit, unit);
        put_text(image_.at(at + i * step), 0, piece.size(), piece, 0);
      }
      place.extent = at;
      item.sections = {{block_of(at), static_cast<std::uint32_t>(n.content.size())}};
      return;
    }
    std::vector<std::uint32_t> lengths = n.section_bytes;
    if (lengths.empty()) lengths = {static_cast<std::uint32_t>(n.content.size())};
    std::size_t done = 0;
    for (const std::uint32_t length : lengths) {
      const std::uint64_t at = allocate(ear_bytes + length, block);
      if (ear_bytes != 0) write_ear(image_.at(at));
      const std::string_view piece = std::string_view(n.content).substr(done, length);
      put_text(image_.at(at + ear_bytes), 0, piece.size(), piece, 0);
      if (done == 0) place.extent = at + ear_bytes;
      item.sections.push_back({block_of(at), length});
      done += length;
      if (lengths.size() > 1) allocate(block, block);  // sections that do not touch
    }
  }

  static void write_ear(std::span<std::uint8_t> ear) {  // 9.5
    put_both16(ear, 0, 7);
    put_both16(ear, 4, 8);
    put_text(ear, 10, 16, "2003020104050600", 0);
    put_text(ear, 27, 16, "2004030201020300", 0);
    put_text(ear, 44, 16, "0000000000000000", 0);
    put_text(ear, 61, 16, "0000000000000000", 0);
    ear[180] = 1;
  }

  /// 9.1
  std::vector<std::uint8_t> record(std::string_view id, const IsoNode& n, Section section, std::uint8_t flags,
                                   std::string_view system_use) const {
    std::vector<std::uint8_t> r(record_bytes(id, system_use));
    r[0] = low8(r.size());
    r[1] = n.ear_blocks;
    put_both32(r, 2, section.block);
    put_both32(r, 10, section.bytes);
    put_date(r, 18, n.date);
    r[25] = flags;
    r[26] = n.unit_blocks;
    r[27] = n.gap_blocks;
    put_both16(r, 28, 1);
    r[32] = low8(id.size());
    put_text(r, 33, id.size(), id, 0);
    put_text(r, 33 + id.size() + (id.size() % 2 == 0 ? 1 : 0), system_use.size(), system_use, 0);
    return r;
  }

  void write_directories(Tree& tree, bool joliet) {
    auto& places = joliet ? image_.joliet : image_.primary;
    for (auto& item : tree) {
      if (!item->node->directory) continue;
      std::uint64_t used = 0;
      const std::uint64_t at = places[item->path].extent;
      const auto put = [&](const std::vector<std::uint8_t>& r) {
        if (used % kSector + r.size() > kSector) used = (used / kSector + 1) * kSector;
        std::copy(r.begin(), r.end(), image_.at(at + used).begin());
        used += r.size();
        return at + used - r.size();
      };
      const Item& parent = item->parent == nullptr ? *item : *item->parent;
      const std::uint64_t self = put(record(std::string_view("\0", 1), *item->node, item->sections[0], kDirectoryFlag,
                                            joliet ? "" : item->node->self_system_use));
      if (item->parent == nullptr) {
        places[""].record = self;
        places[""].system_use = self + 34;
      }
      put(record(std::string_view("\1", 1), *parent.node, parent.sections[0], kDirectoryFlag,
                 joliet ? "" : item->node->parent_system_use));
      for (const Item* child : item->children) {
        const IsoNode& n = *child->node;
        const std::string_view id = id_of(*child, joliet), su = system_use_of(*child, joliet);
        for (std::size_t i = 0; i < child->sections.size(); ++i) {
          std::uint8_t flags = n.flags;
          if (n.directory) flags |= kDirectoryFlag;
          if (i + 1 < child->sections.size()) flags |= kMultiExtentFlag;
          const std::uint64_t record_at = put(record(id, n, child->sections[i], flags, su));
          if (i != 0) continue;
          IsoPlace& place = places[child->path];
          place.record = record_at;
          place.system_use = record_at + 33 + id.size() + (id.size() % 2 == 0 ? 1 : 0);
          if (joliet && !n.directory) {
            place.extent = image_.primary[child->path].extent;
            place.bytes = image_.primary[child->path].bytes;
          }
        }
      }
    }
  }

  void write_descriptors() {
    write_volume("primary", 1, 1, primary_, "");
    if (options_.enhanced) write_volume("enhanced", 2, 2, primary_, "");
    if (!options_.joliet_escape.empty()) {
      write_volume("joliet", 2, 1, joliet_, "joliet ");
      put_text(image_.at(image_.structures["joliet"]), 88, options_.joliet_escape.size(), options_.joliet_escape, 0);
    }
    if (!options_.boot_catalog.empty()) {
      const auto d = image_.at(image_.structures["boot"]);
      write_head(d, 0, 1);
      put_text(d, 7, 32, "EL TORITO SPECIFICATION", 0);
      put_le32(d, 71, block_of(image_.structures["catalog"]));
    }
    write_head(image_.at(image_.structures["terminator"]), 255, 1);
  }

  static void write_head(std::span<std::uint8_t> d, std::uint8_t type, std::uint8_t version) {
    d[0] = type;
    put_text(d, 1, 5, "CD001", 0);
    d[6] = version;
  }

  /// 8.4, 8.5
  void write_volume(const std::string& name, std::uint8_t type, std::uint8_t version, const Tree& tree,
                    const std::string& tables) {
    const auto d = image_.at(image_.structures[name]);
    const bool joliet = name == "joliet";
    write_head(d, type, version);
    const auto text = [&](std::size_t at, std::size_t width, std::string_view s) {
      if (!joliet) return put_text(d, at, width, s, ' ');
      const std::string wide = ucs2(s);
      for (std::size_t i = 0; i + 1 < width; i += 2) put_text(d, at + i, 2, std::string_view("\0 ", 2), 0);
      put_text(d, at, std::min(wide.size(), width), wide, 0);
    };
    text(8, 32, "");
    text(40, 32, options_.volume_id);
    put_both32(d, 80, static_cast<std::uint32_t>(image_.bytes.size() / options_.block_bytes));
    put_both16(d, 120, 1);
    put_both16(d, 124, 1);
    put_both16(d, 128, static_cast<std::uint16_t>(options_.block_bytes));
    put_both32(d, 132, path_table_bytes_[tables]);
    put_le32(d, 140, block_of(image_.structures[tables + "path L"]));
    put_be32(d, 148, block_of(image_.structures[tables + "path M"]));
    if (options_.optional_path_tables) {
      put_le32(d, 144, block_of(image_.structures[tables + "path L2"]));
      put_be32(d, 152, block_of(image_.structures[tables + "path M2"]));
    }
    const auto r = record(std::string_view("\0", 1), root_, tree[0]->sections[0], kDirectoryFlag, "");
    std::copy(r.begin(), r.end(), d.begin() + 156);
    for (const std::size_t at : {std::size_t{190}, std::size_t{318}, std::size_t{446}, std::size_t{574}}) {
      text(at, 128, "");
    }
    for (const std::size_t at : {std::size_t{702}, std::size_t{739}, std::size_t{776}}) text(at, 37, "");
    put_text(d, 813, 16, "2004050607080900", 0);
    put_text(d, 830, 16, "2004050607080900", 0);
    put_text(d, 847, 16, "0000000000000000", 0);
    put_text(d, 864, 16, "0000000000000000", 0);
    d[881] = version;
    if (options_.xa && type == 1) put_text(d, 1024, 8, "CD-XA001", 0);
  }

  const IsoOptions options_;
  IsoNode root_;
  Tree primary_, joliet_;
  std::map<std::string, std::uint32_t> path_table_bytes_;
  IsoImage image_;
};

}  // namespace

IsoNode iso_file(std::string id, std::string content) {
  IsoNode n;
  n.id = std::move(id);
  n.content = std::move(content);
  return n;
}

IsoNode iso_directory(std::string id, std::vector<IsoNode> children) {
  IsoNode n;
  n.id = std::move(id);
  n.directory = true;
  n.children = std::move(children);
  return n;
}

IsoImage build_iso(IsoNode root, const IsoOptions& options) { return Builder(std::move(root), options).build(); }

void put_le16(std::span<std::uint8_t> to, std::size_t at, std::uint16_t v) {
  to[at] = low8(v);
  to[at + 1] = low8(v >> 8);
}
void put_le32(std::span<std::uint8_t> to, std::size_t at, std::uint32_t v) {
  for (std::size_t i = 0; i < 4; ++i) to[at + i] = low8(v >> (8 * i));
}
void put_be32(std::span<std::uint8_t> to, std::size_t at, std::uint32_t v) {
  for (std::size_t i = 0; i < 4; ++i) to[at + 3 - i] = low8(v >> (8 * i));
}
void put_both16(std::span<std::uint8_t> to, std::size_t at, std::uint16_t v) {
  put_le16(to, at, v);
  to[at + 2] = low8(v >> 8);
  to[at + 3] = low8(v);
}
void put_both32(std::span<std::uint8_t> to, std::size_t at, std::uint32_t v) {
  put_le32(to, at, v);
  put_be32(to, at + 4, v);
}

std::string ucs2(std::string_view utf8) {
  std::string out;
  const auto unit = [&out](std::uint32_t u) {
    out.push_back(static_cast<char>(low8(u >> 8)));
    out.push_back(static_cast<char>(low8(u)));
  };
  for (std::size_t i = 0; i < utf8.size();) {
    const auto lead = static_cast<std::uint8_t>(utf8[i++]);
    int more = lead < 0x80 ? 0 : lead < 0xe0 ? 1 : lead < 0xf0 ? 2 : 3;
    std::uint32_t c = more == 0 ? lead : lead & (0x3fu >> more);
    for (; more > 0 && i < utf8.size(); --more) c = c << 6 | (static_cast<std::uint8_t>(utf8[i++]) & 0x3f);
    if (c >= 0x10000) {
      unit(0xd800 + ((c - 0x10000) >> 10));
      unit(0xdc00 + ((c - 0x10000) & 0x3ff));
    } else {
      unit(c);
    }
  }
  return out;
}

namespace {
std::string susp(std::string_view signature, std::string_view body, std::uint8_t version = 1) {
  std::string s(signature);
  s += static_cast<char>(body.size() + 4);
  s += static_cast<char>(version);
  s += body;
  return s;
}
}  // namespace

std::string susp_sp(std::uint8_t skip) { return susp("SP", std::string("\xbe\xef") + static_cast<char>(skip)); }
std::string susp_ce(std::uint32_t block, std::uint32_t offset, std::uint32_t n) {
  std::string body;
  for (const std::uint32_t v : {block, offset, n}) append_both32(body, v);
  return susp("CE", body);
}
std::string susp_er() { return susp("ER", std::string("\x0a\x00\x00\x01", 4) + "RRIP_1991A"); }
std::string susp_st() { return susp("ST", ""); }
std::string rrip_px(std::uint32_t mode, std::uint32_t links, std::uint32_t uid, std::uint32_t gid) {
  std::string body;
  for (const std::uint32_t v : {mode, links, uid, gid}) append_both32(body, v);
  return susp("PX", body);
}
std::string rrip_nm(std::string_view text, std::uint8_t flags) {
  return susp("NM", static_cast<char>(flags) + std::string(text));
}
std::string rrip_sl(std::string_view components, std::uint8_t flags) {
  return susp("SL", static_cast<char>(flags) + std::string(components));
}
std::string rrip_cl(std::uint32_t block) {
  std::string body;
  append_both32(body, block);
  return susp("CL", body);
}
std::string rrip_pl(std::uint32_t block) {
  std::string body;
  append_both32(body, block);
  return susp("PL", body);
}
std::string rrip_re() { return susp("RE", ""); }
std::string rrip_tf_modified(const IsoDate& date) {
  std::string body(1, '\x02');
  std::uint8_t stamp[7];
  put_date(stamp, 0, date);
  for (const std::uint8_t b : stamp) body.push_back(static_cast<char>(b));
  return susp("TF", body);
}
std::string zisofs_zf(std::uint32_t plain_bytes, std::uint8_t block_log2) {
  std::string body = "pz\x04";
  body.push_back(static_cast<char>(block_log2));
  append_both32(body, plain_bytes);
  return susp("ZF", body);
}
std::string xa_record(std::uint16_t attributes, std::uint8_t file_number) {
  std::string s(4, '\0');
  s.push_back(static_cast<char>(attributes >> 8));
  s.push_back(static_cast<char>(attributes & 0xff));
  s += "XA";
  s.push_back(static_cast<char>(file_number));
  s.append(5, '\0');
  return s;
}

}  // namespace lacuna::test

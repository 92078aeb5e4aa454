// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/udf_builder_tree.h"

#include <algorithm>
#include <stdexcept>

namespace lacuna::test::udf {
namespace {

constexpr std::uint64_t kLongestExtent = 0x3FFFFFFF;  // 4/14.14.1.1

std::span<const std::uint8_t> bytes_of(std::string_view s) {
  return {reinterpret_cast<const std::uint8_t*>(s.data()), s.size()};
}

bool same_pieces(const std::vector<UdfPiece>& a, const std::vector<UdfPiece>& b) {
  return std::ranges::equal(
      a, b, [](const UdfPiece& x, const UdfPiece& y) { return x.bytes == y.bytes && x.type == y.type; });
}

std::string join(const std::vector<std::string>& parts) {
  std::string all;
  for (const std::string& p : parts) all += p;
  return all;
}

bool is_directory(UdfType t) { return t == UdfType::kDirectory || t == UdfType::kStreamDirectory; }

}  // namespace

TreeAuthor::Written TreeAuthor::write(const UdfNode& root, const std::vector<UdfNode>& system_streams) {
  by_path_.clear();
  counts_ = {};
  const std::unique_ptr<Item> item = plan(root, nullptr, "", false);
  const std::unique_ptr<Item> system = system_streams.empty() ? nullptr : plan_streams(system_streams, nullptr, "::");
  link(*item);
  ++item->links;  // Its own parent identifier names it.
  if (system) link(*system), ++system->links;
  write(*item);
  if (system) write(*system);
  counts_.next_unique_id = next_unique_id_;
  return {icb_of(*item), system ? icb_of(*system) : LongAd{}, counts_};
}

std::unique_ptr<TreeAuthor::Item> TreeAuthor::plan(const UdfNode& node, Item* parent, const std::string& path,
                                                   bool stream) {
  auto item = std::make_unique<Item>();
  item->node = &node;
  item->path = path;
  item->parent = parent;
  item->stream = stream;
  item->directory = is_directory(node.type);
  item->deleted = node.deleted != UdfDeleted::kNo || (parent != nullptr && parent->deleted);
  item->reachable = node.deleted != UdfDeleted::kIcbZeroed && (parent == nullptr || parent->reachable);
  item->key = path + (item->deleted ? "\n" : "");
  if (!item->deleted) by_path_[path] = item.get();
  if (!node.link_to.empty()) return item;

  item->chained = node.strategy_4096 || !node.versions.empty() || v_.options.strategy_4096;
  item->space = &v_.icb_space(node);
  const auto versions = static_cast<std::uint32_t>(node.versions.size() + 1);
  item->icb = steady_blocks(item->key, *item->space, item->chained ? 2 * versions : 1);
  if (path.empty()) {
    item->unique_id = 0;
  } else {
    const auto [known, fresh] = unique_ids_.try_emplace(item->key, next_unique_id_);
    if (fresh) ++next_unique_id_;
    item->unique_id = known->second;
  }
  if (!item->deleted && !stream) ++(item->directory ? counts_.directories : counts_.files);
  for (const UdfNode& child : node.children) {
    item->children.push_back(plan(child, item.get(), path.empty() ? child.name : path + "/" + child.name, false));
  }
  if (!node.streams.empty()) item->streams = plan_streams(node.streams, item.get(), path + ":");
  return item;
}

std::unique_ptr<TreeAuthor::Item> TreeAuthor::plan_streams(const std::vector<UdfNode>& streams, Item* parent,
                                                           const std::string& path) {
  auto node = std::make_unique<UdfNode>();
  node->type = UdfType::kStreamDirectory;
  std::unique_ptr<Item> item = plan(*node, parent, path, true);
  item->made = std::move(node);
  for (const UdfNode& s : streams) item->children.push_back(plan(s, item.get(), path + s.name, true));
  return item;
}

void TreeAuthor::link(Item& item) {
  if (item.streams) {
    link(*item.streams);
    ++item.streams->links;
    ++item.links;  // The stream directory's parent identifier names the file.
  }
  for (const std::unique_ptr<Item>& child : item.children) {
    if (!child->node->link_to.empty()) {
      const auto found = by_path_.find(child->node->link_to);
      if (found == by_path_.end() || !found->second->node->link_to.empty()) {
        throw std::invalid_argument("a hard link to nothing: " + child->node->link_to);
      }
      child->target = found->second;
      if (!child->deleted) {
        ++child->target->links;
        child->target->link_paths.push_back(child->path);
      }
      continue;
    }
    if (!child->deleted) {
      ++child->links;
      if (child->directory) ++item.links;
    }
    link(*child);
  }
}

LongAd TreeAuthor::icb_of(const Item& item) const {
  const Item& i = item.target != nullptr ? *item.target : item;
  LongAd ad{v_.options.block_bytes * (i.chained ? 2 : 1), i.icb, i.space->reference(), 0};
  if (v_.options.revision >= 0x0200) ad.unique_id = static_cast<std::uint32_t>(i.unique_id);
  return ad;
}

void TreeAuthor::write(Item& item) {
  if (item.target != nullptr) {
    return;
  }
  const std::vector<UdfNode>& older = item.node->versions;
  for (std::size_t i = 0; i <= older.size(); ++i) {
    const std::uint32_t block = item.icb + static_cast<std::uint32_t>(2 * i);
    const auto version = static_cast<std::uint32_t>(older.size() - i);
    write_version(item, i < older.size() ? older[i] : *item.node, block, version);
    if (!item.chained || (i == older.size() && !v_.options.terminal_entries)) continue;
    LongAd next = icb_of(item);
    next.block = block + 2;
    const bool last = i == older.size();
    const Bytes entry = last ? v_.style.terminal_entry(block + 1) : v_.style.indirect_entry(next, block + 1);
    item.space->write(block + 1, entry);
    v_.note(last ? "te" : "ie", item.path, *item.space, block + 1, 0, entry.size(), version);
  }
  for (const std::unique_ptr<Item>& child : item.children) write(*child);
  if (item.streams) write(*item.streams);
}

void TreeAuthor::write_version(Item& item, const UdfNode& node, std::uint32_t block, std::uint32_t version) {
  const std::string key = item.key + (version == 0 ? "" : "#" + std::to_string(version));
  Entry e;
  e.node = &node;
  e.type = static_cast<std::uint8_t>(node.type);
  e.extended = extended(node);
  e.strategy = item.chained ? 4096 : 4;
  e.links = item.links;
  e.unique_id = item.unique_id;
  if (item.streams) {
    if (!e.extended) throw std::invalid_argument("streams need an extended file entry: " + item.path);
    e.streams_icb = icb_of(*item.streams);
  }
  if (!node.icb_attributes.empty()) e.attributes_icb = put_attributes_icb(item, node, key, version);

  UdfFile file;
  file.type = node.type;
  file.recorded = item.directory ? join(identifier_list(item, {}, block)) : node.content;
  for (const UdfPiece& p : node.pieces) file.bytes += p.bytes;
  if (node.pieces.empty()) file.bytes = file.recorded.size();
  e.bytes = e.object_bytes = file.bytes;
  for (const UdfNode& s : node.streams) e.object_bytes += s.content.size();

  const std::size_t header = header_bytes(node);
  const std::size_t room = v_.options.block_bytes - std::min<std::size_t>(header, v_.options.block_bytes);
  std::vector<Run> runs;
  if (node.ads == UdfAds::kEmbedded || (item.directory && v_.options.embedded_directories && file.bytes <= room)) {
    e.form = UdfAds::kEmbedded;
    e.descriptors.assign(file.recorded.begin(), file.recorded.end());
  } else {
    Space& data = item.directory ? *item.space : v_.data_space(node);
    Layout& layout = lay_out(node, key, file.bytes, data);
    if (item.directory) file.recorded = join(identifier_list(item, layout.runs, 0));
    put_content(layout, file.recorded);
    runs = layout.runs;
    const bool one_space = std::ranges::all_of(
        runs, [&](const Run& r) { return r.space == nullptr ? item.space == &data : r.space == item.space; });
    e.form = node.ads == UdfAds::kAuto ? (one_space ? UdfAds::kShort : UdfAds::kLong) : node.ads;
    if (e.form == UdfAds::kShort && !one_space) throw std::invalid_argument("short descriptors can't lead there");
    e.descriptors = put_descriptors(item, node, e.form, runs, room, version);
  }
  for (const Run& run : runs) {
    if (run.body && run.type == UdfExtentType::kRecorded) e.recorded_blocks += v_.blocks_for(run.bytes);
  }
  const Bytes entry = v_.style.file_entry(e, block);
  item.space->write(block, entry);
  v_.note("fe", item.path, *item.space, block, 0, entry.size(), version);
  file.extents = extents(item, runs, block, header, file.bytes);
  if (item.directory) note_directory(item, identifier_list(item, runs, block), runs, block, version);
  list(item, std::move(file), version);
}

bool TreeAuthor::extended(const UdfNode& node) const {
  return node.extended_entry.value_or(v_.options.extended_entries.value_or(v_.options.revision >= 0x0200));
}

std::size_t TreeAuthor::header_bytes(const UdfNode& node) const {
  return (extended(node) ? 216 : 176) + v_.style.attribute_space(node.attributes, 0).size();
}

LongAd TreeAuthor::put_attributes_icb(const Item& item, const UdfNode& node, const std::string& key,
                                      std::uint32_t version) {
  const std::uint32_t block = steady_blocks(key + "\nea", *item.space, 1);
  const UdfNode plain;
  Entry e;
  e.node = &plain;
  e.type = 8;
  e.extended = extended(node);
  e.form = UdfAds::kEmbedded;
  e.descriptors = v_.style.attribute_space(node.icb_attributes, block);
  e.bytes = e.object_bytes = e.descriptors.size();
  const Bytes entry = v_.style.file_entry(e, block);
  item.space->write(block, entry);
  v_.note("ea icb", item.path, *item.space, block, 0, entry.size(), version);
  return {v_.options.block_bytes, block, item.space->reference(), 0};
}

std::vector<UdfExtent> TreeAuthor::extents(const Item& item, const std::vector<Run>& runs, std::uint32_t block,
                                           std::size_t header, std::uint64_t bytes) const {
  const std::uint32_t block_bytes = v_.options.block_bytes;
  std::vector<UdfExtent> all;
  if (runs.empty() && bytes > 0) {  // Embedded.
    const Place place = item.space->place(block).value();
    all.push_back({0, bytes, Volume::pending(place, static_cast<std::uint32_t>(header), block_bytes)});
  }
  std::uint64_t offset = 0;
  for (const Run& run : runs) {
    if (!run.body) continue;
    if (run.type != UdfExtentType::kRecorded) {
      all.push_back({offset, run.bytes, std::nullopt});
    } else if (run.space == nullptr) {
      all.push_back({offset, run.bytes, std::uint64_t{run.block} * block_bytes});
    } else {
      for (std::uint64_t at = 0; at < run.bytes; at += block_bytes) {
        const Place place = run.space->place(run.block + static_cast<std::uint32_t>(at / block_bytes)).value();
        const std::uint64_t n = std::min<std::uint64_t>(block_bytes, run.bytes - at);
        all.push_back({offset + at, n, Volume::pending(place, 0, block_bytes)});
      }
    }
    offset += run.bytes;
  }
  return all;
}

void TreeAuthor::list(const Item& item, UdfFile file, std::uint32_t version) {
  if (version > 0) {
    if (v_.image.older.size() < version) v_.image.older.resize(version);
    v_.image.older[version - 1][item.path] = std::move(file);
  } else if (!item.deleted) {
    v_.image.files[item.path] = std::move(file);
    for (const std::string& path : item.link_paths) v_.image.files[path] = v_.image.files[item.path];
  } else if (item.reachable) {
    v_.image.deleted[item.path] = std::move(file);
  }
}

std::vector<std::string> TreeAuthor::identifier_list(const Item& item, const std::vector<Run>& runs,
                                                     std::uint32_t embedded_at) const {
  // 4/7.2.9 of the tag: the block in which the descriptor's first byte lies.
  const auto block_at = [&](std::uint64_t offset) {
    for (const Run& run : runs) {
      if (offset < run.bytes) return run.block + static_cast<std::uint32_t>(offset / v_.options.block_bytes);
      offset -= run.bytes;
    }
    return embedded_at;
  };
  std::vector<std::string> all;
  std::uint64_t offset = 0;
  const auto add = [&](const Bytes& b) {
    all.emplace_back(b.begin(), b.end());
    offset += b.size();
  };
  add(v_.style.parent_identifier(icb_of(item.parent == nullptr ? item : *item.parent), block_at(0)));
  for (const std::unique_ptr<Item>& child : item.children) {
    const UdfNode& n = *child->node;
    const bool system = item.path == "::";
    const auto characteristics = static_cast<std::uint8_t>((n.hidden ? 1 : 0) | (child->directory ? 2 : 0) |
                                                           (n.deleted != UdfDeleted::kNo ? 4 : 0) | (system ? 16 : 0));
    const LongAd icb = n.deleted == UdfDeleted::kIcbZeroed ? LongAd{} : icb_of(*child);
    add(v_.style.identifier(n, characteristics, icb, block_at(offset)));
  }
  return all;
}

void TreeAuthor::note_directory(const Item& item, const std::vector<std::string>& list, const std::vector<Run>& runs,
                                std::uint32_t embedded_at, std::uint32_t version) {
  const std::uint32_t block_bytes = v_.options.block_bytes;
  struct Stretch {
    std::uint32_t block, offset, bytes;
  };
  std::vector<Stretch> blocks;
  std::size_t total = 0;
  for (const std::string& one : list) total += one.size();
  if (runs.empty()) {
    const auto bytes = static_cast<std::uint32_t>(total);
    blocks.push_back({embedded_at, static_cast<std::uint32_t>(header_bytes(*item.node)), bytes});
  }
  for (const Run& run : runs) {
    for (std::uint64_t at = 0; run.body && at < run.bytes; at += block_bytes) {
      blocks.push_back({run.block + static_cast<std::uint32_t>(at / block_bytes), 0,
                        static_cast<std::uint32_t>(std::min<std::uint64_t>(block_bytes, run.bytes - at))});
    }
  }
  for (const Stretch& b : blocks) v_.note("directory", item.path, *item.space, b.block, b.offset, b.bytes, version);
  std::size_t stretch = 0;
  std::uint32_t at = 0;
  for (std::size_t i = 0; i < list.size(); ++i) {
    const std::string& path = i == 0 ? item.path : item.children[i - 1]->path;
    const std::uint32_t group = v_.new_group();
    for (auto left = static_cast<std::uint32_t>(list[i].size()); left > 0;) {
      if (at == blocks.at(stretch).bytes) ++stretch, at = 0;
      const std::uint32_t n = std::min(left, blocks.at(stretch).bytes - at);
      v_.note(i == 0 ? "parent fid" : "fid", path, *item.space, blocks[stretch].block, blocks[stretch].offset + at, n,
              version, group);
      at += n;
      left -= n;
    }
  }
}

std::uint32_t TreeAuthor::steady_blocks(const std::string& key, Space& space, std::uint32_t n) {
  const std::string full = key + "\n" + std::to_string(space.reference()) + "\n" + std::to_string(n);
  const auto known = steady_.find(full);
  if (known != steady_.end() && space.kind() == Space::Kind::kVirtual) return known->second;
  return steady_[full] = space.take(n);
}

TreeAuthor::Layout& TreeAuthor::lay_out(const UdfNode& node, const std::string& key, std::uint64_t bytes,
                                        Space& space) {
  std::vector<UdfPiece> pieces = node.pieces;
  if (pieces.empty() && bytes > 0) pieces = {{bytes, UdfExtentType::kRecorded}};
  Layout& layout = layouts_[key];
  const bool same = layout.bytes == bytes && same_pieces(layout.pieces, pieces);
  const bool steady = same && !layout.runs.empty() && v_.options.vat;
  if (steady && space.kind() == Space::Kind::kVirtual) return layout;
  if (steady && !layout.content.empty() && layout.content == node.content) return layout;
  layout = {bytes, pieces, {}, {}};
  const std::uint64_t block_bytes = v_.options.block_bytes;
  const std::uint64_t longest = kLongestExtent / block_bytes * block_bytes;
  const auto lay = [&](const UdfPiece& piece, bool body) {
    for (std::uint64_t left = piece.bytes; left > 0;) {
      Run run{piece.type, std::min(left, longest), 0, &space, body};
      if (piece.type == UdfExtentType::kUnallocated) {
        run.space = nullptr;
      } else {
        if (node.fragment_blocks != 0) run.bytes = std::min(run.bytes, node.fragment_blocks * block_bytes);
        run.block = space.take(v_.blocks_for(run.bytes));
        if (node.fragment_blocks != 0) space.skip(1);
      }
      left -= run.bytes;
      layout.runs.push_back(run);
    }
  };
  if (node.at_block) {
    layout.runs.push_back({UdfExtentType::kRecorded, bytes, static_cast<std::uint32_t>(*node.at_block), nullptr, true});
  } else {
    for (const UdfPiece& p : pieces) lay(p, true);
  }
  for (const UdfPiece& p : node.tail) lay(p, false);
  return layout;
}

void TreeAuthor::put_content(Layout& layout, const std::string& content) {
  const bool kept = !layout.content.empty() && layout.content == content;
  layout.content = content;
  std::uint64_t done = 0;
  for (const Run& run : layout.runs) {
    if (run.type != UdfExtentType::kRecorded || run.space == nullptr) continue;
    const std::string noise = run.body ? std::string() : udf_noise(run.block + 77, run.bytes);
    const std::string_view from =
        run.body ? std::string_view(content).substr(done, run.bytes) : std::string_view(noise);
    if (from.size() != run.bytes) throw std::invalid_argument("the pieces don't add up to the content");
    if (run.body) done += run.bytes;
    if (kept && run.space->kind() == Space::Kind::kDirect) continue;
    for (std::uint64_t at = 0; at < run.bytes; at += v_.options.block_bytes) {
      run.space->write(run.block + static_cast<std::uint32_t>(at / v_.options.block_bytes),
                       bytes_of(from.substr(at, v_.options.block_bytes)));
    }
  }
}

Bytes TreeAuthor::put_descriptors(const Item& item, const UdfNode& node, UdfAds form, const std::vector<Run>& runs,
                                  std::size_t room, std::uint32_t version) {
  std::vector<Ad> ads;
  for (const Run& run : runs) {
    Ad ad{static_cast<std::uint8_t>(run.type), static_cast<std::uint32_t>(run.bytes), run.block, 0};
    ad.reference = run.space != nullptr ? run.space->reference() : node.partition;
    if (run.space == nullptr && run.type == UdfExtentType::kRecorded) {  // at_block: of the disc
      ad.block = run.block - static_cast<std::uint32_t>(v_.options.session_start + *v_.options.partition_at);
    }
    ads.push_back(ad);
  }
  const std::size_t width = ad_bytes(form);
  const auto most = [&](std::size_t bytes, std::uint32_t asked) {
    return asked == 0 ? bytes / width : std::min<std::size_t>(bytes / width, asked + 1);  // And the continuation.
  };
  Bytes in_icb;
  Bytes* to = &in_icb;
  std::size_t limit = most(room, node.ads_in_icb), next = 0;
  struct Aed {
    std::uint32_t block;
    Bytes ads;
  };
  std::deque<Aed> aeds;
  for (;;) {
    const std::size_t left = ads.size() - next;
    const std::uint32_t asked = to == &in_icb ? node.ads_in_icb : node.ads_in_aed;
    const bool fits = left <= limit && (asked == 0 || left <= asked);
    const std::size_t n = fits ? left : limit - 1;
    if (!fits && limit < 2) throw std::invalid_argument("no room for allocation descriptors: " + item.path);
    for (std::size_t i = 0; i < n; ++i) append_ad(*to, form, ads[next++]);
    if (fits) break;
    const std::string key = item.key + "\naed" + std::to_string(version) + "." + std::to_string(aeds.size());
    aeds.push_back({steady_blocks(key, *item.space, 1), {}});
    append_ad(*to, form, {3, v_.options.block_bytes, aeds.back().block, item.space->reference()});
    to = &aeds.back().ads;
    limit = most(v_.options.block_bytes - 24, node.ads_in_aed);
  }
  std::uint32_t previous = 0;
  for (const Aed& aed : aeds) {
    const Bytes extent = v_.style.allocation_extent(aed.ads, previous, aed.block);
    item.space->write(aed.block, extent);
    v_.note("aed", item.path, *item.space, aed.block, 0, extent.size(), version);
    previous = aed.block;
  }
  return in_icb;
}

}  // namespace lacuna::test::udf

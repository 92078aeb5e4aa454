// SPDX-License-Identifier: GPL-3.0-or-later
// Lays a volume out: sequences, anchors, partitions, what their maps need, and the end of the disc.
#include "support/udf_builder.h"

#include <algorithm>
#include <stdexcept>

#include "support/udf_builder_tree.h"

namespace lacuna::test {
namespace udf {
namespace {

constexpr std::uint32_t kNowhere = 0xFFFFFFFF;
constexpr std::uint32_t kSequenceBlocks = 16;  // 3/8.4.2: the least.

/// Options with all places decided.
UdfOptions decided(UdfOptions o) {
  // 2/8.1, 3/8.1: the recognition sequence begins at byte 32768; three descriptors of at least 2048 bytes and an end.
  const std::uint32_t behind = std::max<std::uint32_t>(32, 65536 / o.block_bytes);
  if (!o.main_at) o.main_at = behind;
  if (!o.reserve_at) o.reserve_at = *o.main_at + kSequenceBlocks;
  if (!o.integrity_at) o.integrity_at = *o.reserve_at + kSequenceBlocks;
  if (!o.partition_at) o.partition_at = o.sparable ? 288 : 257;
  if (o.sparable && (o.vat || o.partitions > 1 || *o.partition_at % kPacketBlocks != 0)) {
    throw std::invalid_argument("a sparable partition is alone, and begins with a packet");
  }
  if (o.file_set_elsewhere && o.older_file_sets.empty()) {
    throw std::invalid_argument("a next file set needs one before it");
  }
  const auto base_blocks = static_cast<std::uint32_t>((o.base.size() + o.block_bytes - 1) / o.block_bytes);
  if (base_blocks > *o.partition_at) o.first_free = std::max(o.first_free, base_blocks - *o.partition_at);
  return o;
}

class DiscBuilder {
 public:
  /// `space_blocks` are kept for the bitmap or table of free space, which lies before all that it describes.
  DiscBuilder(const UdfOptions& o, std::uint32_t space_blocks)
      : o_(o), v_(o), base_(static_cast<std::uint32_t>(o.session_start)), space_blocks_(space_blocks) {}

  /// Nothing when more blocks than were kept are needed.
  std::optional<UdfImage> build(const UdfNode& root) {
    make_spaces();
    if (space_blocks_ != 0) space_at_ = first().take(space_blocks_);
    if (o_.metadata) metadata_icb_ = v_.partitions[0].take(1);
    write_trees(root);
    if (o_.metadata) finish_metadata();
    if (o_.vat) {
      place_last_vat();
    } else {
      finish_partitions();
      if (needed_space_blocks_ > space_blocks_) return std::nullopt;
    }
    assemble();
    return std::move(v_.image);
  }
  std::uint32_t needed_space_blocks() const { return needed_space_blocks_; }

 private:
  Partition& first() { return v_.partitions[0]; }
  std::uint32_t start() const { return base_ + *o_.partition_at; }

  void make_spaces() {
    const auto add = [&](Space::Kind kind, std::uint16_t partition) {
      v_.spaces.emplace_back(kind, static_cast<std::uint16_t>(v_.spaces.size()), partition, v_.partitions[partition]);
    };
    for (std::uint16_t i = 0; i < o_.partitions; ++i) {
      v_.partitions.emplace_back(o_.block_bytes);
      add(Space::Kind::kDirect, i);
    }
    if (o_.vat) add(Space::Kind::kVirtual, 0);
    if (o_.metadata) {
      add(Space::Kind::kMetadata, 0);
      v_.spaces.back().use_units(o_.metadata_unit_blocks, o_.metadata_duplicate);
    }
    for (const std::int64_t a : o_.anchors) {
      if (a >= *o_.partition_at) first().forbidden.insert(static_cast<std::uint32_t>(a - *o_.partition_at));
    }
    first().skip_to(o_.first_free);
  }

  void write_trees(const UdfNode& root) {
    Space& space = v_.tree_space();
    const auto older = static_cast<std::uint32_t>(o_.older_file_sets.size());
    const std::uint32_t apart = o_.file_set_elsewhere ? 1 : 0;
    const std::uint32_t sets = space.take(older + 1 - apart);
    if (apart != 0) space.skip(1);
    const std::uint32_t last = apart != 0 ? space.take(1) : sets + older;
    file_set_ = {(older + 1 - apart) * o_.block_bytes, sets, space.reference(), 0};
    const LongAd next = apart != 0 ? LongAd{o_.block_bytes, last, space.reference(), 0} : LongAd{};

    std::uint64_t unique_id = 16;
    for (std::uint32_t i = 0; i < older; ++i) {
      TreeAuthor author(v_, unique_id);
      const TreeAuthor::Written tree = author.write(o_.older_file_sets[i], {});
      unique_id = tree.counts.next_unique_id;
      put_file_set(i, tree, i + 1 == older ? next : LongAd{}, sets + i);
      v_.age();
    }
    TreeAuthor author(v_, unique_id);
    for (const UdfNode& generation : o_.older_generations) {
      const TreeAuthor::Written tree = author.write(generation, o_.system_streams);
      counts_ = tree.counts;
      put_file_set(older, tree, {}, last);
      put_vat(first().end() + vat_content_blocks());
      v_.age();
    }
    const TreeAuthor::Written tree = author.write(root, o_.system_streams);
    counts_ = tree.counts;
    put_file_set(older, tree, {}, last);
  }

  void put_file_set(std::uint32_t number, const TreeAuthor::Written& tree, const LongAd& next, std::uint32_t block) {
    const Bytes set = v_.style.file_set(number, tree.root, next, tree.streams, block);
    v_.tree_space().write(block, set);
    v_.note("fsd", "", v_.tree_space(), block, 0, set.size());
  }

  // --- Virtual partition (UDF 2.2.8, 2.2.11) ---

  Space& virtual_space() { return v_.spaces[o_.partitions]; }
  Bytes vat_bytes() { return v_.style.vat(virtual_space().map(), last_vat_, counts_); }
  bool vat_embeds() { return o_.vat_embedded && vat_bytes().size() + 216 <= o_.block_bytes; }
  std::uint32_t vat_content_blocks() { return vat_embeds() ? 0 : v_.blocks_for(vat_bytes().size()); }

  /// The VAT's content and its ICB, whose block is given.
  void put_vat(std::uint32_t icb) {
    const Bytes content = vat_bytes();
    const UdfNode node;
    Entry e;
    e.node = &node;
    e.type = o_.revision >= 0x0200 ? 248 : 0;
    e.extended = o_.extended_entries.value_or(o_.revision >= 0x0200);
    e.bytes = e.object_bytes = content.size();
    if (vat_embeds()) {
      e.form = UdfAds::kEmbedded;
      e.descriptors = content;
    } else {
      put_blocks("vat", content, first().take(v_.blocks_for(content.size())), e);
    }
    first().skip_to(icb);
    if (first().take(1) != icb) throw std::invalid_argument("an anchor lies where the VAT's ICB must");
    put_entry("vat icb", e, icb);
    last_vat_ = icb;
  }

  void place_last_vat() {
    const std::uint32_t content_end = first().end() + vat_content_blocks();
    std::int64_t depth = 0;
    for (const std::int64_t a : o_.anchors) depth = std::min(depth, a);
    // The disc's end so that the deepest anchor counted from it lies behind all content.
    std::uint32_t blocks = content_end + std::max(1 + o_.vat_before_end, static_cast<std::uint32_t>(-depth));
    put_vat(blocks - 1 - o_.vat_before_end);
    first().skip_to(blocks);
    lengths_ = {blocks};
    end_ = start() + blocks;
  }

  // --- Metadata partition (UDF 2.2.10, 2.2.13) ---

  void finish_metadata() {
    const Space& space = v_.tree_space();
    if (o_.metadata_bitmap) {
      std::vector<bool> used(space.map().size());
      std::fill_n(used.begin(), space.end(), true);
      const std::uint32_t bytes = static_cast<std::uint32_t>(24 + (used.size() + 7) / 8);
      const std::uint32_t block = first().take(v_.blocks_for(bytes));
      Entry e;
      put_blocks("metadata bitmap", v_.style.space_bitmap(used, block), block, e);
      bitmap_icb_ = first().take(1);
      put_metadata_entry("metadata bitmap icb", e, 252, bitmap_icb_);
    }
    first().skip(9);  // Apart from the rest.
    mirror_icb_ = first().take(1);
    for (std::uint32_t copy = 0; copy < 2; ++copy) {
      const std::vector<std::uint32_t>& blocks = space.map(o_.metadata_duplicate ? copy : 0);
      Entry e;
      for (std::size_t i = 0; i < blocks.size(); i += o_.metadata_unit_blocks) {
        append_ad(e.descriptors, UdfAds::kShort, {0, o_.metadata_unit_blocks * o_.block_bytes, blocks[i], 0});
      }
      e.bytes = blocks.size() * o_.block_bytes;
      e.recorded_blocks = blocks.size();
      const std::uint32_t icb = copy == 0 ? metadata_icb_ : mirror_icb_;
      put_metadata_entry(copy == 0 ? "metadata icb" : "metadata mirror icb", e, copy == 0 ? 250 : 251, icb);
    }
  }

  void put_metadata_entry(const std::string& kind, Entry& e, std::uint8_t type, std::uint32_t icb) {
    const UdfNode node;
    e.node = &node;
    e.type = type;
    e.extended = o_.extended_entries.value_or(true);
    e.object_bytes = e.bytes;
    put_entry(kind, e, icb);
  }

  // --- Both ---

  /// Content in blocks of the first partition that were taken, and its short descriptor.
  void put_blocks(const std::string& kind, const Bytes& content, std::uint32_t block, Entry& e) {
    put_blocks(kind, content, block);
    append_ad(e.descriptors, UdfAds::kShort, {0, static_cast<std::uint32_t>(content.size()), block, 0});
    e.bytes = content.size();
    e.recorded_blocks = v_.blocks_for(content.size());
  }

  void put_blocks(const std::string& kind, const Bytes& content, std::uint32_t block) {
    const std::uint32_t group = v_.new_group();
    for (std::size_t at = 0; at < content.size(); at += o_.block_bytes, ++block) {
      const std::size_t n = std::min<std::size_t>(o_.block_bytes, content.size() - at);
      first().write(block, std::span(content).subspan(at, n));
      v_.note(kind, "", v_.spaces[0], block, 0, n, 0, group);
    }
  }

  void put_entry(const std::string& kind, const Entry& e, std::uint32_t block) {
    const Bytes entry = v_.style.file_entry(e, block);
    first().write(block, entry);
    v_.note(kind, "", v_.spaces[0], block, 0, entry.size());
  }

  // --- The partitions' ends ---

  void finish_partitions() {
    using Kind = UdfOptions::Space;
    first().skip(o_.free_blocks);
    lengths_ = {first().end()};
    if (o_.sparable) lengths_[0] = (lengths_[0] + kPacketBlocks - 1) / kPacketBlocks * kPacketBlocks;
    if (space_blocks_ != 0) {
      needed_space_blocks_ = o_.space == Kind::kBitmap ? v_.blocks_for(24 + (lengths_[0] + 7) / 8) : 1;
      if (needed_space_blocks_ > space_blocks_) return;
      const std::vector<bool> used = first().used(lengths_[0]);
      put_blocks(o_.space == Kind::kBitmap ? "space bitmap" : "space table",
                 o_.space == Kind::kBitmap ? v_.style.space_bitmap(used, space_at_) : free_table(used, space_at_),
                 space_at_);
    }
    end_ = start() + lengths_[0];
    if (o_.partitions > 1) {
      v_.partitions[1].skip(o_.free_blocks);
      lengths_.push_back(v_.partitions[1].end());
      end_ += lengths_[1];
    }
    if (o_.sparable) place_sparing();
    std::int64_t depth = 0;
    for (const std::int64_t a : o_.anchors) depth = std::min(depth, a);
    for (const std::int64_t a : o_.anchors) {
      if (a >= 0) end_ = std::max(end_, static_cast<std::uint32_t>(base_ + a + 1));
    }
    end_ += static_cast<std::uint32_t>(-depth);
  }

  Bytes free_table(const std::vector<bool>& used, std::uint32_t location) const {
    std::vector<Ad> free;
    for (std::uint32_t i = 0; i < used.size(); ++i) {
      if (used[i]) continue;
      if (free.empty() || free.back().block + free.back().bytes / o_.block_bytes != i) free.push_back({1, 0, i, 0});
      free.back().bytes += o_.block_bytes;
    }
    return v_.style.unallocated_entry(free, location);
  }

  /// The sparing area behind the partition, the tables around it; two packets more than are in use.
  void place_sparing() {
    const auto packets = static_cast<std::uint32_t>(o_.relocated_packets.size());
    const auto tables = static_cast<std::uint32_t>(o_.sparing_sequences.size());
    if (tables < 1 || tables > 4) throw std::invalid_argument("1 to 4 sparing tables");
    sparing_.resize(packets + 2);
    table_bytes_ = static_cast<std::uint32_t>(56 + 8 * sparing_.size());
    const std::uint32_t table_blocks = v_.blocks_for(table_bytes_);
    tables_at_.push_back(end_);
    const std::uint32_t area = (end_ + table_blocks + kPacketBlocks - 1) / kPacketBlocks * kPacketBlocks;
    end_ = area + static_cast<std::uint32_t>(sparing_.size()) * kPacketBlocks;
    for (std::uint32_t i = 1; i < tables; ++i, end_ += table_blocks + 1) tables_at_.push_back(end_ + 1);
    for (std::uint32_t i = 0; i < sparing_.size(); ++i) {
      sparing_[i].mapped = area + i * kPacketBlocks;
      if (i >= packets) continue;
      if (o_.relocated_packets[i] >= lengths_[0] / kPacketBlocks) throw std::invalid_argument("no such packet");
      sparing_[i].original = o_.relocated_packets[i] * kPacketBlocks;
      moved_[o_.relocated_packets[i]] = sparing_[i].mapped;
    }
  }

  // --- The disc ---

  std::span<std::uint8_t> block(std::uint32_t absolute) {
    return std::span(v_.image.bytes).subspan(std::size_t{absolute - base_} * o_.block_bytes, o_.block_bytes);
  }

  void assemble() {
    v_.image.first_byte = std::uint64_t{base_} * o_.block_bytes;
    v_.image.bytes = o_.base;
    v_.image.bytes.resize(std::max(v_.image.bytes.size(), std::size_t{end_ - base_} * o_.block_bytes));
    std::vector<std::uint64_t> first_blocks = {start()};
    if (o_.partitions > 1) first_blocks.push_back(start() + lengths_[0]);
    v_.resolve(first_blocks, moved_);
    for (std::size_t p = 0; p < v_.partitions.size(); ++p) {
      for (std::uint32_t i = 0; i < v_.partitions[p].end(); ++i) {
        if (!v_.partitions[p].written(i)) continue;
        auto at = static_cast<std::uint32_t>(first_blocks[p] + i);
        const auto spare = moved_.find(i / kPacketBlocks);
        if (p == 0 && spare != moved_.end()) {
          const std::string noise = udf_noise(i + 4711, o_.block_bytes);
          std::ranges::copy(noise, block(at).begin());
          at = static_cast<std::uint32_t>(spare->second + i % kPacketBlocks);
        }
        std::ranges::copy(v_.partitions[p].block(i), block(at).begin());
      }
    }
    for (std::size_t i = 0; i < tables_at_.size(); ++i) put_sparing_table(i);
    if (o_.recognition_sequence) put_recognition_sequence();
    if (o_.integrity) put_integrity();
    const std::uint32_t more = *o_.integrity_at + kSequenceBlocks;
    put_sequence(base_ + *o_.main_at, base_ + more, o_.main_number, o_.volume_id, 0);
    put_sequence(base_ + *o_.reserve_at, base_ + more + kSequenceBlocks, o_.reserve_number,
                 o_.reserve_volume_id.value_or(o_.volume_id), 1);
    for (std::size_t i = 0; i < o_.anchors.size(); ++i) {
      const auto at = static_cast<std::uint32_t>(o_.anchors[i] < 0 ? end_ + o_.anchors[i] : base_ + o_.anchors[i]);
      const Extent main{kSequenceBlocks * o_.block_bytes, base_ + *o_.main_at};
      const Extent reserve{kSequenceBlocks * o_.block_bytes, base_ + *o_.reserve_at};
      put("anchor", at, v_.style.anchor(main, reserve, at), static_cast<std::uint32_t>(i));
    }
  }

  void put(const std::string& kind, std::uint32_t absolute, const Bytes& data, std::uint32_t copy = 0,
           std::uint32_t version = 0) {
    const std::uint64_t address = std::uint64_t{absolute} * o_.block_bytes;
    const std::span<std::uint8_t> to = v_.image.at(address).first(data.size());
    if (!std::ranges::all_of(to, [](std::uint8_t b) { return b == 0; })) {
      throw std::invalid_argument("the place of a descriptor is taken: " + kind);
    }
    std::ranges::copy(data, to.begin());
    v_.image.structures.push_back({kind, "", address, static_cast<std::uint32_t>(data.size()), copy, version});
  }

  void put_sparing_table(std::size_t i) {
    const auto& sequences = o_.sparing_sequences;
    std::vector<Style::Sparing> entries = sparing_;
    if (sequences[i] != *std::ranges::max_element(sequences)) {
      const std::size_t known = o_.relocated_packets.size();
      for (std::size_t k = 0; k < std::min<std::size_t>(known, o_.older_tables_lack); ++k) {
        entries[known - 1 - k].original = kNowhere;
      }
    }
    std::ranges::sort(entries, {}, &Style::Sparing::original);  // UDF 2.2.12
    put("sparing table", tables_at_[i], v_.style.sparing_table(sequences[i], entries, tables_at_[i]),
        static_cast<std::uint32_t>(i));
  }

  /// 2/9, 3/9: a structure each 2048 bytes, or each sector when those are larger.
  void put_recognition_sequence() {
    const std::uint32_t step = std::max<std::uint32_t>(2048, o_.block_bytes);
    const std::string nsr = o_.revision < 0x0200 ? "NSR02" : "NSR03";
    std::uint64_t at = v_.image.first_byte + 32768;
    while (v_.image.at(at)[0] != 0 || v_.image.at(at)[1] != 0) at += step;  // Behind another file system's.
    for (const std::string& id : {std::string("BEA01"), nsr, std::string("TEA01")}) {
      const Bytes b = Draft(7).text(1, id).u8(6, 1).bytes();
      put(id == nsr ? "nsr" : id == "BEA01" ? "bea" : "tea", static_cast<std::uint32_t>(at / o_.block_bytes), b);
      at += step;
    }
  }

  void put_integrity() {
    counts_.size.assign(v_.spaces.size(), kNowhere);
    counts_.free = counts_.size;
    for (std::size_t i = 0; i < lengths_.size(); ++i) counts_.size[i] = lengths_[i], counts_.free[i] = 0;
    if (!o_.vat) {  // UDF 2.2.6.2: unknown in a virtual partition; nothing to be had in a write-once one.
      const std::vector<bool> used = first().used(lengths_[0]);
      counts_.free[0] = static_cast<std::uint32_t>(std::ranges::count(used, false));
    }
    for (std::uint32_t i = 0; i <= o_.older_integrity; ++i) {
      const std::uint32_t at = base_ + *o_.integrity_at + i;
      const bool closed = o_.closed && i == o_.older_integrity;
      put("lvid", at, v_.style.integrity(closed, counts_, at), 0, o_.older_integrity - i);
    }
  }

  std::vector<Bytes> maps() const {
    std::vector<Bytes> all;
    if (o_.sparable) {
      all.push_back(v_.style.map_sparable(table_bytes_, tables_at_));
    } else {
      for (std::uint16_t i = 0; i < o_.partitions; ++i) all.push_back(v_.style.map_type1(i));
    }
    if (o_.vat) all.push_back(v_.style.map_virtual());
    if (o_.metadata) all.push_back(v_.style.map_metadata(metadata_icb_, mirror_icb_, bitmap_icb_));
    return all;
  }

  /// 3/8.4.2
  void put_sequence(std::uint32_t at, std::uint32_t more, std::uint32_t number, const std::string& id,
                    std::uint32_t copy) {
    const Style& s = v_.style;
    const Extent integrity =
        o_.integrity ? Extent{kSequenceBlocks * o_.block_bytes, base_ + *o_.integrity_at} : Extent{};
    std::uint32_t written = 0;
    const auto add = [&](const std::string& kind, auto&& make) {
      if (o_.continue_after != 0 && written++ == o_.continue_after) {
        put("vdp", at, s.pointer(number, {kSequenceBlocks * o_.block_bytes, more}, at), copy);
        at = more;
      }
      put(kind, at, make(), copy);
      ++at;
    };
    add("pvd", [&] { return s.primary(number, id, at); });
    add("lvd", [&] { return s.logical(number, id, file_set_, integrity, maps(), at); });
    std::uint32_t partition_at = start();
    for (std::uint16_t i = 0; i < o_.partitions; ++i) {
      const Extent where{lengths_[i], partition_at};
      add("pd", [&] {
        return s.partition(number, i, where, i == 0 ? Extent{space_blocks_ * o_.block_bytes, space_at_} : Extent{}, at);
      });
      partition_at += lengths_[i];
    }
    add("usd", [&] { return s.unallocated(number, at); });
    add("iuvd", [&] { return s.implementation(number, id, at); });
    add("td", [&] { return s.terminating(at); });
  }

  const UdfOptions& o_;
  Volume v_;
  std::uint32_t base_;  ///< Block of the disc where the image begins.
  LongAd file_set_;
  Style::Counts counts_;
  std::uint32_t last_vat_ = kNowhere;
  std::uint32_t metadata_icb_ = kNowhere, mirror_icb_ = kNowhere, bitmap_icb_ = kNowhere;
  std::vector<std::uint32_t> lengths_;  ///< Of the partitions, in blocks.
  std::uint32_t space_blocks_, needed_space_blocks_ = 0, space_at_ = 0;
  std::uint32_t end_ = 0;  ///< Block of the disc behind the last.
  std::vector<Style::Sparing> sparing_;
  std::map<std::uint32_t, std::uint64_t> moved_;
  std::vector<std::uint32_t> tables_at_;
  std::uint32_t table_bytes_ = 0;
};

}  // namespace
}  // namespace udf

UdfImage build_udf(UdfNode root, const UdfOptions& options) {
  const UdfOptions all = udf::decided(options);
  root.type = UdfType::kDirectory;
  std::uint32_t space_blocks = all.vat || all.space == UdfOptions::Space::kNone ? 0 : 1;
  for (;;) {
    udf::DiscBuilder builder(all, space_blocks);
    if (std::optional<UdfImage> image = builder.build(root)) return std::move(*image);
    space_blocks = builder.needed_space_blocks();
  }
}

}  // namespace lacuna::test

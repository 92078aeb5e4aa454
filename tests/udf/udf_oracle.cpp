// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf_oracle.h"

#include "support/tagged_blocks.h"

namespace lacuna::test {
namespace {

std::string parent_of(const std::string& path) {
  if (const std::size_t colon = path.find(':'); colon != std::string::npos && !path.starts_with("::")) {
    return path.substr(0, colon + (colon + 1 < path.size() ? 1 : 0));  // "f:s" in "f:", that in "f"
  }
  if (path.starts_with("::")) return "::";
  const std::size_t slash = path.rfind('/');
  return slash == std::string::npos ? "" : path.substr(0, slash);
}

bool is_directory(UdfType t) { return t == UdfType::kDirectory || t == UdfType::kStreamDirectory; }

std::vector<Gap> missing_of(const std::vector<Gap>& gaps) {
  std::vector<Gap> out;
  for (const Gap& g : gaps) {
    if (!has_bytes(g.state)) out.push_back({g.offset, g.length, SectorState::kBad});
  }
  return joined(out);
}

std::vector<Gap> suspect_of(const std::vector<Gap>& gaps) {
  std::vector<Gap> out;
  for (const Gap& g : gaps) {
    if (has_bytes(g.state)) out.push_back(g);
  }
  return joined(out);
}

}  // namespace

UdfOracle::UdfOracle(const UdfVariant& variant, const UdfImage& image) : variant_(variant), image_(image) {
  collect_nodes(variant.root, "", nodes_);
  for (const UdfStructure& s : image.structures) {
    if (generations_.size() <= s.version) generations_.resize(s.version + std::size_t{1});
    if (s.copy < 2 || s.kind == "anchor" || s.kind == "sparing table") {
      generations_[s.version][{s.kind, s.path}].copy[s.copy == 1 ? 1 : 0].push_back(s);
    }
  }
}

const UdfOracle::Pieces& UdfOracle::pieces(std::size_t generation, const std::string& kind,
                                           const std::string& path) const {
  static const Pieces none;
  const auto at = generations_[generation].find({kind, path});
  return at == generations_[generation].end() ? none : at->second;
}

const std::string& UdfOracle::owner(const std::string& path) const {
  const auto at = nodes_.find(path);
  return at == nodes_.end() || at->second->link_to.empty() ? path : at->second->link_to;
}

bool UdfOracle::is_chained(const std::string& path) const {
  const auto at = nodes_.find(path);
  return variant_.options.strategy_4096 ||
         (at != nodes_.end() && (at->second->strategy_4096 || !at->second->versions.empty()));
}

struct UdfOracle::Judgement {
  const UdfOracle& o;
  const UdfDamage& d;
  std::size_t generation = 0;
  bool copy_counts[2] = {true, true};  ///< Whether the metadata file's own and its mirror's entry can be read.
  bool sparing_fresh = true, sparing_hurt = false;
  bool volume = false, exact = true, superseded = false;

  Judgement(const UdfOracle& oracle, const UdfDamage& damage) : o(oracle), d(damage) {
    const UdfOptions& options = o.variant_.options;
    volume = any("lvd", "") && partitions_ok();
    if (options.metadata) {
      copy_counts[0] = any("metadata icb", "");
      copy_counts[1] = any("metadata mirror icb", "");
      if (!options.metadata_duplicate) copy_counts[0] = copy_counts[1] = copy_counts[0] || copy_counts[1];
    }
    if (options.sparable) look_at_sparing();
    if (options.vat) {
      while (generation < o.generations_.size() && !(all_ok("vat icb") && all_ok("vat"))) ++generation;
      superseded = generation > 0;
      if (generation == o.generations_.size()) generation = 0, exact = false;
    }
    exact = exact && sparing_fresh && volume && file_set_ok();
  }

  const Pieces& pieces(const std::string& kind, const std::string& path) const {
    return o.pieces(generation, kind, path);
  }

  /// Readers take what stands in a block whole; without a map only the structure's own bytes matter.
  bool ok(const UdfStructure& s) const {
    // A wrong byte within an entry's block is one of the entry, and of no other structure in there.
    if (d.broken != nullptr && (d.broken->address == s.address ? d.broken->kind == s.kind
                                                               : s.kind == "fe" && d.broken->address > s.address &&
                                                                     d.broken->address < s.address + s.bytes)) {
      return false;
    }
    const bool content = s.kind == "directory" || s.kind == "vat" || s.kind == "anchor" || !d.mapped;
    const std::uint64_t block = o.image_.block_bytes;
    return d.good(s.address, content ? s.bytes : (s.bytes + block - 1) / block * block);
  }
  bool any(const std::string& kind, const std::string& path) const {
    const Pieces& p = pieces(kind, path);
    return !p.copy[0].empty() && piece_ok(p, 0);
  }
  /// Of a structure in one piece, or one of several.
  bool piece_ok(const Pieces& p, std::size_t i) const {
    for (int c = 0; c < 2; ++c) {
      if (copy_counts[c] && i < p.copy[c].size() && ok(p.copy[c][i])) return true;
    }
    return false;
  }
  bool all_ok(const std::string& kind) const {
    return std::ranges::all_of(pieces(kind, "").copy[0], [&](const UdfStructure& s) { return ok(s); });
  }
  bool partitions_ok() const {
    const Pieces& p = o.pieces(0, "pd", "");
    for (std::size_t i = 0; i < p.copy[0].size(); ++i) {
      if (!piece_ok(p, i)) return false;
    }
    return !p.copy[0].empty();
  }
  bool file_set_ok() const {
    // What leads to the last one elsewhere is in the one before it.
    if (o.variant_.options.file_set_elsewhere && !piece_ok(o.pieces(1, "fsd", ""), 0)) return false;
    return any("fsd", "");
  }
  void look_at_sparing() {
    const std::vector<std::uint32_t>& sequences = o.variant_.options.sparing_sequences;
    std::uint32_t newest = 0, best = 0;
    for (const UdfStructure& s : o.image_.structures) {
      if (s.kind != "sparing table") continue;
      newest = std::max(newest, sequences.at(s.copy));
      if (ok(s)) {
        best = std::max(best, sequences.at(s.copy));
      } else {
        sparing_hurt = true;
      }
    }
    sparing_fresh = best == newest;
  }

  // ---- names

  bool name_ok(const std::string& path, const std::string& directory) const {
    const Pieces& fid = pieces("fid", path);
    const bool twin = !fid.copy[1].empty();
    if (d.broken != nullptr || !d.mapped) {
      for (int c = 0; c < (twin ? 2 : 1); ++c) {
        if (copy_counts[c] && std::ranges::all_of(fid.copy[c], [&](const UdfStructure& s) { return ok(s); })) {
          return true;
        }
      }
      return false;
    }
    const Pieces& blocks = pieces("directory", directory);
    for (const UdfStructure& s : fid.copy[0]) {
      for (std::size_t i = 0; i < blocks.copy[0].size(); ++i) {
        const UdfStructure& b = blocks.copy[0][i];
        if (b.address < s.address + s.bytes && s.address < b.address + b.bytes && !piece_ok(blocks, i)) return false;
      }
    }
    return true;
  }
  bool entry_ok(const std::string& path) const {
    const Pieces& p = pieces("fe", path);
    return !p.copy[0].empty() && piece_ok(p, 0);
  }
  bool named(const std::string& path) const {
    if (path.empty() || path == "::") return true;
    const std::string above = parent_of(path);
    if (!named(above) || !entry_ok(o.owner(above))) return false;
    return path.ends_with(':') || name_ok(path, above);
  }
  /// 4/8.10: whether all that leads to the newest state is there, and where the chain ends.
  bool chain_ok(const std::string& path) const {
    for (std::size_t v = 1; v < o.generations_.size(); ++v) {
      const Pieces& p = o.pieces(v, "ie", path);
      if (!p.copy[0].empty() && !piece_ok(p, 0)) return false;
    }
    return true;
  }
  bool chain_end_ok(const std::string& path) const {
    const Pieces& te = o.pieces(0, "te", path);
    if (!te.copy[0].empty()) return piece_ok(te, 0);
    const Pieces& fe = o.pieces(0, "fe", path);
    return d.mapped && d.good(fe.copy[0].front().address + o.image_.block_bytes, o.image_.block_bytes);
  }
  bool may_be_doubted(const std::string& path) const {
    if (sparing_hurt) return true;
    for (std::string p = o.owner(path);; p = parent_of(p)) {
      if (p != o.owner(path) && !entry_ok(p)) return true;  // it may still tell, unproven
      if (o.is_chained(p) && !(chain_ok(p) && chain_end_ok(p))) return true;
      if (p.empty() || p == "::") return false;
    }
  }

  // ---- content

  /// How much of a file the allocation descriptors that can be read tell of (4/14.5): those in fragments of one block.
  std::uint64_t covered(const std::string& path, const UdfFile& file) const {
    const Pieces& aeds = pieces("aed", path);
    std::size_t lost = 0;
    while (lost < aeds.copy[0].size() && piece_ok(aeds, lost)) ++lost;
    if (lost == aeds.copy[0].size()) return file.bytes;
    const UdfNode& node = *o.nodes_.at(path);
    const std::size_t n = aeds.copy[0].size();
    std::size_t in_aeds = 0, before = 0;
    const std::size_t width =
        node.ads == UdfAds::kLong ? 16 : (aeds.copy[0].front().bytes - 24) / (node.ads_in_aed + (n > 1 ? 1 : 0));
    for (std::size_t i = 0; i < n; ++i) {
      const std::size_t ads = (aeds.copy[0][i].bytes - 24) / width - (i + 1 < n ? 1 : 0);
      in_aeds += ads;
      before += i < lost ? ads : 0;
    }
    const std::uint64_t block = o.image_.block_bytes;
    const std::uint64_t fragments = (file.bytes + block - 1) / block;
    return (fragments - in_aeds + before) * block;
  }
  std::vector<Gap> gaps(const std::string& path, const UdfFile& file) const {
    const std::string& owner = o.owner(path);
    const Pieces& fe = pieces("fe", owner);
    const std::uint64_t known = covered(owner, file);
    std::vector<Gap> all;
    for (const UdfExtent& e : file.extents) {
      if (!e.address) continue;
      const bool embedded = std::ranges::any_of(fe.copy[0], [&](const UdfStructure& s) {
        return *e.address >= s.address && *e.address < s.address + s.bytes;
      });
      if (embedded) continue;
      for (std::uint64_t done = 0; done < e.bytes;) {
        const std::uint64_t address = *e.address + done;
        const std::uint64_t n = std::min(e.bytes - done, kSectorBytes - address % kSectorBytes);
        const SectorState state = d.at(address / kSectorBytes);
        if (state != SectorState::kGood && e.offset + done < known) all.push_back({e.offset + done, n, state});
        done += n;
      }
    }
    if (known < file.bytes) all.push_back({known, file.bytes - known, SectorState::kBad});
    return joined(all);
  }
};

void UdfOracle::check(const UdfDamage& damage, const UdfBox& box, UdfTally& tally) const {
  const Judgement j(*this, damage);
  ++tally.discs;
  if (!box.ok()) {
    ++tally.unopened;
    EXPECT_FALSE(j.volume) << box.error().message;
    return;
  }
  const std::map<std::string, UdfFile>& files = j.generation == 0 ? image_.files : image_.older.at(j.generation - 1);
  const auto candidates = [&](const std::string& path) {
    std::vector<const UdfFile*> all;
    if (const auto at = image_.files.find(path); at != image_.files.end()) all.push_back(&at->second);
    for (const auto& older : image_.older) {
      if (const auto at = older.find(path); at != older.end()) all.push_back(&at->second);
    }
    return all;
  };
  bool all_listed = true;

  for (const auto& [tree_name, id] : box.nodes()) {
    const Node& node = box.tree().node(id);
    const std::string path = tree_name.starts_with(":") ? ":" + tree_name : tree_name;
    const FileState state = box.verdicts().of(id).state;
    SCOPED_TRACE(tree_name);
    const std::vector<const UdfFile*> known = candidates(path);
    if (known.empty()) {
      ADD_FAILURE() << "a name that nobody wrote";
      continue;
    }
    if (node.is_directory()) continue;
    ++tally.states[state];
    // A false whole, whatever else.
    const auto current = image_.files.find(path);
    if (state == FileState::kWhole && node.kind == NodeKind::kFile && !damage.data_unknown) {
      if (current == image_.files.end() || !box.reads_as(id, current->second)) {
        ++tally.from_earlier;
        EXPECT_EQ(node.evidence, Evidence::kSession) << "a false whole";
        EXPECT_TRUE(std::ranges::any_of(known, [&, node_id = id](const UdfFile* f) {
          return box.reads_as(node_id, *f);
        })) << "a false whole: no state of the volume has it so";
      }
    }
    EXPECT_TRUE(!j.superseded || node.evidence == Evidence::kSession);
    const auto at = files.find(path);
    if (!j.exact || at == files.end()) continue;
    const UdfFile& file = at->second;
    const std::string& owned = owner(path);
    const bool entry = j.entry_ok(owned);
    if (!entry || (is_chained(owned) && !j.chain_ok(owned))) {
      EXPECT_NE(state, FileState::kWhole) << "its entry is lost";
      if (!entry && damage.mapped && damage.broken == nullptr && !is_chained(owned)) {
        EXPECT_EQ(state, FileState::kUnlocated);
      }
      continue;
    }
    if (node.kind != NodeKind::kFile || damage.data_unknown) continue;
    const std::vector<Gap> gaps = j.gaps(path, file);
    const FileState should_be = state_from_gaps(file.bytes, gaps);
    EXPECT_TRUE(state == should_be ||
                (j.may_be_doubted(path) && should_be == FileState::kWhole && state == FileState::kDoubtful))
        << to_string(state) << ", not " << to_string(should_be) << " " << ::testing::PrintToString(box.doubts(id));
    const auto found_span = box.verdicts().gaps(box.verdicts().of(id));
    const std::vector<Gap> found(found_span.begin(), found_span.end());
    EXPECT_EQ(missing_of(found), missing_of(gaps));
    EXPECT_EQ(suspect_of(found), suspect_of(gaps));
    std::uint64_t missing = 0;
    for (const Gap& g : missing_of(gaps)) missing += g.length;
    EXPECT_EQ(box.verdicts().of(id).missing_bytes, missing);
    if (damage.mapped && state != FileState::kWhole) {
      EXPECT_TRUE(box.reads_as(id, file, missing_of(gaps))) << "other bytes than the file's";
    }
  }

  if (!j.exact) return;
  for (const auto& [path, file] : files) {
    if (path.empty() || file.type == UdfType::kStreamDirectory) continue;
    SCOPED_TRACE(path);
    const bool listed = box.find(tree_path(path)).has_value();
    if (j.named(path)) {
      EXPECT_TRUE(listed) << "what names it is there, and it is not listed";
    } else {
      ++tally.unlisted;
    }
    all_listed = all_listed && listed;
    // A directory whose names are lost is said to be.
    const bool open = j.named(parent_of(path)) && j.entry_ok(owner(parent_of(path)));
    if (!listed && open && !j.name_ok(path, parent_of(path)) && path.find(':') == std::string::npos) {
      const auto above = box.find(parent_of(path));
      EXPECT_TRUE(above && box.is_lost_directory(*above)) << "its name is lost without a word";
    }
    if (is_directory(file.type) && listed && !j.entry_ok(path) && damage.mapped && damage.broken == nullptr) {
      EXPECT_TRUE(box.is_lost_directory(*box.find(path)));
      EXPECT_TRUE(box.tree().node(*box.find(path)).has(node_flag::kUnread));
    }
  }
  EXPECT_TRUE(all_listed || !box.disc().findings().empty());
}

}  // namespace lacuna::test

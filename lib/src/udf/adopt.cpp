// SPDX-License-Identifier: GPL-3.0-or-later
// From the tree outwards fragments fill directories, and directories hang below their parents, until nothing is left
// that has a place.
#include "udf/adopt.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "disc/orphans.h"
#include "udf/icb_index.h"

namespace lacuna::udf {
namespace {

// Looks at what is left, in all rounds together: far more than any tree needs, and done in seconds.
constexpr std::size_t kMaxLooks = std::size_t{1} << 26;
constexpr std::size_t kMostSiblings = 256;  // that are told apart by elimination

constexpr const char* kStrayDoubt =
    "nothing tells that what names it was recorded by this volume: it may be of an earlier use of the disc";

class Adopter {
 public:
  Adopter(ByteReader& reader, const Partitions& partitions, EntryReader& entries, const AdoptionRequest& request,
          SessionTree& tree, TreeHands& hands)
      : reader_(reader),
        partitions_(partitions),
        remains_(*request.remains),
        space_use_(*request.space_use),
        out_(tree),
        hands_(hands),
        icbs_(hands.icbs()),
        left_(reader, partitions, entries, request, tree, hands.icbs()) {}

  Result<Done> run() {
    for (std::size_t looks = 0; looks < kMaxLooks;) {
      bool progress = fill_directories();
      progress = attach_orphans() || progress;
      if (!progress) progress = eliminate();
      if (!progress) progress = make_parents();
      if (!progress) progress = strand();
      if (!progress) break;
      if (auto read = hands_.read_added(); !read) return read;
      looks += left_.fragments().size() + left_.orphans().size() + 1;
      std::erase_if(left_.fragments(), [](const Fragment& f) { return f.done; });
      std::erase_if(left_.orphans(), [](const OrphanDirectory& o) { return o.done; });
    }
    left_out_ += left_.fragments().size() + left_.orphans().size();
    add_files();
    doubt_strays();
    tell();
    return Done{};
  }

 private:
  const IdentifierRemnant& fid(std::size_t piece) const { return left_.fid(piece); }
  bool hurt(NodeId id) const { return out_.tree.node(id).has(node_flag::kUnread | node_flag::kIncomplete); }

  // ---- places

  bool fill_directories() {
    bool progress = false;
    for (Fragment& f : left_.fragments()) {
      if (f.done || !f.owner) continue;
      const auto node = icbs_.directory_of(*f.owner);
      if (!node) continue;
      f.done = true;
      if (!icbs_.lacks_content(*node)) {
        ++left_out_;  // its entry leads elsewhere
        continue;
      }
      if (!f.doubt.empty()) out_.tree.add_doubt(*node, f.doubt);
      fill(f, *node, *f.owner);
      progress = true;
    }
    return progress;
  }

  void fill(Fragment& f, NodeId node, LbAddr owner) {
    f.done = true;
    Node& n = out_.tree.edit(node);
    if (n.has(node_flag::kUnread)) {
      n.flags = static_cast<std::uint16_t>((n.flags & ~node_flag::kUnread) | node_flag::kIncomplete);
    }
    for (std::size_t i = f.first; i < f.end; ++i) {
      const IdentifierRemnant& r = fid(i);
      if (r.is_parent()) continue;
      SectorState state;
      const Bytes b = reader_.view(r.position, r.length, state);
      const auto identifier = decode_fid(b);
      if (!identifier || !has_bytes(state)) continue;
      const std::vector<std::uint8_t> copy(identifier->raw.begin(), identifier->raw.end());
      const auto kept = decode_fid(copy);  // what takes it reads on
      if (!kept || !taken_.insert({node, key_of(kept->icb.location), std::string(as_text(kept->name))}).second)
        continue;
      const auto first = static_cast<NodeId>(out_.tree.size());
      hands_.take(node, owner, *kept, check_tag(kept->raw, r.location, kept->bytes));
      if (space_use_.is_used(r.position)) continue;
      for (NodeId id = first; id < out_.tree.size(); ++id) strays_.push_back(id);
    }
    out_.structures.push_back({StructureKind::kDirectory, View::kUdf, f.position, f.bytes, node, {}});
  }

  /// The name that some identifier gives to a directory, or one made from its place.
  std::string name_of(LbAddr icb, std::uint64_t position, std::uint16_t& flags) const {
    std::string name = left_.name_of(icb);
    if (!name.empty()) return name;
    flags |= node_flag::kNameMade;
    return orphan_name(NodeKind::kDirectory, position);
  }

  bool attach_orphans() {
    bool progress = false;
    for (OrphanDirectory& o : left_.orphans()) {
      if (o.done) continue;
      if (icbs_.has_reached(o.address)) {
        o.done = true;
        continue;
      }
      const auto node = o.parent ? icbs_.directory_of(*o.parent) : std::nullopt;
      if (!node) continue;
      o.done = true;
      if (!hurt(*node)) {
        ++left_out_;  // all names of the directory were read, and it is none of them: older
        continue;
      }
      attach(o, *node);
      progress = true;
    }
    // Directories of which only content is left, and the way to their parent.
    for (Fragment& f : left_.fragments()) {
      if (f.done || !f.owner || !f.parent || icbs_.has_reached(*f.owner)) continue;
      const auto node = icbs_.directory_of(*f.parent);
      if (!node || !hurt(*node)) continue;
      std::uint16_t flags = 0;
      const std::string name = name_of(*f.owner, f.position, flags);
      out_.tree.edit(hands_.add_lost(*node, name, *f.owner)).flags |= flags;
      progress = true;
    }
    return progress;
  }

  void attach(OrphanDirectory& o, NodeId parent) {
    o.done = true;
    std::uint16_t flags = 0;
    const std::string name = name_of(o.address, o.position, flags);
    LongAd icb;
    icb.location = o.address;
    icb.length_bytes = partitions_.block_bytes();
    const NodeId id = hands_.add(parent, o.parent.value_or(LbAddr{}), name, icb, flags);
    if (!space_use_.is_used(o.position)) strays_.push_back(id);
  }

  /// Of contents and children of one directory, as many of either: those are put together that no other way fits.
  bool eliminate() {
    std::map<NodeId, std::vector<Fragment*>> contents;  // ascending by position
    for (Fragment& f : left_.fragments()) {
      if (f.done || f.owner || !f.parent || !(adds_something(f) || names_nothing(f))) continue;
      if (const auto node = icbs_.directory_of(*f.parent)) contents[*node].push_back(&f);
    }
    if (contents.empty()) return false;
    Below below;
    for (const Fragment& f : left_.fragments()) {
      if (!f.done && f.parent) below[key_of(*f.parent)].push_back(f.directories);
    }
    if (const auto roots = contents.find(kRoot);
        roots != contents.end() && out_.tree.node(kRoot).has(node_flag::kUnread)) {
      return find_roots_own(roots->second, below);
    }
    std::map<NodeId, std::vector<LbAddr>> empty;
    std::set<NodeId> seen;
    for (const LostDirectory& lost : out_.lost_directories) {
      const Node& n = out_.tree.node(lost.node);
      const auto icb = icbs_.icb_of(lost.node);
      if (!icb || !n.has(node_flag::kUnread) || !contents.contains(n.parent) || !icbs_.lacks_content(lost.node))
        continue;
      if (seen.insert(lost.node).second) empty[n.parent].push_back(*icb);
    }
    bool progress = false;
    for (auto& [node, found] : contents) {
      const auto without = empty.find(node);
      if (without == empty.end() || without->second.size() != found.size()) continue;
      progress = pair_off(found, without->second, below) || progress;
    }
    return progress;
  }

  /// By directory, for each content that names it as its parent: how many directories are named in there.
  using Below = std::map<IcbKey, std::vector<std::size_t>>;

  /// Whether the contents that are `above` them can be those of directories that `f` names, as far as these have
  /// contents below them in turn.
  bool fits(const Fragment& f, std::vector<std::size_t> above, const Below& below) const {
    if (above.size() > f.directories) return false;
    std::vector<std::size_t> needed;
    for (std::size_t i = f.first; i < f.end; ++i) {
      if (!Leftovers::names_directory(fid(i))) continue;
      const auto at = below.find(key_of(fid(i).icb));
      needed.push_back(at == below.end() ? 0 : at->second.size());
    }
    std::ranges::sort(above);
    std::ranges::sort(needed);
    return std::equal(above.begin(), above.end(), needed.begin(), std::greater_equal<>());
  }
  bool fits(const Fragment& f, LbAddr directory, const Below& below) const {
    const auto at = below.find(key_of(directory));
    return fits(f, at == below.end() ? std::vector<std::size_t>() : at->second, below);
  }

  bool pair_off(std::vector<Fragment*> found, std::vector<LbAddr> empty, const Below& below) {
    if (found.size() > kMostSiblings) return false;
    std::vector<std::vector<bool>> fit(found.size(), std::vector<bool>(empty.size()));
    for (std::size_t f = 0; f < found.size(); ++f) {
      for (std::size_t d = 0; d < empty.size(); ++d) fit[f][d] = fits(*found[f], empty[d], below);
    }
    std::vector<std::size_t> of_content(found.size()), of_directory(empty.size());
    const auto drop = [&](std::size_t f, std::size_t d) {
      if (!fit[f][d]) return;
      fit[f][d] = false;
      --of_content[f];
      --of_directory[d];
    };
    for (std::size_t f = 0; f < found.size(); ++f) {
      for (std::size_t d = 0; d < empty.size(); ++d) {
        of_content[f] += fit[f][d];
        of_directory[d] += fit[f][d];
      }
    }
    bool progress = false;
    for (bool again = true; again;) {
      again = false;
      for (std::size_t f = 0; f < found.size(); ++f) {
        for (std::size_t d = 0; d < empty.size(); ++d) {
          if (!fit[f][d] || (of_content[f] != 1 && of_directory[d] != 1)) continue;
          found[f]->owner = empty[d];
          found[f]->doubt = "that this is its content was told by what its siblings and their contents leave over";
          for (std::size_t k = 0; k < found.size(); ++k) {
            drop(k, d);
            drop(f, k);
          }
          again = progress = true;
        }
      }
    }
    return progress;
  }

  /// The root names itself as its parent, and so do all directories in it: its content is the one that can name all
  /// the others.
  bool find_roots_own(const std::vector<Fragment*>& contents, const Below& below) {
    const auto icb = icbs_.icb_of(kRoot);
    if (!icb || !icbs_.lacks_content(kRoot) || contents.size() > kMostSiblings) return false;
    std::vector<Fragment*> fit;
    for (Fragment* f : contents) {
      std::vector<std::size_t> others;
      for (const Fragment* other : contents) {
        if (other != f) others.push_back(other->directories);
      }
      if (fits(*f, std::move(others), below)) fit.push_back(f);
    }
    if (fit.size() != 1) return false;
    fit.front()->owner = *icb;
    fit.front()->doubt = "that this is the root's content was told by what it names only";
    return true;
  }

  bool names_nothing(const Fragment& f) const { return f.end == f.first + 1; }

  bool adds_something(const Fragment& f) const {
    for (std::size_t i = f.first; i < f.end; ++i) {
      if (!fid(i).is_parent() && !fid(i).is_deleted() && !icbs_.has_reached(fid(i).icb) && !left_.is_gone(fid(i).icb)) {
        return true;
      }
    }
    return false;
  }

  /// Parents that are lost altogether, named by what was in them.
  bool make_parents() {
    std::map<IcbKey, LbAddr> wanted;
    const auto want = [&](const std::optional<LbAddr>& parent) {
      if (!parent || icbs_.has_reached(*parent) || left_.has_orphan(*parent)) return;
      wanted.emplace(key_of(*parent), *parent);
    };
    for (const OrphanDirectory& o : left_.orphans()) {
      if (!o.done) want(o.parent);
    }
    for (const Fragment& f : left_.fragments()) {
      if (!f.done && adds_something(f)) want(f.owner ? f.owner : f.parent);
    }
    // Those whose own content tells of a parent come with that.
    for (const Fragment& f : left_.fragments()) {
      if (!f.done && f.owner && f.parent && !(*f.owner == *f.parent) && wanted.contains(key_of(*f.parent))) {
        wanted.erase(key_of(*f.owner));
      }
    }
    for (const auto& [key, icb] : wanted) {
      const auto position = partitions_.position_of(icb);
      if (!position) continue;
      std::uint16_t flags = 0;
      const std::string name = name_of(icb, *position, flags);
      out_.tree.edit(hands_.add_lost(orphans_folder(out_.tree, View::kUdf), name, icb)).flags |= flags;
    }
    return std::any_of(wanted.begin(), wanted.end(), [&](const auto& w) { return icbs_.has_reached(w.second); });
  }

  /// What no parent can be told of.
  bool strand() {
    bool progress = false;
    for (Fragment& f : left_.fragments()) {
      if (f.done) continue;
      if (!adds_something(f)) {
        f.done = true;
        ++left_out_;
        continue;
      }
      NodeId above = kNoNode;
      if (f.parent) above = icbs_.directory_of(*f.parent).value_or(kNoNode);
      const NodeId under = above != kNoNode && hurt(above) ? above : orphans_folder(out_.tree, View::kUdf);
      const NodeId node = hands_.add_lost(under, orphan_name(NodeKind::kDirectory, f.position), {});
      out_.tree.edit(node).flags |= node_flag::kNameMade;
      fill(f, node, f.owner.value_or(LbAddr{~std::uint32_t{0}, 0xffff}));
      progress = true;
      if (f.parent) break;  // its names may tell where others belong
    }
    if (progress) return true;
    for (OrphanDirectory& o : left_.orphans()) {
      if (o.done) continue;
      if (icbs_.has_reached(o.address)) {
        o.done = true;
        continue;
      }
      attach(o, orphans_folder(out_.tree, View::kUdf));
      return true;
    }
    return false;
  }

  // ---- files

  static bool is_file_type(std::uint8_t type) {
    return (type >= file_type::kFile && type <= file_type::kCharacterDevice) || type == file_type::kFifo ||
           type == file_type::kSocket || type == file_type::kSymbolicLink || type == file_type::kRealTime;
  }

  void add_files() {
    std::set<std::uint64_t> serials;  // of the tree, for states of files that have several
    bool have_serials = false;
    for (const EntryRemnant& e : remains_.entries()) {
      if (e.is_directory || !is_file_type(e.file_type) || !e.first_state) continue;
      const auto address = partitions_.address_of(e.position, e.location);
      if (!address || icbs_.has_reached(*address)) continue;
      if (left_.is_gone(*address) || e.links == 0 || space_use_.is_free(e.position)) {
        ++left_out_;
        continue;
      }
      if (e.strategy != 4) {
        if (!std::exchange(have_serials, true)) {
          for (NodeId id = 0; id < out_.tree.size(); ++id) {
            if (const Node& n = out_.tree.node(id); n.details != 0) serials.insert(out_.tree.details(n).serial);
          }
        }
        if (!serials.insert(e.unique_id).second) continue;  // an earlier state of a file that is there
      }
      LongAd icb;
      icb.location = *address;
      icb.length_bytes = partitions_.block_bytes() * (e.strategy == 4 ? 1 : 2);
      const NodeKind kind = e.file_type == file_type::kSymbolicLink ? NodeKind::kSymlink : NodeKind::kFile;
      const NodeId id = hands_.add(orphans_folder(out_.tree, View::kUdf), {}, orphan_name(kind, e.position), icb,
                                   node_flag::kNameMade);
      if (!space_use_.is_used(e.position)) strays_.push_back(id);
    }
  }

  /// Where blocks may be written again, an earlier use of the disc leaves the same structures, whose files' places may
  /// belong to others by now, unless something tells that this volume recorded what stands there.
  void doubt_strays() {
    std::vector<bool> stray(out_.tree.size());
    for (const NodeId id : strays_) stray[id] = true;
    for (const NodeId id : out_.tree.parents_first()) {
      const Node& n = out_.tree.node(id);
      if (id != kRoot && stray[n.parent]) stray[id] = true;
      if (stray[id] && !n.is_directory()) out_.tree.add_doubt(id, kStrayDoubt);
    }
  }

  void tell() {
    left_out_ += left_.left_out();
    if (left_out_ == 0) return;
    out_.findings.add({Severity::kNote, "remains-left-out", "UDF volume", std::nullopt, "",
                       fmt::format("{} directories, pieces of directories and files were found that are deleted or of "
                                   "an earlier use of the disc: the directories that could be read, or the free space, "
                                   "contradict them",
                                   left_out_)});
  }

  ByteReader& reader_;
  const Partitions& partitions_;
  const Remains& remains_;
  const SpaceUse& space_use_;
  SessionTree& out_;
  TreeHands& hands_;
  const IcbIndex& icbs_;
  Leftovers left_;
  std::set<std::tuple<NodeId, IcbKey, std::string>> taken_;
  std::vector<NodeId> strays_;  // and what is below them
  std::uint64_t left_out_ = 0;
};

}  // namespace

Result<Done> adopt(ByteReader& reader, const Partitions& partitions, EntryReader& entries,
                   const AdoptionRequest& request, SessionTree& tree, TreeHands& hands) {
  // In a tree that lacks nothing what it does not reach was deleted, or is older.
  if (tree.lost_directories.empty()) return Done{};
  return Adopter(reader, partitions, entries, request, tree, hands).run();
}

}  // namespace lacuna::udf

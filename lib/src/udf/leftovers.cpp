// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/leftovers.h"

#include <algorithm>
#include <unordered_map>
#include <utility>

#include "udf/decode/cs0.h"
#include "udf/icb_index.h"

namespace lacuna::udf {
namespace {

constexpr std::size_t kMostClaims = std::size_t{1} << 22;

}  // namespace

Leftovers::Leftovers(ByteReader& reader, const Partitions& partitions, EntryReader& entries,
                     const AdoptionRequest& request, const SessionTree& tree, const IcbIndex& icbs)
    : reader_(reader),
      partitions_(partitions),
      remains_(*request.remains),
      space_use_(*request.space_use),
      icbs_(icbs) {
  index_identifiers();
  index_orphans(entries);
  cut_fragments(tree);
  drop_contradicted();
  close_deleted(request.other_roots);
  drop_older_states();
  find_owners();
}

/// Where the same byte stands in the first copy of a block that is recorded twice.
std::uint64_t Leftovers::canonical(std::uint64_t position, LbAddr address) const {
  const std::uint64_t within = partitions_.block_bytes();
  const auto first = partitions_.position_of(address, 0);
  if (!first || (*first <= position && position - *first < within)) return position;
  const auto second = partitions_.position_of(address, 1);
  return second && *second <= position && position - *second < within ? *first + (position - *second) : position;
}

void Leftovers::index_identifiers() {
  for (std::size_t i = 0; i < remains_.identifiers().size(); ++i) {
    const IdentifierRemnant& f = remains_.identifiers()[i];
    const auto address = partitions_.address_of(f.position, f.location);
    if (address) pieces_.push_back({canonical(f.position, *address), i});
  }
  const auto before = [](const Piece& a, const Piece& b) { return a.position < b.position; };
  std::stable_sort(pieces_.begin(), pieces_.end(), before);
  pieces_.erase(std::unique(pieces_.begin(), pieces_.end(),
                            [](const Piece& a, const Piece& b) { return a.position == b.position; }),
                pieces_.end());
  for (std::size_t i = 0; i < pieces_.size(); ++i) {
    if (!fid(i).is_parent() && !fid(i).is_deleted()) names_.emplace_back(key_of(fid(i).icb), i);
  }
  std::sort(names_.begin(), names_.end());
}

void Leftovers::index_orphans(EntryReader& entries) {
  std::set<IcbKey> seen;
  for (const EntryRemnant& e : remains_.entries()) {
    if (!e.is_directory || !e.first_state || claims_.size() >= kMostClaims) continue;
    const auto address = partitions_.address_of(e.position, e.location);
    if (!address || icbs_.has_reached(*address) || !seen.insert(key_of(*address)).second) continue;
    NoEntry why;
    auto entry = entries.read_block(*address, why);
    static_cast<void>(entries.take_structures());
    if (!entry) continue;
    OrphanDirectory o{*address,     e.position, {}, entry->entry.icb.file_type == file_type::kStreamDirectory,
                      e.links == 0, false};
    const Content content = entries.content(*entry);
    static_cast<void>(entries.take_structures());
    bool first = true;
    for (const Extent& x : entries.extents(content)) {
      if (!x.has_place()) continue;
      if (std::exchange(first, false)) {
        if (const auto piece = piece_at(x.position); piece && fid(*piece).is_parent()) o.parent = fid(*piece).icb;
      }
      claims_.push_back({x.position, x.position + x.bytes, orphans_.size()});
    }
    if (o.parent) parent_of_[key_of(*address)] = *o.parent;
    by_address_[key_of(*address)] = orphans_.size();
    orphans_.push_back(std::move(o));
  }
  std::stable_sort(claims_.begin(), claims_.end(), [](const Claim& a, const Claim& b) { return a.first < b.first; });
}

std::optional<std::size_t> Leftovers::piece_at(std::uint64_t position) const {
  const auto at = std::lower_bound(pieces_.begin(), pieces_.end(), position,
                                   [](const Piece& p, std::uint64_t v) { return p.position < v; });
  if (at == pieces_.end() || at->position != position) return {};
  return static_cast<std::size_t>(at - pieces_.begin());
}
std::optional<std::size_t> Leftovers::claimant(std::uint64_t position) const {
  auto at = std::upper_bound(claims_.begin(), claims_.end(), position,
                             [](std::uint64_t v, const Claim& c) { return v < c.first; });
  if (at == claims_.begin()) return {};
  --at;
  return position < at->end ? std::optional(at->orphan) : std::nullopt;
}

/// Pieces of an earlier use of the disc name blocks where files of the present one stand now: a directory is a file
/// there, or the other way round. Their names are those of other files.
void Leftovers::drop_contradicted() {
  struct Target {
    std::uint32_t unique_id = 0;
    bool is_directory = false;
  };
  std::unordered_map<IcbKey, Target> targets;
  for (const EntryRemnant& e : remains_.entries()) {
    if (!e.first_state) continue;
    const auto address = partitions_.address_of(e.position, e.location);
    if (address) targets[key_of(*address)] = {static_cast<std::uint32_t>(e.unique_id), e.is_directory};
  }
  std::vector<bool> others(pieces_.size());
  for (Fragment& f : fragments_) {
    std::size_t agree = 0, differ = 0;
    for (std::size_t i = f.first; i < f.end; ++i) {
      const IdentifierRemnant& r = fid(i);
      if (r.is_deleted() || r.icb_bytes == 0) continue;
      const auto target = targets.find(key_of(r.icb));
      if (target == targets.end()) continue;
      if ((r.is_directory() || r.is_parent()) != target->second.is_directory) {
        // The parent of streams is a file.
        if (!r.is_parent() || !icbs_.has_reached(r.icb)) ++differ;
      } else if (r.unique_id != 0 && r.unique_id == target->second.unique_id) {
        ++agree;
      }
    }
    // Unique ids are given by number: those of two volumes agree often.
    if (differ <= agree / 16) continue;
    f.done = true;
    ++left_out_;
    std::fill(others.begin() + static_cast<std::ptrdiff_t>(f.first),
              others.begin() + static_cast<std::ptrdiff_t>(f.end), true);
  }
  std::erase_if(names_, [&](const auto& name) { return others[name.second]; });
  contradicted_ = std::move(others);
}

/// What only deleted names, deleted directories or the roots of other file sets lead to is not of this tree; what a
/// stream directory leads to are streams.
void Leftovers::close_deleted(const std::vector<LbAddr>& other_roots) {
  std::vector<IcbKey> queue;
  const auto drop = [&](LbAddr icb) {
    if (!icbs_.has_reached(icb) && deleted_.insert(key_of(icb)).second) queue.push_back(key_of(icb));
  };
  for (const LbAddr& root : other_roots) drop(root);
  std::multimap<IcbKey, LbAddr> leads_to;  // by directory: what it names, and what names it as its parent
  const auto lead = [&](IcbKey directory, LbAddr icb) { leads_to.emplace(directory, icb); };
  for (const OrphanDirectory& o : orphans_) {
    if (o.parent && !(*o.parent == o.address)) lead(key_of(*o.parent), o.address);
    if (o.streams || o.deleted || icbs_.is_deleted(o.address) || space_use_.is_free(o.position)) drop(o.address);
  }
  for (std::size_t i = 0; i < pieces_.size(); ++i) {
    const IdentifierRemnant& f = fid(i);
    if (f.is_parent() || f.icb_bytes == 0 || contradicted_[i]) continue;
    const auto orphan = claimant(pieces_[i].position);
    if (orphan) lead(key_of(orphans_[*orphan].address), f.icb);
    const auto live = std::lower_bound(names_.begin(), names_.end(), std::pair{key_of(f.icb), std::size_t{0}});
    const bool named = live != names_.end() && live->first == key_of(f.icb);
    if (f.is_deleted() && !named) drop(f.icb);
  }
  for (const Fragment& f : fragments_) {
    if (f.done || !f.parent) continue;
    for (std::size_t i = f.first; i < f.end; ++i) {
      if (!fid(i).is_parent() && fid(i).icb_bytes != 0) lead(key_of(*f.parent), fid(i).icb);
    }
  }
  while (!queue.empty()) {
    const IcbKey at = queue.back();
    queue.pop_back();
    const auto [first, end] = leads_to.equal_range(at);
    for (auto it = first; it != end; ++it) drop(it->second);
  }
  const auto is_dropped = [&](LbAddr icb) { return deleted_.contains(key_of(icb)); };
  for (OrphanDirectory& o : orphans_) {
    if (!is_dropped(o.address)) continue;
    o.done = true;
    ++left_out_;
  }
  for (Fragment& f : fragments_) {
    if (f.done || !f.parent || !is_dropped(*f.parent)) continue;
    f.done = true;
    ++left_out_;
  }
}

/// Several contents that name the same files are states of one directory: the last one counts that was written, or
/// where blocks can be written again, the one with most names.
void Leftovers::drop_older_states() {
  const bool write_once = partitions_.first_of(PartitionMapKind::kVirtual).has_value();
  const auto rank = [&](const Fragment& f) {
    return std::pair<std::uint64_t, std::uint64_t>{write_once ? f.position : f.end - f.first, f.position};
  };
  std::vector<const Fragment*> superseded;
  std::map<std::pair<IcbKey, IcbKey>, std::size_t> named;  // parent, file: the fragment
  for (std::size_t k = 0; k < fragments_.size(); ++k) {
    Fragment& f = fragments_[k];
    if (f.done || !f.parent) continue;
    for (std::size_t i = f.first; i < f.end && !f.done; ++i) {
      if (fid(i).is_parent() || fid(i).is_deleted() || fid(i).icb_bytes == 0) continue;
      const auto [at, fresh] = named.try_emplace({key_of(*f.parent), key_of(fid(i).icb)}, k);
      if (fresh || at->second == k || fragments_[at->second].done) {
        at->second = k;
        continue;
      }
      Fragment& other = fragments_[at->second];
      Fragment& older = rank(other) < rank(f) ? other : f;
      older.done = true;
      superseded.push_back(&older);
      ++left_out_;
      if (&older == &other) at->second = k;
    }
  }
  // What only they name is gone.
  std::set<IcbKey> live;
  for (const Fragment& f : fragments_) {
    for (std::size_t i = f.first; i < f.end && !f.done; ++i) live.insert(key_of(fid(i).icb));
  }
  for (const Fragment* f : superseded) {
    for (std::size_t i = f->first; i < f->end; ++i) {
      if (!fid(i).is_parent() && !live.contains(key_of(fid(i).icb))) deleted_.insert(key_of(fid(i).icb));
    }
  }
}

void Leftovers::cut_fragments(const SessionTree& tree) {
  std::vector<Range> covered;
  for (const Structure& s : tree.structures) {
    if (s.kind != StructureKind::kDirectory && s.kind != StructureKind::kFileEntry) continue;
    covered.push_back({s.position, s.position + s.bytes});
  }
  for (const Claim& c : claims_) covered.push_back({c.first, c.end});
  const RangeSet known = RangeSet::from_unsorted(std::move(covered));
  const std::uint64_t block = partitions_.block_bytes();
  bool open = false;
  for (std::size_t i = 0; i < pieces_.size(); ++i) {
    const std::uint64_t at = pieces_[i].position;
    if (known.contains(at) || space_use_.is_free(at)) {
      open = false;
      continue;
    }
    const bool joined =
        open && !fid(i).is_parent() &&
        (pieces_[i - 1].position + fid(i - 1).length == at || pieces_[i - 1].position / block == at / block);
    if (!joined) fragments_.push_back({i, i, at, 0, {}, {}, {}, 0, false});
    Fragment& f = fragments_.back();
    if (!joined && fid(i).is_parent()) f.parent = fid(i).icb;
    f.end = i + 1;
    f.directories += names_directory(fid(i)) ? 1 : 0;
    f.bytes = at + fid(i).length - f.position;
    open = true;
  }
}

void Leftovers::find_owners() {
  for (Fragment& f : fragments_) {
    if (f.done) continue;
    std::map<IcbKey, std::pair<LbAddr, std::size_t>> votes;
    for (std::size_t i = f.first; i < f.end; ++i) {
      if (!fid(i).is_directory() || fid(i).is_parent()) continue;
      const auto parent = parent_of_.find(key_of(fid(i).icb));
      if (parent == parent_of_.end()) continue;
      auto& vote = votes[key_of(parent->second)];
      vote.first = parent->second;
      ++vote.second;
    }
    if (votes.size() != 1) continue;  // none, or they contradict each other
    const LbAddr owner = votes.begin()->second.first;
    // An entry that is there and claims other blocks: the fragment is older.
    if (by_address_.contains(key_of(owner))) {
      f.done = true;
      ++left_out_;
      continue;
    }
    f.owner = owner;
  }
}

bool Leftovers::names_directory(const IdentifierRemnant& f) {
  return f.is_directory() && !f.is_parent() && !f.is_deleted() && f.icb_bytes != 0;
}

bool Leftovers::is_gone(LbAddr icb) const { return icbs_.is_deleted(icb) || deleted_.contains(key_of(icb)); }

std::string Leftovers::name_of(LbAddr icb) const {
  std::string name;
  const auto at = std::lower_bound(names_.begin(), names_.end(), std::pair{key_of(icb), std::size_t{0}});
  if (at == names_.end() || at->first != key_of(icb)) return name;
  const IdentifierRemnant& r = fid(at->second);
  SectorState state;
  if (const auto identifier = decode_fid(reader_.view(r.position, r.length, state))) {
    append_cs0_name(name, identifier->name);
  }
  return name;
}

}  // namespace lacuna::udf

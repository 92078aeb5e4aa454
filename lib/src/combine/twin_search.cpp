// SPDX-License-Identifier: GPL-3.0-or-later
// The search goes donor by donor: its files of wanted sizes are judged, held against the files that need help, and what
// they give is kept, so that the next donor finds memory and files as they were.
#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <utility>

#include "combine/twin_compare.h"
#include "combine/twin_rule.h"
#include "combine/twin_state.h"
#include "lacuna/twins.h"
#include "salvage/manifest.h"

namespace lacuna {
namespace {

/// Files of one size, written at one time. `place`: where the first byte lies, by which one file of several names is
/// known.
struct TwinSibling {
  std::uint64_t size = 0;
  std::int64_t seconds = 0;
  std::uint64_t place = 0;

  friend auto operator<=>(const TwinSibling&, const TwinSibling&) = default;
};

TwinSibling sibling_of(const Tree& tree, const Node& n) {
  const auto extents = tree.extents(n);
  return {n.size, n.modified.seconds, extents.empty() ? kNowhere : extents.front().position};
}

/// The files of a disc whose sizes `wanted` takes, sorted.
template <class Wanted>
std::vector<TwinSibling> siblings_on(const Tree& tree, Wanted&& wanted) {
  std::vector<TwinSibling> out;
  for (NodeId id = kRoot + 1; id < tree.size(); ++id) {
    const Node& n = tree.node(id);
    if (n.kind == NodeKind::kFile && n.modified.known && wanted(n.size)) out.push_back(sibling_of(tree, n));
  }
  std::sort(out.begin(), out.end());
  return out;
}

/// Whether another file of the size of `n` was written when it was.
bool has_sibling(const std::vector<TwinSibling>& all, const Tree& tree, const Node& n) {
  const TwinSibling own = sibling_of(tree, n);
  auto it = std::lower_bound(all.begin(), all.end(), TwinSibling{own.size, own.seconds - kSiblingSeconds, 0});
  for (; it != all.end() && it->size == own.size && it->seconds <= own.seconds + kSiblingSeconds; ++it) {
    if (it->place != own.place) return true;
  }
  return false;
}

/// What a comparison costs, however short it is.
constexpr std::uint64_t kLeastComparison = 1 << 14;

std::string date_text(const Timestamp& t) { return t.known ? to_iso8601(t) : "not recorded"; }

}  // namespace

struct LACUNA_LOCAL TwinSearch::Impl {
  Impl(const Disc& d, const Verdicts& v, const TwinOptions& o)
      : disc(d), verdicts(v), options(o), spool(o.spool_folder) {}

  /// The donor at work.
  struct Donor {
    const Disc& disc;
    const Verdicts& verdicts;
    std::uint32_t index;
    bool itself;        // the image that needs help
    bool another_read;  // of the same disc, and nobody says which of its sectors were read
    std::vector<TwinSibling> siblings;
    std::uint64_t left_bytes;                           // that may still be compared
    std::uint64_t left_pairs = std::uint64_t{1} << 24;  // of files that may still be looked at
  };
  /// A file of it.
  struct DonorFile {
    NodeId id;
    const Node& node;
    TwinBlocks blocks;
    bool sound;  // nothing speaks against its place, and bytes of it are there
  };

  Result<Done> look_at(const Disc& donor_disc, const Verdicts& donor_verdicts, const std::string& image);
  Result<Done> hold_against_needs(Donor& donor, NodeId id);
  Result<Done> compare(Donor& donor, DonorFile& file, std::size_t index, bool named);
  Result<Done> take(DonorFile& file, TwinState& state, TwinMatch match, const RangeSet& gives);
  std::vector<std::string> doubts_of(const Donor& donor, const DonorFile& file, const TwinNeed& need,
                                     const TwinComparison& c, bool named) const;
  void add_candidate(TwinState& state, TwinCandidate candidate);
  std::string where(const TwinMatch& m) const { return fmt::format("'{}' on {}", m.path, donors[m.donor].image); }
  std::string giver_of(const TwinState& state, std::uint64_t byte, bool sure) const;
  bool tick() {
    if (!cancelled && options.progress) cancelled = !options.progress({"looking for twins", compared_bytes, 0});
    return !cancelled;
  }
  Error cancelled_error() const { return {ErrorCode::kCancelled, "cancelled while looking for twins"}; }

  const Disc& disc;
  const Verdicts& verdicts;
  TwinOptions options;
  Spool spool;
  std::optional<TwinNeeds> needs;
  std::vector<TwinState> states;  // of needs, one each
  std::vector<TwinSibling> siblings;
  ImageIdentity identity;
  std::vector<TwinDonor> donors;
  std::uint64_t compared_bytes = 0;
  bool cancelled = false;
  std::vector<std::uint8_t> buffer = std::vector<std::uint8_t>(kTwinPieceBytes);
};

Result<Done> TwinSearch::Impl::look_at(const Disc& donor_disc, const Verdicts& donor_verdicts,
                                       const std::string& image) {
  const Tree& tree = donor_disc.tree();
  // What a disc can hold is compared a few times over at most, whatever its files claim to be.
  const auto bytes_of = [](const Image& i) { return i.end_byte() - i.first_lba() * kSectorBytes; };
  constexpr std::uint64_t kLeastBudget = std::uint64_t{1} << 30;
  Donor donor{donor_disc,
              donor_verdicts,
              static_cast<std::uint32_t>(donors.size()),
              &donor_disc == &disc,
              false,
              siblings_on(tree, [this](std::uint64_t size) { return needs->wants(size); }),
              kLeastBudget + 4 * (bytes_of(disc.image()) + bytes_of(donor_disc.image()))};
  donor.another_read = !donor.itself && same_disc(identity, identify(donor_disc));
  TwinDonor facts;
  facts.image = image;
  facts.itself = donor.itself;
  facts.basis = donor_verdicts.basis();
  if (const Volume* volume = donor_disc.main_volume(); volume != nullptr) facts.volume_id = volume->volume_id;
  donors.push_back(std::move(facts));

  std::vector<NodeId> wanted;
  for (NodeId id = kRoot + 1; id < tree.size(); ++id) {
    const Node& n = tree.node(id);
    if (n.is_directory()) continue;
    ++donors.back().files;
    if (can_have_twins(n) && needs->wants(n.size)) wanted.push_back(id);
  }
  donors.back().looked_at = wanted.size();
  const auto position = [&](NodeId id) { return sibling_of(tree, tree.node(id)).place; };
  std::stable_sort(wanted.begin(), wanted.end(), [&](NodeId a, NodeId b) { return position(a) < position(b); });
  for (const NodeId id : wanted) {
    if (!tick()) return cancelled_error();
    if (const Result<Done> done = hold_against_needs(donor, id); !done) return done;
    donors.back().incomplete |= donor.left_pairs == 0 || donor.left_bytes < kLeastComparison;
    if (donor.left_pairs == 0 || donor.left_bytes < kLeastComparison) break;
  }
  return Done{};
}

Result<Done> TwinSearch::Impl::hold_against_needs(Donor& donor, NodeId id) {
  const Tree& tree = donor.disc.tree();
  const Node& n = tree.node(id);
  const Verdict& verdict = donor.verdicts.of(id);
  const bool there = verdict.state <= FileState::kDamaged;
  DonorFile file{id, n, TwinBlocks(donor.disc, id), there && !donor.verdicts.stays_doubtful(donor.disc, id)};
  const std::vector<std::size_t> maybe =
      file.sound ? needs->maybe_equal(n.size, file.blocks, donor.left_pairs) : std::vector<std::size_t>{};
  std::vector<std::size_t> named = needs->of_name(n.size, name_keys(tree, n), donor.left_pairs);
  std::erase_if(
      named, [&](std::size_t i) { return !same_name(disc.tree(), disc.tree().node(needs->list()[i].node), tree, n); });

  for (const std::size_t i : maybe) {
    if (donor.itself && needs->list()[i].node == id) continue;
    const bool same = std::binary_search(named.begin(), named.end(), i);
    if (const Result<Done> done = compare(donor, file, i, same); !done) return done;
  }
  for (const std::size_t i : named) {
    const TwinNeed& need = needs->list()[i];
    if ((donor.itself && need.node == id) || std::binary_search(maybe.begin(), maybe.end(), i)) continue;
    const bool dated = same_date(disc.tree().node(need.node).modified, n.modified);
    TwinCandidate c{TwinCandidate::Kind::kSameNameAndDate, donor.index, {}, verdict.state, n.modified, 0, 0};
    if (file.sound && need.comparable) {
      c.kind = TwinCandidate::Kind::kDiffers;
      c.differs_at = TwinNeeds::differs_at(need, file.blocks).value_or(0);
    } else if (!dated) {
      continue;
    } else if (!file.sound) {
      c.kind = TwinCandidate::Kind::kDoubtfulThere;
    }
    c.path = tree.path(id);
    if (c.kind == TwinCandidate::Kind::kDiffers && dated && states[i].other_version.empty()) {
      states[i].other_version =
          fmt::format("'{}' on {} has its name, size and date and differs near byte {}: they prove nothing here",
                      c.path, donors[donor.index].image, c.differs_at);
    }
    add_candidate(states[i], std::move(c));
  }
  return Done{};
}

void TwinSearch::Impl::add_candidate(TwinState& state, TwinCandidate candidate) {
  if (state.candidates.size() < TwinFile::kMostListed) {
    state.candidates.push_back(std::move(candidate));
  } else {
    ++state.more;
  }
}

/// Holds a donor's file against one that needs help, byte by byte. `named`: their names are equal.
Result<Done> TwinSearch::Impl::compare(Donor& donor, DonorFile& file, std::size_t index, bool named) {
  const TwinNeed& need = needs->list()[index];
  TwinState& state = states[index];
  if (donor.left_bytes < kLeastComparison) return Done{};
  donor.left_bytes -= kLeastComparison;
  FileReader here(disc, need.node);
  const TwinComparison c = compare_twins(here, need.lacking, file.blocks.reader(), [&](std::uint64_t bytes) {
    compared_bytes += bytes;
    if (bytes > donor.left_bytes) return false;
    donor.left_bytes -= bytes;
    return tick();
  });
  if (cancelled) return cancelled_error();
  if (c.given_up) {
    donors[donor.index].incomplete = true;
    return Done{};
  }
  state.worse_here |= c.worse_here && !c.differs_at;
  const bool dated = same_date(disc.tree().node(need.node).modified, file.node.modified);
  TwinCandidate candidate{TwinCandidate::Kind::kSameNameAndDate,
                          donor.index,
                          donor.disc.tree().path(file.id),
                          donor.verdicts.of(file.id).state,
                          file.node.modified,
                          c.differs_at.value_or(0),
                          c.shared_blocks};
  if (c.differs_at) {
    if (!named) return Done{};
    if (dated && state.other_version.empty()) {
      state.other_version =
          fmt::format("'{}' on {} has its name, size and date and differs from byte {} on: they prove nothing here",
                      candidate.path, donors[donor.index].image, *c.differs_at);
    }
    candidate.kind = TwinCandidate::Kind::kDiffers;
    add_candidate(state, std::move(candidate));
    return Done{};
  }
  if (c.shared_blocks == 0) {
    if (named && dated) add_candidate(state, std::move(candidate));
    return Done{};
  }
  if (!named && !dated && c.shared_blocks < kManyTwinBlocks) {
    candidate.kind = TwinCandidate::Kind::kAgrees;
    add_candidate(state, std::move(candidate));
    return Done{};
  }
  TwinMatch match;
  match.donor = donor.index;
  match.path = std::move(candidate.path);
  match.basis = donor.verdicts.of(file.id).basis;
  match.shared_bytes = c.shared_bytes;
  match.shared_blocks = c.shared_blocks;
  match.gives_bytes = c.gives.total();
  match.doubts = doubts_of(donor, file, need, c, named);
  return take(file, state, std::move(match), c.gives);
}

/// All that keeps a match from making the file whole.
std::vector<std::string> TwinSearch::Impl::doubts_of(const Donor& donor, const DonorFile& file, const TwinNeed& need,
                                                     const TwinComparison& c, bool named) const {
  const Node& n = disc.tree().node(need.node);
  const std::string there = fmt::format("'{}' on {}", donor.disc.tree().path(file.id), donors[donor.index].image);
  std::vector<std::string> doubts;
  if (!same_date(n.modified, file.node.modified)) {
    doubts.push_back(fmt::format("the dates differ: {} here, {} of {}", date_text(n.modified),
                                 date_text(file.node.modified), there));
  }
  if (c.shared_blocks < kFewestTwinBlocks) {
    doubts.push_back(fmt::format("only {} block{} that tell something can be compared with {}, {} are needed",
                                 c.shared_blocks, c.shared_blocks == 1 ? "" : "s", there, kFewestTwinBlocks));
  } else if (c.shared_blocks < std::min(need.lacking_blocks, kMostTwinBlocks)) {
    doubts.push_back(fmt::format("{} blocks are lacking here, and only {} that tell something can be compared with {}",
                                 need.lacking_blocks, c.shared_blocks, there));
  }
  if (!named) {
    const std::uint64_t wanted = std::max(kManyTwinBlocks, kRenamedTwinTimes * need.lacking_blocks);
    if (c.shared_blocks < std::min(wanted, kMostTwinBlocks)) {
      doubts.push_back(fmt::format("the names differ, and only {} blocks that tell something can be compared with {}",
                                   c.shared_blocks, there));
    } else if (has_sibling(siblings, disc.tree(), n) || has_sibling(donor.siblings, donor.disc.tree(), file.node)) {
      doubts.push_back(
          fmt::format("the names differ, and {} is not the only file of its size from that moment", there));
    }
  }
  if (!c.anchored) {
    doubts.push_back(fmt::format("what {} gives touches nothing that can be compared", there));
  }
  if (donor.another_read && donor.verdicts.of(file.id).basis == Basis::kAssumed &&
      verdicts.of(need.node).basis != Basis::kAssumed) {
    doubts.push_back(fmt::format("{} is another image of this disc, and no map says which sectors it has",
                                 donors[donor.index].image));
  }
  return doubts;
}

/// Who gave a byte that is kept.
std::string TwinSearch::Impl::giver_of(const TwinState& state, std::uint64_t byte, bool sure) const {
  for (const TwinMatch& m : state.matches) {
    if (m.doubts.empty() == sure && m.taken.contains(byte)) return where(m);
  }
  return "another donor";
}

/// Keeps what a match gives and nobody gave before, and holds the rest against what is kept.
Result<Done> TwinSearch::Impl::take(DonorFile& file, TwinState& state, TwinMatch match, const RangeSet& gives) {
  const bool sure = match.doubts.empty();
  TwinBytes& own = sure ? state.sure : state.unsure;
  const TwinBytes& others = sure ? state.unsure : state.sure;
  const auto alike = std::count_if(state.matches.begin(), state.matches.end(),
                                   [sure](const TwinMatch& m) { return m.doubts.empty() == sure; });
  const bool full = static_cast<std::size_t>(alike) >= TwinFile::kMostListed;
  std::vector<Gap> gaps;
  const auto conflict = [&](std::uint64_t byte, bool giver_sure) {
    return fmt::format("from byte {} on, {} and {} contradict each other", byte, giver_of(state, byte, giver_sure),
                       where(match));
  };
  for (const Range& r : gives.ranges()) {
    for (std::uint64_t at = r.first; at < r.end;) {
      const std::uint64_t end = std::min(r.end, (at / kTwinPieceBytes + 1) * kTwinPieceBytes);
      const auto bytes = std::span(buffer).first(static_cast<std::size_t>(end - at));
      gaps.clear();
      if (!tick()) return cancelled_error();
      if (file.blocks.reader().read(at, bytes, gaps) == bytes.size() && gaps.empty()) {
        const auto in_own = own.contradiction(spool, at, bytes);
        const auto in_others = others.contradiction(spool, at, bytes);
        std::string& own_conflict = sure ? state.sure_conflict : state.unsure_conflict;
        if (in_own && own_conflict.empty()) own_conflict = conflict(*in_own, sure);
        if (in_others && state.mixed_conflict.empty()) state.mixed_conflict = conflict(*in_others, !sure);
        if (!full) {
          if (const Result<Done> kept = own.keep(spool, at, bytes); !kept) return kept;
        }
      }
      at = end;
    }
  }
  match.taken = own.settle();
  if (full) {
    ++state.more;
  } else {
    state.matches.push_back(std::move(match));
  }
  return Done{};
}

TwinSearch::TwinSearch(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
TwinSearch::~TwinSearch() = default;

Result<std::unique_ptr<TwinSearch>> TwinSearch::start(const Disc& disc, const Verdicts& verdicts,
                                                      const TwinOptions& options) {
  auto impl = std::make_unique<Impl>(disc, verdicts, options);
  impl->needs.emplace(disc, verdicts, options.only, [i = impl.get()] { return i->tick(); });
  if (impl->cancelled) return impl->cancelled_error();
  impl->states.resize(impl->needs->list().size());
  impl->siblings = siblings_on(disc.tree(), [i = impl.get()](std::uint64_t size) { return i->needs->wants(size); });
  impl->identity = identify(disc);
  if (const Result<Done> looked = impl->look_at(disc, verdicts, disc.image().name()); !looked) return looked.error();
  return std::unique_ptr<TwinSearch>(new TwinSearch(std::move(impl)));
}

std::size_t TwinSearch::wanted() const noexcept { return impl_->needs->list().size(); }

Result<Done> TwinSearch::look_at(const Disc& donor, const std::string& image) {
  if (&donor == &impl_->disc) return Done{};  // start() has done that.
  JudgeOptions judge_options;
  judge_options.threads = impl_->options.threads;
  judge_options.progress = impl_->options.progress;
  judge_options.look_only_into = [&](NodeId id) {
    const Node& n = donor.tree().node(id);
    return can_have_twins(n) && impl_->needs->wants(n.size);
  };
  const Result<Verdicts> judged = judge(donor, judge_options);
  if (!judged) return judged.error();
  return impl_->look_at(donor, *judged, image);
}

void TwinSearch::note_failure(const std::string& image, const std::string& problem) {
  TwinDonor facts;
  facts.image = image;
  facts.problem = problem;
  impl_->donors.push_back(std::move(facts));
}

std::unique_ptr<const Twins> TwinSearch::finish() {
  auto out = std::make_unique<Twins::Impl>(Twins::Impl{std::move(impl_->donors), {}, {}, {}, std::move(impl_->spool)});
  for (std::size_t i = 0; i < impl_->states.size(); ++i) {
    TwinBytes sure = std::move(impl_->states[i].sure), unsure = std::move(impl_->states[i].unsure);
    impl_->states[i].sure = sure;
    impl_->states[i].unsure = unsure;
    out->files.push_back(
        conclude_twin(impl_->disc, impl_->verdicts, impl_->needs->list()[i], std::move(impl_->states[i]), out->donors));
    out->sure.push_back(std::move(sure));
    out->unsure.push_back(std::move(unsure));
  }
  return std::make_unique<const Twins>(std::move(out));
}

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/twins.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "combine/twin_state.h"

namespace lacuna {
namespace {

constexpr std::array<std::string_view, kTwinOutcomeCount> kTwinOutcomeWords{"whole",  "doubtful",   "contradicted",
                                                                            "partly", "candidates", "nothing"};
constexpr std::size_t kMostTwinDoubts = 16;

void add_once(std::vector<std::string>& texts, const std::string& text) {
  if (text.empty() || texts.size() >= kMostTwinDoubts) return;
  if (std::find(texts.begin(), texts.end(), text) == texts.end()) texts.push_back(text);
}

/// The completion of what donors gave, of the sure ones where those have it.
Completion complete_twin(const Verdict& verdict, const TwinNeed& need, const TwinState& s,
                         const std::vector<TwinDonor>& donors, std::vector<std::string>& doubts) {
  Completion c;
  c.covered = need.lacking;
  c.basis = verdict.basis;
  for (const TwinMatch& m : s.matches) {
    RangeSet taken = m.taken;
    if (!m.doubts.empty()) taken = taken.minus(s.sure.filled());
    if (taken.empty()) continue;
    c.basis = std::max(c.basis, m.basis);
    c.donors.push_back({donors[m.donor].image, m.path, taken.total(), {taken.ranges().begin(), taken.ranges().end()}});
    for (const std::string& doubt : m.doubts) add_once(doubts, doubt);
  }
  return c;
}

}  // namespace

std::string_view to_string(TwinOutcome outcome) noexcept {
  return kTwinOutcomeWords[static_cast<std::size_t>(outcome)];
}

std::string_view to_string(TwinCandidate::Kind kind) noexcept {
  switch (kind) {
    case TwinCandidate::Kind::kSameNameAndDate:
      return "same-name-and-date";
    case TwinCandidate::Kind::kDoubtfulThere:
      return "doubtful-there";
    case TwinCandidate::Kind::kDiffers:
      return "differs";
    case TwinCandidate::Kind::kAgrees:
      return "agrees";
  }
  return {};
}

TwinFile conclude_twin(const Disc& disc, const Verdicts& verdicts, const TwinNeed& need, TwinState s,
                       const std::vector<TwinDonor>& donors) {
  TwinFile f;
  f.node = need.node;
  f.lacking_bytes = need.lacking.total();
  const RangeSet found = s.sure.filled().united(s.unsure.filled());
  f.found_bytes = found.total();
  const bool all_sure = need.lacking.minus(s.sure.filled()).empty();
  const bool all = all_sure || need.lacking.minus(found).empty();

  add_once(f.doubts, s.sure_conflict);
  add_once(f.doubts, s.mixed_conflict);
  if (!all_sure) add_once(f.doubts, s.unsure_conflict);
  const bool contradicted =
      !s.sure_conflict.empty() || (!all_sure && !(s.mixed_conflict.empty() && s.unsure_conflict.empty()));
  if (s.worse_here) add_once(f.doubts, "reading it showed more bytes missing here than were known; judge it anew");

  if (contradicted) {
    f.outcome = TwinOutcome::kContradicted;
  } else if (all && !s.worse_here) {
    add_once(f.doubts, s.other_version);
    for (const std::string& doubt : verdicts.lasting_doubts(disc, need.node)) add_once(f.doubts, doubt);
    f.completion = complete_twin(verdicts.of(need.node), need, s, donors, f.doubts);
    const bool whole = all_sure && f.doubts.empty();
    f.outcome = whole ? TwinOutcome::kWhole : TwinOutcome::kDoubtful;
    f.completion->state = whole ? FileState::kWhole : FileState::kDoubtful;
    f.completion->doubts = f.doubts;
  } else if (!found.empty()) {
    f.outcome = TwinOutcome::kPartly;
  } else if (!s.candidates.empty() || !s.matches.empty()) {
    f.outcome = TwinOutcome::kCandidates;
  }
  f.matches = std::move(s.matches);
  f.candidates = std::move(s.candidates);
  f.more = s.more;
  return f;
}

Twins::Twins(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Twins::~Twins() = default;

const std::vector<TwinDonor>& Twins::donors() const noexcept { return impl_->donors; }
const std::vector<TwinFile>& Twins::files() const noexcept { return impl_->files; }

namespace {

const TwinFile* find_twin(const std::vector<TwinFile>& files, NodeId node) {
  const auto it = std::partition_point(files.begin(), files.end(), [node](const TwinFile& f) { return f.node < node; });
  return it == files.end() || it->node != node || !it->completion ? nullptr : &*it;
}

}  // namespace

const Completion* Twins::of(NodeId file) const {
  const TwinFile* f = find_twin(impl_->files, file);
  return f == nullptr ? nullptr : &*f->completion;
}

bool Twins::read(NodeId file, std::uint64_t offset, std::span<std::uint8_t> out) const {
  const TwinFile* f = find_twin(impl_->files, file);
  if (f == nullptr) return false;
  const auto index = static_cast<std::size_t>(f - impl_->files.data());
  const TwinBytes& sure = impl_->sure[index];
  const TwinBytes& unsure = impl_->unsure[index];
  const Range wanted{offset, offset + out.size()};
  const RangeSet from_sure = part_of(sure.filled(), wanted);
  const auto part = [&](const Range& r) {
    return out.subspan(static_cast<std::size_t>(r.first - offset), static_cast<std::size_t>(r.length()));
  };
  for (const Range& r : from_sure.ranges()) {
    if (!sure.read(impl_->spool, r.first, part(r))) return false;
  }
  const RangeSet rest = RangeSet::from_unsorted({wanted}).minus(from_sure);
  for (const Range& r : rest.ranges()) {
    if (!unsure.read(impl_->spool, r.first, part(r))) return false;
  }
  return true;
}

}  // namespace lacuna

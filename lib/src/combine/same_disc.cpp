// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/same_disc.h"

#include <algorithm>
#include <array>
#include <utility>

#include "base/bytes.h"
#include "combine/sampling.h"
#include "combine/shift.h"
#include "lacuna/disc.h"
#include "lacuna/verdict.h"

namespace lacuna {
namespace {

constexpr std::size_t kSampledSectors = 4096;

RangeSet good_in(const Image& image, bool user_data) {
  return good_lbas(user_data ? image.data_states() : image.states());
}

/// Reads one sector of both and compares.
class Comparison {
 public:
  Comparison(const Image& known, const Image& other)
      : known_(known), other_(other), raw_(known.raw() != nullptr && other.raw() != nullptr) {}

  bool raw() const noexcept { return raw_; }

  enum class Answer { kEqual, kDiffer, kSaysNothing };
  Answer at(std::uint64_t lba) {
    const Bytes a = read(known_, lba, a_), b = read(other_, lba, b_);
    if (a.empty() || b.empty()) return Answer::kSaysNothing;
    const bool equal = std::ranges::equal(a, b);
    // Fill that both have tells nothing, and fill against data is what a program put in the place of an unreadable
    // sector.
    if (uniform_period(a) != 0 || uniform_period(b) != 0) return Answer::kSaysNothing;
    return equal ? Answer::kEqual : Answer::kDiffer;
  }

 private:
  using Buffer = std::array<std::uint8_t, kRawSectorBytes>;
  /// Empty when it is not good after all.
  Bytes read(const Image& image, std::uint64_t lba, Buffer& buffer) const {
    SectorState state = SectorState::kAbsent;
    const std::span<std::uint8_t> out = std::span(buffer).first(raw_ ? kRawSectorBytes : kSectorBytes);
    raw_ ? image.read_raw(lba, out, {&state, 1}) : image.read(lba, out, {&state, 1});
    return state <= SectorState::kRepaired ? Bytes(out) : Bytes();
  }

  const Image& known_;
  const Image& other_;
  bool raw_;
  Buffer a_, b_;
};

/// Where what tells one disc from another is recorded: the volume's name and, mostly, the time at which it was made.
/// Descriptors that are the same on all discs (terminators, anchors) are not among them.
std::vector<std::uint64_t> descriptor_lbas(const Image& image) {
  DiscOptions options;
  options.scan = ScanMode::kNever;
  options.all_sessions = true;
  const Result<std::unique_ptr<const Disc>> disc = open_disc(image, options);
  std::vector<std::uint64_t> lbas;
  if (!disc) return lbas;
  for (const Session& session : (*disc)->sessions()) {
    for (const Volume& volume : session.volumes) lbas.push_back(volume.descriptor_lba);
  }
  for (const Structure& s : (*disc)->structures()) {
    if (s.kind == StructureKind::kFileSet) lbas.push_back(s.position / kSectorBytes);
  }
  std::ranges::sort(lbas);
  lbas.erase(std::unique(lbas.begin(), lbas.end()), lbas.end());
  return lbas;
}

}  // namespace

Agreement compare_in_place(const Image& known, const Image& other, std::size_t most_sectors) {
  Agreement agreement;
  Comparison comparison(known, other);
  const RangeSet both = good_in(known, !comparison.raw()).intersected(good_in(other, !comparison.raw()));
  const std::vector<std::uint64_t> descriptors = descriptor_lbas(known);
  const auto compare = [&](std::uint64_t lba, bool descriptor) {
    const Comparison::Answer answer = comparison.at(lba);
    if (answer == Comparison::Answer::kSaysNothing) return;
    const bool equal = answer == Comparison::Answer::kEqual;
    ++agreement.compared;
    if (equal) ++agreement.equal;
    if (descriptor) ++(equal ? agreement.descriptors_equal : agreement.descriptors_differ);
    if (!equal) agreement.first_difference_lba = std::min(agreement.first_difference_lba.value_or(lba), lba);
  };
  for (const std::uint64_t lba : descriptors) {
    if (both.contains(lba)) compare(lba, true);
  }
  for (const std::uint64_t lba : spread_over(both, most_sectors)) {
    if (!std::ranges::binary_search(descriptors, lba)) compare(lba, false);
  }
  return agreement;
}

bool Agreement::same_disc() const noexcept {
  // One that differs among several equal ones may be garbage.
  if (descriptors_differ > descriptors_equal) return false;
  const bool named = descriptors_equal > 0;
  constexpr std::uint64_t kFew = 32;
  if (compared < kFew && !named) return false;
  const std::uint64_t percent_needed = named && descriptors_differ == 0 ? 90 : 99;
  return equal * 100 >= compared * percent_needed;
}

Agreement compare_reads(const Image& known, const Image& other) {
  Agreement agreement = compare_in_place(known, other, kSampledSectors);
  if (agreement.same_disc()) return agreement;
  const std::optional<std::int64_t> shift = find_shift(known, other);
  if (!shift || *shift == 0) return agreement;
  Agreement moved = compare_in_place(known, *shifted(other, *shift), kSampledSectors);
  if (!moved.same_disc()) return agreement;
  moved.shift_bytes = *shift;
  return moved;
}

}  // namespace lacuna

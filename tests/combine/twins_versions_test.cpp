// SPDX-License-Identifier: GPL-3.0-or-later
// Similar versions of one file are never mixed. Thousands of pairs of files and versions of them, made by a seeded
// generator: bytes changed early and late, ends rewritten, heads kept, blocks moved, files from one run of a program.
// Whatever is called whole is the file; and true copies are not missed, or the promise would be cheap.
#include <gmock/gmock.h>

#include <cstdio>
#include <random>

#include "combine/twin_box.h"

namespace lacuna::test {
namespace {

class Versions {
 public:
  explicit Versions(unsigned seed) : random_(seed) {}

  std::size_t below(std::size_t n) { return std::uniform_int_distribution<std::size_t>(0, n - 1)(random_); }
  bool chance(int percent) { return below(100) < static_cast<std::size_t>(percent); }
  unsigned seed() { return static_cast<unsigned>(random_()); }

  /// Content of so many blocks: data, and what tells nothing: zeros, patterns, a block that stands there again.
  std::string content(std::size_t count) {
    const std::string again = blocks(1, seed());
    std::string out;
    for (std::size_t i = 0; i < count; ++i) {
      const std::size_t kind = below(10);
      if (kind == 0) {
        out.append(kBlock, '\0');
      } else if (kind == 1) {
        for (std::size_t k = 0; k < kBlock; ++k) out += static_cast<char>(k % 7);
      } else if (kind == 2) {
        out += again;
      } else {
        out += blocks(1, seed());
      }
    }
    if (chance(70)) out.resize(out.size() - 1 - below(kBlock - 1));
    return out;
  }

  /// The same size, and another content.
  std::string version(const std::string& file) {
    for (;;) {
      std::string v = changed(file);
      v.resize(file.size());
      if (v != file) return v;
    }
  }

  std::vector<Range> holes(std::size_t count, std::size_t most, std::size_t longest) {
    std::vector<Range> out;
    for (std::size_t i = below(most) + 1; i-- > 0;) {
      const std::size_t first = below(count);
      out.push_back({first, std::min(count, first + 1 + below(longest))});
    }
    return out;
  }

 private:
  std::string changed(std::string v) {
    const std::size_t count = (v.size() + kBlock - 1) / kBlock;
    const auto change = [&](std::size_t at, std::size_t bytes) {
      for (std::size_t i = at; i < std::min(v.size(), at + bytes); ++i) v[i] = static_cast<char>(random_());
    };
    switch (below(9)) {
      case 0:  // one byte, anywhere
        v[below(v.size())] ^= 1;
        break;
      case 1:  // one byte near the end
        v[v.size() - 1 - below(std::min<std::size_t>(v.size(), 200))] ^= 1;
        break;
      case 2:  // a tag at the end
        change(v.size() - std::min<std::size_t>(v.size(), 128), 128);
        break;
      case 3:  // a header
        change(below(64), 1 + below(60));
        break;
      case 4:  // an equal head, and all else
        change((1 + below(count)) * kBlock - 1, v.size());
        break;
      case 5: {  // two blocks have changed places
        const std::size_t a = below(count), b = below(count);
        for (std::size_t i = 0; i < kBlock; ++i) {
          if (std::max(a, b) * kBlock + i < v.size()) std::swap(v[a * kBlock + i], v[b * kBlock + i]);
        }
        break;
      }
      case 6: {  // something was put in, and the end fell off
        const std::size_t at = below(v.size());
        v.insert(at, noise(1 + below(600), seed()));
        break;
      }
      case 7: {  // something was taken out, and the end grew
        const std::size_t at = below(v.size());
        v.erase(at, 1 + below(600));
        v += noise(600, seed());
        break;
      }
      default:  // edited in place, in a few spots
        for (std::size_t i = 1 + below(4); i-- > 0;) change(below(v.size()), 1 + below(300));
    }
    return v;
  }

  std::mt19937 random_;
};

struct Counts {
  int trials = 0, whole = 0, doubtful = 0, contradicted = 0, true_copies = 0, accepted = 0;
};

/// One file, and one to four donors of which some have it and some have versions of it.
void try_versions(Versions& v, Counts& counts) {
  const std::size_t count = 4 + v.below(60);
  const std::string file = v.content(count);
  TwinBox here("here");
  here.damaged("a.bin", file, v.holes(count, 3, 1 + count / 4), date(kMoment));
  // A run of a program writes several files of one size in one second: some of them are on each disc.
  const bool batch = v.chance(30);
  if (batch) here.whole("b.bin", v.version(file), date(kMoment + static_cast<std::int64_t>(v.below(2))));
  std::vector<std::unique_ptr<TwinBox>> boxes;
  bool good_copy = false, versions = batch;
  for (std::size_t i = 1 + v.below(4); i-- > 0;) {
    auto donor = std::make_unique<TwinBox>("donor " + std::to_string(i));
    const std::vector<Range> bad = v.chance(40) ? v.holes(count, 2, 1 + count / 2) : std::vector<Range>{};
    if (v.chance(50)) {
      donor->damaged("A.BIN", file, bad, date(kMoment));
      good_copy |= bad.empty();
    } else if (batch) {
      donor->damaged(v.chance(50) ? "c.bin" : "d.bin", v.version(file), bad, date(kMoment));
    } else {
      const std::int64_t apart[] = {1, -1, 2, 3600, 86400, 1'000'000};
      donor->damaged("a.bin", v.version(file), bad, date(kMoment + apart[v.below(6)]));
      versions = true;
    }
    donor->ready();
    boxes.push_back(std::move(donor));
  }
  std::vector<const TwinBox*> donors;
  for (const auto& b : boxes) donors.push_back(b.get());
  here.ready();
  const auto twins = find_twins(here, donors);
  ++counts.trials;
  const bool comparable = here.verdicts().of(here.id("a.bin")).state == FileState::kDamaged;
  if (!comparable) return;
  const TwinFile f = twin_of(*twins, here, "a.bin");
  counts.doubtful += f.outcome == TwinOutcome::kDoubtful;
  counts.contradicted += f.outcome == TwinOutcome::kContradicted;
  const bool whole = f.outcome == TwinOutcome::kWhole;
  counts.whole += whole;
  if (good_copy && !versions) {
    ++counts.true_copies;
    counts.accepted += whole;
  }
  if (whole) {
    ASSERT_EQ(completed(*twins, here, "a.bin"), file);
    ASSERT_EQ(twins->of(f.node)->state, FileState::kWhole);
  }
  // Doubtful ones are marked, and say why.
  if (f.outcome == TwinOutcome::kDoubtful) {
    ASSERT_FALSE(twins->of(f.node)->doubts.empty());
  }
}

class TwinVersions : public ::testing::TestWithParam<unsigned> {};

TEST_P(TwinVersions, AreNeverMixed) {
  Versions v(GetParam());
  Counts counts;
  for (int i = 0; i < 400 && !HasFatalFailure(); ++i) try_versions(v, counts);
  std::printf(
      "%d trials: %d whole, %d doubtful, %d contradicted; of %d true copies without a version beside them %d whole\n",
      counts.trials, counts.whole, counts.doubtful, counts.contradicted, counts.true_copies, counts.accepted);
  EXPECT_GT(counts.true_copies, 20);
  EXPECT_GT(counts.accepted * 100, counts.true_copies * 60);
}

INSTANTIATE_TEST_SUITE_P(Seeds, TwinVersions, ::testing::Range(1u, 11u));

/// Every place of a single changed byte against every place of a single bad block.
TEST(TwinPairs, EveryByteOfAnotherDate) {
  const std::string file = blocks(12, 5);
  for (std::size_t changed = 0; changed < file.size(); changed += 509) {
    std::string version = file;
    version[changed] ^= 0x20;
    for (std::uint64_t bad = 0; bad < 12; ++bad) {
      TwinBox here("here"), there("there");
      here.damaged("a", file, {{bad, bad + 1}}, date(kMoment));
      there.whole("a", version, date(kMoment + 2));
      const auto twins = find_twins(here.ready(), {&there.ready()});
      const TwinFile f = twin_of(*twins, here, "a");
      ASSERT_EQ(f.outcome, changed / kBlock == bad ? TwinOutcome::kDoubtful : TwinOutcome::kCandidates);
    }
  }
}

TEST(TwinPairs, PicturesOfOneSizeWithEqualFrames) {
  // Uncompressed pictures from one device: equal heads and margins, the picture differs; written in the same second.
  const std::string head = blocks(20, 1), margin = blocks(20, 2);
  TwinBox here("here"), there("there");
  const auto picture = [&](unsigned seed) { return head + blocks(6, seed) + margin; };
  here.damaged("1.bmp", picture(10), {{20, 26}});
  here.whole("2.bmp", picture(11));
  there.whole("3.bmp", picture(12));
  const auto twins = find_twins(here.ready(), {&there.ready()});
  const TwinFile f = twin_of(*twins, here, "1.bmp");
  EXPECT_EQ(f.outcome, TwinOutcome::kContradicted) << "the second picture contradicts the third";
}

}  // namespace
}  // namespace lacuna::test

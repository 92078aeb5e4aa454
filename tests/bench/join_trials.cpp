// SPDX-License-Identifier: GPL-3.0-or-later
// Trials of joining raw reads: the same sector hurt anew in each of one, two and three reads, and how many of those
// that no single read proves are recovered. Prints a table; ends with 1 when any is not what it was.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <chrono>
#include <iostream>
#include <random>
#include <thread>
#include <vector>

#include "media/cd/join.h"
#include "support/raw_damage.h"

namespace {

using namespace lacuna;
using test::RawDamage;

/// `same_place`: of so many bytes in a row, the same ones in all reads, each read has every other one wrong, by chance.
struct Kind {
  RawDamage damage;
  std::size_t bytes;
  bool same_place = false;
};
constexpr std::array kKinds{
    Kind{RawDamage::kScattered, 24},    Kind{RawDamage::kScattered, 60},    Kind{RawDamage::kScattered, 118},
    Kind{RawDamage::kScattered, 235},   Kind{RawDamage::kScattered, 353},   Kind{RawDamage::kScattered, 470},
    Kind{RawDamage::kScattered, 706},   Kind{RawDamage::kBurst, 150},       Kind{RawDamage::kBurst, 300},
    Kind{RawDamage::kBurst, 600},       Kind{RawDamage::kBurst, 1000},      Kind{RawDamage::kBursts, 100},
    Kind{RawDamage::kBursts, 200},      Kind{RawDamage::kBursts, 400},      Kind{RawDamage::kBursts, 800},
    Kind{RawDamage::kEverySixth, 100},  Kind{RawDamage::kEverySixth, 300},  Kind{RawDamage::kZeros, 500},
    Kind{RawDamage::kRest, 0},          Kind{RawDamage::kBurst, 150, true}, Kind{RawDamage::kBurst, 250, true},
    Kind{RawDamage::kBurst, 400, true}, Kind{RawDamage::kBurst, 700, true},
};
constexpr std::array kForms{SectorForm::kMode1, SectorForm::kForm1, SectorForm::kForm2};
constexpr std::size_t kMostReads = 3;

struct Tally {
  std::uint64_t trials = 0, single = 0;                         ///< `single`: of the first read alone.
  std::array<std::uint64_t, kMostReads + 1> joins{}, joined{};  ///< By reads: tried, as none proves itself; recovered.
  std::uint64_t wrong = 0;
  double join_seconds = 0;
  void operator+=(const Tally& o) {
    trials += o.trials;
    single += o.single;
    for (std::size_t n = 0; n <= kMostReads; ++n) {
      joins[n] += o.joins[n];
      joined[n] += o.joined[n];
    }
    wrong += o.wrong;
    join_seconds += o.join_seconds;
  }
  std::uint64_t all_joins() const { return joins[2] + joins[3]; }
};
using Table = std::array<std::array<Tally, kForms.size()>, kKinds.size()>;

bool is_right(const cd::Sector& r, SectorForm form, const test::RawSector& s, const test::RawSector& whole) {
  return r.form == form &&
         std::equal(whole.begin() + r.data_at, whole.begin() + r.data_at + r.data_bytes, s.begin() + r.data_at);
}

/// Says which bytes were changed.
cd::ErasureSet hurt_half(test::RawSector& s, std::size_t first, std::size_t bytes, std::mt19937_64& random) {
  cd::ErasureSet wrong;
  for (std::size_t at = first; at < first + bytes; ++at) {
    if (random() % 2 == 0) continue;
    s[at] ^= static_cast<std::uint8_t>(1 + random() % 255);
    wrong.set(at);
  }
  return wrong;
}

void run(std::uint64_t trials, std::uint64_t seed, bool known, Table& table) {
  std::mt19937_64 random(seed);
  std::array<std::vector<test::RawSector>, kForms.size()> whole;
  for (std::size_t f = 0; f < kForms.size(); ++f) whole[f] = test::trial_sectors(kForms[f], random);
  for (std::uint64_t t = 0; t < trials; ++t) {
    const std::size_t kind = t % kKinds.size(), f = t / kKinds.size() % kForms.size();
    const auto i = static_cast<std::size_t>(random() % 64);
    Tally& tally = table[kind][f];
    ++tally.trials;
    cd::Expected expected{1000 + static_cast<std::int32_t>(i), kForms[f], nullptr};
    std::array<test::RawSector, kMostReads> reads;
    std::array<cd::ErasureSet, kMostReads> erasures;
    std::vector<cd::RawVersion> versions;
    bool any_proven = false;
    const std::size_t place = random() % (kRawSectorBytes - kKinds[kind].bytes);
    for (std::size_t n = 0; n < kMostReads; ++n) {
      reads[n] = whole[f][i];
      erasures[n] = kKinds[kind].same_place
                        ? hurt_half(reads[n], place, kKinds[kind].bytes, random)
                        : test::damage_raw(reads[n], kKinds[kind].damage, kKinds[kind].bytes, random);
      test::RawSector alone = reads[n];
      expected.erasures = known ? &erasures[n] : nullptr;
      const cd::Sector r = cd::prove(alone, expected);
      any_proven = any_proven || r.proven;
      if (r.proven && !is_right(r, kForms[f], alone, whole[f][i])) ++tally.wrong;
      if (n == 0 && r.proven) ++tally.single;
      versions.push_back({reads[n], known ? &erasures[n] : nullptr});
      if (any_proven || n == 0) continue;
      expected.erasures = nullptr;
      test::RawSector out{};
      const auto start = std::chrono::steady_clock::now();
      const cd::Sector joined = cd::join(versions, out, expected);
      tally.join_seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
      ++tally.joins[n + 1];
      if (!joined.proven) continue;
      ++tally.joined[n + 1];
      if (!is_right(joined, kForms[f], out, whole[f][i])) ++tally.wrong;
    }
  }
}

std::string name_of(const Kind& k) {
  if (k.same_place) return fmt::format("half of the same {}", k.bytes);
  return fmt::format("{} {}", test::to_string(k.damage), k.bytes);
}

std::string percent(std::uint64_t of, std::uint64_t all) {
  if (all == 0) return "-";
  return fmt::format("{:.1f}", 100.0 * static_cast<double>(of) / static_cast<double>(all));
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app("The same raw CD sector hurt anew in each of several reads, and what is recovered by joining them");
  double thousands = 100;
  std::uint64_t seed = 1;
  bool known = false;
  unsigned threads = std::max(1U, std::thread::hardware_concurrency());
  app.add_option("--thousands", thousands, "Sectors, in thousands (100)");
  app.add_option("--seed", seed, "Seed of the first thread (1)");
  app.add_flag("--known", known, "The drive says which bytes are wrong");
  app.add_option("--threads", threads, "Threads; default: one a processor")->check(CLI::Range(1, 256));
  CLI11_PARSE(app, argc, argv);

  std::vector<Table> tables(threads);
  {
    std::vector<std::jthread> workers;
    for (unsigned t = 0; t < threads; ++t) {
      workers.emplace_back([&tables, t, seed, known, each = static_cast<std::uint64_t>(thousands * 1e3 / threads)] {
        run(each, seed + t, known, tables[t]);
      });
    }
  }

  std::cout << fmt::format("{:<24} {:<14} {:>8} {:>9} {:>9} {:>9} {:>9} {:>9} {:>6} {:>9}\n", "damage, bytes", "form",
                           "sectors", "% one", "joins 2", "% of them", "joins 3", "% of them", "wrong", "joins/s");
  Tally all;
  for (std::size_t k = 0; k < kKinds.size(); ++k) {
    for (std::size_t f = 0; f < kForms.size(); ++f) {
      Tally sum;
      for (const Table& t : tables) sum += t[k][f];
      std::cout << fmt::format("{:<24} {:<14} {:>8} {:>9} {:>9} {:>9} {:>9} {:>9} {:>6} {:>9.0f}\n", name_of(kKinds[k]),
                               to_string(kForms[f]), sum.trials, percent(sum.single, sum.trials), sum.joins[2],
                               percent(sum.joined[2], sum.joins[2]), sum.joins[3], percent(sum.joined[3], sum.joins[3]),
                               sum.wrong,
                               sum.join_seconds == 0 ? 0 : static_cast<double>(sum.all_joins()) / sum.join_seconds);
      all += sum;
    }
  }
  std::cout << fmt::format(
      "{} sectors by {} threads: {} joins of two reads, {} recovered; {} of three, {} recovered; {} wrong\n",
      all.trials, threads, all.joins[2], all.joined[2], all.joins[3], all.joined[3], all.wrong);
  return all.wrong == 0 ? 0 : 1;
}

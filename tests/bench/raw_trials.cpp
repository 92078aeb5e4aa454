// SPDX-License-Identifier: GPL-3.0-or-later
// Trials of the repair of raw sectors: random damage of many kinds, and whether what ends good or repaired holds the
// right bytes. Prints a table; ends with 1 when any did not.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <chrono>
#include <iostream>
#include <random>
#include <thread>
#include <vector>

#include "support/raw_damage.h"

namespace {

using namespace lacuna;
using test::RawDamage;

struct Kind {
  RawDamage damage;
  std::size_t bytes;
};
constexpr std::array kKinds{
    Kind{RawDamage::kOneCodeword, 1}, Kind{RawDamage::kOneCodeword, 2}, Kind{RawDamage::kOneCodeword, 3},
    Kind{RawDamage::kOneCodeword, 8}, Kind{RawDamage::kScattered, 2},   Kind{RawDamage::kScattered, 10},
    Kind{RawDamage::kScattered, 30},  Kind{RawDamage::kScattered, 60},  Kind{RawDamage::kScattered, 100},
    Kind{RawDamage::kBurst, 20},      Kind{RawDamage::kBurst, 86},      Kind{RawDamage::kBurst, 100},
    Kind{RawDamage::kBurst, 150},     Kind{RawDamage::kBurst, 172},     Kind{RawDamage::kBurst, 200},
    Kind{RawDamage::kBursts, 80},     Kind{RawDamage::kBursts, 200},    Kind{RawDamage::kEverySixth, 60},
    Kind{RawDamage::kZeros, 172},     Kind{RawDamage::kZeros, 500},     Kind{RawDamage::kRest, 0},
};
constexpr std::array kForms{SectorForm::kMode1, SectorForm::kForm1, SectorForm::kForm2};

struct Tally {
  std::uint64_t trials = 0, good = 0, repaired = 0, unproven = 0, unproven_wrong = 0, bad = 0, wrong = 0;
  void operator+=(const Tally& o) {
    trials += o.trials;
    good += o.good;
    repaired += o.repaired;
    unproven += o.unproven;
    unproven_wrong += o.unproven_wrong;
    bad += o.bad;
    wrong += o.wrong;
  }
};
struct Cell {
  Tally blind, known;
};
using Table = std::array<std::array<Cell, kForms.size()>, kKinds.size()>;

void count(Tally& tally, const cd::Sector& r, SectorForm form, const test::RawSector& s, const test::RawSector& whole) {
  ++tally.trials;
  if (r.state == SectorState::kBad) {
    ++tally.bad;
    return;
  }
  const bool right = r.form == form && std::equal(whole.begin() + r.data_at, whole.begin() + r.data_at + r.data_bytes,
                                                  s.begin() + r.data_at);
  if (!r.proven) {
    // Form 2 whose EDC became zero, and what looks like formless mode 2: nothing is promised.
    ++tally.unproven;
    if (!right) ++tally.unproven_wrong;
    return;
  }
  ++(r.state == SectorState::kRepaired ? tally.repaired : tally.good);
  if (!right) ++tally.wrong;
}

void run(std::uint64_t trials, std::uint64_t seed, Table& table) {
  std::mt19937_64 random(seed);
  std::array<std::vector<test::RawSector>, kForms.size()> whole;
  for (std::size_t f = 0; f < kForms.size(); ++f) whole[f] = test::trial_sectors(kForms[f], random);
  for (std::uint64_t t = 0; t < trials; ++t) {
    const std::size_t kind = t % kKinds.size(), f = t / kKinds.size() % kForms.size();
    const auto i = static_cast<std::size_t>(random() % 64);
    test::RawSector s = whole[f][i];
    const cd::ErasureSet erasures = test::damage_raw(s, kKinds[kind].damage, kKinds[kind].bytes, random);
    const bool known = random() % 2 != 0, placed = random() % 4 != 0, formed = random() % 4 != 0;
    cd::Expected expected;
    if (placed) expected.lba = 1000 + static_cast<std::int32_t>(i);
    if (formed) expected.form = kForms[f];
    if (known) expected.erasures = &erasures;
    const cd::Sector r = cd::prove(s, expected);
    Cell& cell = table[kind][f];
    count(known ? cell.known : cell.blind, r, kForms[f], s, whole[f][i]);
  }
}

double percent(const Tally& t) {
  return t.trials == 0 ? 0 : 100.0 * static_cast<double>(t.good + t.repaired) / static_cast<double>(t.trials);
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app("Random damage to raw CD sectors, and what becomes of them");
  double millions = 1;
  std::uint64_t seed = 1;
  unsigned threads = std::max(1U, std::thread::hardware_concurrency());
  app.add_option("--millions", millions, "Trials, in millions (1)");
  app.add_option("--seed", seed, "Seed of the first thread (1)");
  app.add_option("--threads", threads, "Threads; default: one a processor")->check(CLI::Range(1, 256));
  CLI11_PARSE(app, argc, argv);

  const auto start = std::chrono::steady_clock::now();
  std::vector<Table> tables(threads);
  {
    std::vector<std::jthread> workers;
    for (unsigned t = 0; t < threads; ++t) {
      workers.emplace_back([&tables, t, seed, each = static_cast<std::uint64_t>(millions * 1e6 / threads)] {
        run(each, seed + t, tables[t]);
      });
    }
  }
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;

  std::cout << fmt::format("{:<24} {:<14} {:>9} {:>8} {:>9} {:>8} {:>9} {:>6} {:>9} {:>9}\n", "damage, bytes", "form",
                           "trials", "good", "repaired", "unproven", "bad", "false", "% blind", "% known");
  Tally all;
  for (std::size_t k = 0; k < kKinds.size(); ++k) {
    for (std::size_t f = 0; f < kForms.size(); ++f) {
      Tally both;
      for (const Table& t : tables) both += t[k][f].blind;
      const double blind = percent(both);
      Tally known;
      for (const Table& t : tables) known += t[k][f].known;
      both += known;
      std::cout << fmt::format("{:<24} {:<14} {:>9} {:>8} {:>9} {:>8} {:>9} {:>6} {:>9.3f} {:>9.3f}\n",
                               fmt::format("{} {}", test::to_string(kKinds[k].damage), kKinds[k].bytes),
                               to_string(kForms[f]), both.trials, both.good, both.repaired, both.unproven, both.bad,
                               both.wrong, blind, percent(known));
      all += both;
    }
  }
  std::cout << fmt::format(
      "{} trials in {:.1f} s by {} threads: {} good, {} repaired, {} unproven (of these {} wrong), {} bad, {} false\n",
      all.trials, took.count(), threads, all.good, all.repaired, all.unproven, all.unproven_wrong, all.bad, all.wrong);
  return all.wrong == 0 ? 0 : 1;
}

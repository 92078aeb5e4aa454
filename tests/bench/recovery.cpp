// SPDX-License-Identifier: GPL-3.0-or-later
// The recovery benchmark: discs of every kind, damage of every kind, and how near the reading comes to the limit of
// what the surviving bytes still tell (tests/recover). Run it by tests/bench/recovery.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <fstream>
#include <iostream>
#include <map>
#include <string>
#include <vector>

#include "recover/authored_discs.h"
#include "recover/damage.h"
#include "recover/limit.h"
#include "recover/score.h"

namespace {

using namespace lacuna;
using namespace lacuna::test;

struct Table {
  std::vector<std::string> order;
  std::map<std::string, Tally> rows;
  void add(const std::string& row, const Tally& t) {
    if (!rows.contains(row)) order.push_back(row);
    rows[row] += t;
  }
};

void print_head(const std::string& title) {
  std::cout << fmt::format(
      "\n{:<52} {:>5} {:>6} {:>7} {:>7} {:>6} {:>5} {:>6} {:>8} {:>6} {:>6} {:>5} {:>5} {:>5} {:>5} {:>7}\n", title,
      "discs", "none", "limit", "right", "else", "known", "missed", "%", "doubt", "named", "list", "false", "misn",
      "forgn", "s");
}

void print_row(const std::string& name, const Tally& t) {
  const double percent =
      t.limit == 0 ? 100 : 100.0 * static_cast<double>(t.right + t.elsewhere) / static_cast<double>(t.limit);
  std::cout << fmt::format(
      "{:<52} {:>5} {:>6} {:>7} {:>7} {:>6} {:>5} {:>6} {:>8.3f} {:>6} {:>6} {:>5} {:>5} {:>5} {:>5} {:>7.2f}\n", name,
      t.discs, t.unopened, t.limit, t.right, t.elsewhere, t.path_known, t.missed, percent, t.doubtful, t.named,
      t.named_listed, t.false_whole, t.misnamed, t.foreign, t.seconds);
}

void print(const std::string& title, const Table& table) {
  print_head(title);
  for (const std::string& row : table.order) print_row(row, table.rows.at(row));
}

bool chosen(const std::vector<std::string>& wanted, const std::string& name) {
  return wanted.empty() || std::ranges::find(wanted, name) != wanted.end();
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app("How near the reading of damaged discs comes to the limit of what their surviving bytes tell");
  std::vector<std::string> discs, damages, showings;
  std::uint32_t seeds = 3, files = 300;
  std::vector<std::uint32_t> only_seeds;
  bool misses = false, elsewhere = false, cells = false, list = false, never = false;
  std::string write_to;
  app.add_option("--disc", discs, "Kinds of discs; default: all")->check(CLI::IsMember(disc_kinds()));
  app.add_option("--damage", damages, "Kinds of damage, by their names in the table; default: all");
  app.add_option("--show", showings, "How damage shows: map, holes, garbage, zeros; default: all");
  app.add_option("--seeds", seeds, "Seeds of each damage that is random (3)");
  app.add_option("--seed", only_seeds, "These seeds only");
  app.add_option("--files", files, "Files on a disc (300)");
  app.add_flag("--misses", misses, "Print each miss and each false whole");
  app.add_flag("--elsewhere", elsewhere, "Print also what was found under another path, or is not listed");
  app.add_flag("--cells", cells, "Print a row for each disc and damage");
  app.add_flag("--never-scan", never, "Read only what descriptors lead to");
  app.add_flag("--list", list, "Print the names of discs and damages, and end");
  app.add_option("--write", write_to, "Write the damaged image of the one cell chosen to this file, and end");
  CLI11_PARSE(app, argc, argv);

  const std::uint32_t count_of_seeds = only_seeds.empty() ? seeds : std::ranges::max(only_seeds) + 1;
  ScoreOptions options;
  options.scan = never ? ScanMode::kNever : ScanMode::kAuto;
  options.all_elsewhere = elsewhere;
  Table by_disc, by_damage, by_cell, by_showing;
  Tally all;
  for (const std::string& kind : disc_kinds()) {
    if (!chosen(discs, kind)) continue;
    std::string why_not;
    const auto disc = author_disc(kind, files, why_not);
    if (!disc) {
      std::cout << kind << " is left out: " << why_not << "\n";
      continue;
    }
    const StructureClasses classes = structure_classes(*disc);
    if (list) {
      std::cout << fmt::format("{}: {} files, {} sectors\n", kind, disc->files.size(), disc->sectors());
      for (const std::string& name : damage_names(classes)) {
        const Damage d = make_damage(*disc, classes, name, 0);
        std::cout << fmt::format("  {:<50} {} sectors lost, [{}, {}) left\n", name, d.lost.total(), d.first, d.end);
      }
      continue;
    }
    const Limit limit(*disc);
    for (const std::string& name : damage_names(classes)) {
      if (!chosen(damages, name)) continue;
      for (std::uint32_t seed = 0; seed < (is_random(name) ? count_of_seeds : 1); ++seed) {
        if (!only_seeds.empty() && std::ranges::find(only_seeds, seed) == only_seeds.end()) continue;
        const Damage damage = make_damage(*disc, classes, name, seed);
        for (const Showing showing : kShowings) {
          if (damage.lost.empty() && showing != Showing::kMap && showing != Showing::kHoles) continue;
          if (!chosen(showings, std::string(to_string(showing)))) continue;
          if (!write_to.empty()) {
            const auto bytes = damaged_bytes(*disc, damage, showing);
            std::ofstream out(write_to, std::ios::binary);
            out.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
            return out.good() ? 0 : 1;
          }
          std::vector<std::string> remarks;
          const Tally t = score(*disc, limit, damage, showing, options, misses || elsewhere ? &remarks : nullptr);
          for (const std::string& r : remarks) std::cout << r << "\n";
          by_disc.add(kind, t);
          by_damage.add(name, t);
          by_showing.add(std::string(to_string(showing)), t);
          if (cells) by_cell.add(kind + ": " + name, t);
          all += t;
        }
      }
    }
    std::cout.flush();
  }
  if (list) return 0;
  if (cells) print("by disc and damage", by_cell);
  print("by disc", by_disc);
  print("by damage", by_damage);
  print("by showing", by_showing);
  print_head("in all");
  print_row("", all);
  std::cout << fmt::format("found though nothing that is counted placed them: {}; listed twice: {}\n", all.beyond,
                           all.twice);
  return all.missed == 0 && all.false_whole == 0 && all.misnamed == 0 ? 0 : 1;
}

// SPDX-License-Identifier: GPL-3.0-or-later
#include <vector>

#include "capi/guard.h"
#include "capi/handles.h"

struct lacuna_runs {
  std::vector<lacuna_sector_run> list;
};

namespace lacuna::capi {

lacuna_runs* make_runs(const SectorMap& map, std::uint64_t first_lba, std::uint64_t end_lba) {
  need(first_lba <= end_lba && end_lba <= kMaxSectors, "the sectors end before they begin, or beyond LBA 2^32");
  auto runs = std::make_unique<lacuna_runs>();
  for (const SectorRun& run : map.slice(first_lba, end_lba)) {
    runs->list.push_back({run.first, run.count, static_cast<std::uint32_t>(run.state), 0});
  }
  return runs.release();
}

}  // namespace lacuna::capi

std::size_t lacuna_runs_count(const lacuna_runs* runs) { return runs == nullptr ? 0 : runs->list.size(); }
const lacuna_sector_run* lacuna_runs_data(const lacuna_runs* runs) {
  return lacuna_runs_count(runs) == 0 ? nullptr : runs->list.data();
}
void lacuna_runs_free(lacuna_runs* runs) { delete runs; }

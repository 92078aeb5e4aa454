// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as a sector map, in each form; what parses must come back the same from both written forms.
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "base/bytes.h"
#include "lacuna/sector_map.h"

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

void check(std::string_view text, const lacuna::MapColumns& columns) {
  const lacuna::Result<lacuna::SectorMap> map = lacuna::parse_sector_map(text, "fuzz", columns);
  if (!map) {
    require(!map.error().message.empty() && map.error().message.find('\n') == std::string::npos);
    return;
  }
  const auto states = map->slice(0, lacuna::kMaxSectors);
  for (const std::string& written :
       {lacuna::to_map_text(*map, lacuna::kMaxSectors), lacuna::to_map_json(*map, lacuna::kMaxSectors)}) {
    const lacuna::Result<lacuna::SectorMap> again = lacuna::parse_sector_map(written, "written");
    require(again.ok() && again->slice(0, lacuna::kMaxSectors) == states);
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text = lacuna::as_text({data, size});
  check(text, {});
  lacuna::MapColumns columns;
  columns.columns = {"first", "count", "state", "-"};
  check(text, columns);
  columns.unit = lacuna::MapColumns::Unit::kBytes;
  columns.columns = {"state", "first", "last"};
  columns.good_words = {"good", "+"};
  columns.bad_words = {"bad", "-"};
  check(text, columns);
  return 0;
}

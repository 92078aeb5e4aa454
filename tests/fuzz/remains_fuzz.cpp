// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as sectors of which something is left. What is found does not depend on how the sectors are handed in.
#include <vector>

#include "fuzz/promise.h"
#include "iso9660/remains.h"
#include "lacuna/states.h"
#include "udf/remains.h"

namespace {

using namespace lacuna;

template <class Remains>
Remains found_in(Bytes bytes, std::size_t step) {
  Remains remains;
  for (std::size_t at = 0; at < bytes.size(); at += step) {
    remains.look_at(bytes.subspan(at), std::min(step, bytes.size() - at), at);
  }
  remains.finish();
  return remains;
}

template <class T>
bool same_places(const std::vector<T>& a, const std::vector<T>& b, std::size_t bytes) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [bytes](const T& x, const T& y) { return x.position == y.position && x.position < bytes; });
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using test::require;
  std::vector<std::uint8_t> bytes(data, data + size);
  bytes.resize((size + kSectorBytes - 1) / kSectorBytes * kSectorBytes);
  if (bytes.empty()) return 0;

  const auto iso = found_in<iso9660::Remains>(bytes, bytes.size());
  const auto iso_by_sector = found_in<iso9660::Remains>(bytes, kSectorBytes);
  require(same_places(iso.directories(), iso_by_sector.directories(), bytes.size()));
  require(same_places(iso.records(), iso_by_sector.records(), bytes.size()));
  require(same_places(iso.descriptors(), iso_by_sector.descriptors(), bytes.size()));
  require(same_places(iso.path_tables(), iso_by_sector.path_tables(), bytes.size()));

  const auto udf = found_in<udf::Remains>(bytes, bytes.size());
  const auto udf_by_sector = found_in<udf::Remains>(bytes, kSectorBytes);
  require(same_places(udf.descriptors(), udf_by_sector.descriptors(), bytes.size()));
  require(same_places(udf.entries(), udf_by_sector.entries(), bytes.size()));
  require(same_places(udf.identifiers(), udf_by_sector.identifiers(), bytes.size()));
  return 0;
}

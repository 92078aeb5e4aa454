// SPDX-License-Identifier: GPL-3.0-or-later
// What stands behind the handles of discs and images. Each shares what it rests on, so that they may be freed in any
// order.
#pragma once

#include <memory>
#include <string>

#include "lacuna/c/disc.h"
#include "lacuna/c/file.h"
#include "lacuna/disc.h"
#include "lacuna/image.h"
#include "lacuna/verdict.h"
#include "report/walk.h"

namespace lacuna::capi {

/// A disc, read and judged.
struct OpenDisc {
  std::shared_ptr<const Image> image;
  std::unique_ptr<const Disc> disc;
  Verdicts verdicts;
  bool looked_inside = true;
  report::SessionOf session_of;
};

lacuna_runs* make_runs(const SectorMap& map, std::uint64_t first_lba, std::uint64_t end_lba);
/// Fills `to` with the finding of a number.
void give_finding(const Findings& findings, std::size_t index, lacuna_finding* to);
lacuna_file* make_file(std::shared_ptr<const OpenDisc> open, NodeId node, std::string path);

}  // namespace lacuna::capi

struct lacuna_image {
  std::shared_ptr<const lacuna::Image> image;
};

struct lacuna_disc {
  std::shared_ptr<const lacuna::capi::OpenDisc> open;
};

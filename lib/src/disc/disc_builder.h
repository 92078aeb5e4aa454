// SPDX-License-Identifier: GPL-3.0-or-later
// DiscBuilder: how the readers of file systems fill a Disc.
#pragma once

#include <memory>

#include "lacuna/disc.h"

namespace lacuna {

/// Fill the parts in any order, then finish() once. For one thread.
class DiscBuilder {
 public:
  explicit DiscBuilder(const Image& image);

  const Image& image() const noexcept { return *disc_->image_; }
  Tree& tree() noexcept { return disc_->tree_; }
  std::vector<Session>& sessions() noexcept { return disc_->sessions_; }
  std::vector<Structure>& structures() noexcept { return disc_->structures_; }
  std::vector<LostDirectory>& lost_directories() noexcept { return disc_->lost_directories_; }
  std::vector<std::string>& also_present() noexcept { return disc_->also_present_; }
  Findings& findings() noexcept { return disc_->findings_; }
  std::optional<ScanFacts>& scan() noexcept { return disc_->scan_; }

  /// Finishes the tree (Tree::finish) and brings the node ids everywhere else in line with it.
  std::unique_ptr<const Disc> finish();

 private:
  std::unique_ptr<Disc> disc_;
};

}  // namespace lacuna

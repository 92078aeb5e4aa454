// SPDX-License-Identifier: GPL-3.0-or-later
// Sessions: where what several file systems say of one disc comes together. Each reader of a file system gives what it
// found as parts of sessions; parts of one state that start at the same sector are one session, and their trees one
// tree.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "disc/disc_builder.h"
#include "lacuna/result.h"

namespace lacuna {

/// The tree of one file system in one session, with what its reading rested on.
struct SessionTree {
  Tree tree;                   ///< Not finished.
  View best = View::kIso9660;  ///< The best view in it.
  std::vector<Structure> structures;
  std::vector<LostDirectory> lost_directories;
  Findings findings;
};

/// Moves what belongs to one tree behind what belongs to another, or to the disc; nodes get their new ids (no ids: they
/// stay).
void take_over(std::vector<Structure>& structures, std::vector<Structure>& more, std::span<const NodeId> ids);
void take_over(std::vector<LostDirectory>& lost, std::vector<LostDirectory>& more, std::span<const NodeId> ids);

/// What one file system has in one session.
class SessionPart {
 public:
  static constexpr std::uint64_t kCurrent = ~std::uint64_t{0};
  virtual ~SessionPart() = default;

  std::uint64_t start_lba = 0;
  std::uint64_t state = kCurrent;  ///< Earlier states of a session count up from 0.
  SessionSource source = SessionSource::kFirst;
  std::vector<Volume> volumes;  ///< read() may add facts.

  /// The views that it may have; whether it has Rock Ridge shows only when it is read.
  virtual std::vector<View> views() const = 0;
  /// Reads the tree. Nothing in the pointer: there is none, or not in the view that was asked for. Errors: kUsage,
  /// kCancelled.
  virtual Result<std::unique_ptr<SessionTree>> read() = 0;
};

using SessionParts = std::vector<std::unique_ptr<SessionPart>>;

/// Fills the builder with the sessions and the tree of those that the options ask for; by default the last. Gives
/// false when none has a tree. Errors: kUsage for a session or view that is not there, kCancelled.
Result<bool> read_sessions(DiscBuilder& builder, const DiscOptions& options, SessionParts parts);

}  // namespace lacuna

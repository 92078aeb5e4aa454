// SPDX-License-Identifier: GPL-3.0-or-later
// What is known so far of each file that needs help, and what becomes of it in the end.
#pragma once

#include <string>
#include <vector>

#include "combine/spool.h"
#include "combine/twin_bytes.h"
#include "combine/twin_needs.h"
#include "lacuna/twins.h"

namespace lacuna {

/// Bytes and findings of one file. Of the bytes those of donors that can make it whole and those of others are kept
/// apart, so that the order of the donors decides nothing.
struct TwinState {
  TwinBytes sure, unsure;
  std::vector<TwinMatch> matches;
  std::vector<TwinCandidate> candidates;
  std::uint64_t more = 0;
  std::string other_version;    ///< A file of the same name, size and date differs: its date proves nothing.
  std::string sure_conflict;    ///< Sure donors disagree with each other, …
  std::string unsure_conflict;  ///< … unsure ones do, …
  std::string mixed_conflict;   ///< … or a sure one with an unsure one.
  std::uint64_t agreeing_donors = 0;
  bool worse_here = false;  ///< Reading showed more bytes missing than judging.
};

/// Decides.
TwinFile conclude_twin(const Disc& disc, const Verdicts& verdicts, const TwinNeed& need, TwinState state,
                       const std::vector<TwinDonor>& donors);

struct LACUNA_LOCAL Twins::Impl {
  std::vector<TwinDonor> donors;
  std::vector<TwinFile> files;          // by node
  std::vector<TwinBytes> sure, unsure;  // of files, one each
  Spool spool;
};

}  // namespace lacuna

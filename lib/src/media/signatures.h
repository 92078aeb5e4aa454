// SPDX-License-Identifier: GPL-3.0-or-later
// What data looks like by its first bytes (libmagic). A likeness, never a fact.
#pragma once

#include <string>

#include "base/bytes.h"

struct magic_set;

namespace lacuna {

/// Knows nothing when libmagic's data is not installed. For one thread.
class Signatures {
 public:
  Signatures();
  ~Signatures();
  Signatures(const Signatures&) = delete;
  Signatures& operator=(const Signatures&) = delete;

  /// The media type, "image/jpeg"; empty when not known.
  std::string type(Bytes first) const;
  /// The usual extension, "jpeg"; "data" when not known.
  std::string extension(Bytes first) const;

 private:
  magic_set* types_;
  magic_set* extensions_;
};

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
// ScriptSafe: JSON made fit to stand inside a script element of HTML, whatever the strings in it hold.
#pragma once

#include <string>
#include <string_view>

#include "lacuna/report.h"

namespace lacuna::report {

/// A filter before a sink. Outside of strings JSON has none of the characters that it replaces, so each becomes \uHHHH:
/// '<', '>' and '&', with which an element could be ended or a comment begun (HTML, "Restrictions for contents of
/// script elements"); the separators U+2028 and U+2029, which end lines in older scripts; and DEL, the C1 controls and
/// the characters that reorder text (UAX #9), so that the page's source reads as what it is. A character may lie across
/// two pieces. Both sinks must outlive it.
class ScriptSafe {
 public:
  explicit ScriptSafe(const Sink& to) : to_(to), sink_([this](std::string_view piece) { take(piece); }) {}
  ScriptSafe(const ScriptSafe&) = delete;
  ScriptSafe& operator=(const ScriptSafe&) = delete;

  const Sink& sink() const noexcept { return sink_; }
  /// Hands on the bytes of a character that never ended.
  void finish() {
    if (!begun_.empty()) to_(begun_);
    begun_.clear();
  }

 private:
  void take(std::string_view piece);

  const Sink& to_;
  Sink sink_;
  std::string begun_;  // The first bytes of a character whose others are yet to come.
  std::string out_;
};

}  // namespace lacuna::report

// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as texts of UDF: names, dstrings, targets of symbolic links, times, identifiers.
#include <algorithm>
#include <string>

#include "base/text.h"
#include "fuzz/promise.h"
#include "udf/decode/basic.h"
#include "udf/decode/cs0.h"
#include "udf/decode/path_components.h"

namespace {

using namespace lacuna;
using namespace lacuna::udf;
using test::require;

void check_characters(const std::string& text, bool slash_allowed) {
  for (const char c : text) require((slash_allowed || c != '/') && static_cast<unsigned char>(c) >= 0x20 && c != 0x7f);
  // Well-formed: nothing in it needs escaping for display. The letter keeps spaces from being trimmed.
  require(field_text(as_bytes(text + 'x')) == text + 'x');
}

void check_name(Bytes input) {
  std::string name;
  const Cs0Form form = append_cs0_name(name, input);
  require(form == cs0_form(input) && (form == Cs0Form::kEmpty) == input.empty());
  check_characters(name, false);
  check_characters(cs0_display(input), true);
  // Those of 8 and 16 bits are undone to their UTF-8; what is kept byte by byte, to the bytes.
  if (form == Cs0Form::kUnknown) require(unescape_name(name) == as_text(input));
}

void check_dstring(Bytes input) {
  const Dstring d = decode_dstring(input);
  test::require_inside(input, {d.text});
  require(d.text.size() <= (input.empty() ? 0 : input.size() - 1));
  require(!is_dstring(input) || d.count_valid);
  check_characters(dstring_display(input), true);
}

void check_path(Bytes input) {
  PathComponentReader reader(input);
  std::size_t bytes = 0;
  while (const auto c = reader.next()) {
    test::require_inside(input, {c->identifier});
    bytes += 4 + c->identifier.size();
  }
  require(bytes <= input.size() && reader.stop() != PathComponentReader::Stop::kNone);
  require((reader.stop() == PathComponentReader::Stop::kEnd) == (bytes == input.size()));

  const SymlinkTarget t = decode_symlink_target(input);
  check_characters(t.path, true);
  require(((t.problems & path_problem::kOverrun) != 0) == (bytes != input.size()));
  require(t.path.find("//") == std::string::npos);
  require(t.path.size() <= input.size() * 3, "a path grows with its content only");
}

void check_types(Bytes input) {
  const RecordedTime t = decode_timestamp(input);
  require(!t.time.known || (t.problems & time_problem::kNotADate) == 0);
  require(t.time.known || t.time == Timestamp{});
  require(!t.time.known || !to_iso8601(t.time).empty() || t.time.zone_minutes != 0);
  if (input.size() >= kRegidBytes) {
    const Regid r = regid_at(input, input.size() - kRegidBytes);
    require(r.identifier().size() <= 23 && r.is(r.identifier()));
    test::require_inside(input, {as_bytes(r.identifier()), r.suffix()});
    require(os_class_name(r.udf_system().os_class).size() < 20);
  }
  is_osta_charspec(input);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const Bytes input(data, std::min<std::size_t>(size, 4096));
  check_name(input);
  check_dstring(input);
  check_path(input);
  check_types(input);
  return 0;
}

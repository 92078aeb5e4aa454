// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as names and identifiers: what comes out is well-formed, holds nothing that a path must not hold, and can
// be undone.
#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include "base/text.h"
#include "fuzz/promise.h"
#include "iso9660/decode/identifier.h"

namespace {

using namespace lacuna;
using test::require;

void check_name(const std::string& name) {
  for (const char c : name) require(c != '/' && static_cast<unsigned char>(c) >= 0x20 && c != 0x7f);
  // Well-formed: nothing in it needs escaping for display. The letter keeps spaces from being trimmed.
  require(field_text(as_bytes(name + 'x')) == name + 'x');
}

void check_identifier(const iso9660::FileIdentifier& f, Bytes input) {
  test::require_inside(input, {f.base, f.name, f.extension});
  require(f.base.size() <= input.size() && f.base.empty() == input.empty());
  require(f.name.size() + f.extension.size() <= f.base.size());
}

/// Opened once: iconv loads a module for each.
std::vector<NameDecoder>& decoders() {
  static std::vector<NameDecoder> all = [] {
    std::vector<NameDecoder> opened;
    for (const char* charset : {"", "CP437", "SHIFT_JIS", "BIG5-HKSCS", "ISO-2022-JP"}) {
      auto decoder = NameDecoder::open(charset);
      require(decoder.ok());
      opened.push_back(std::move(decoder).value());
    }
    return opened;
  }();
  return all;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const Bytes input(data, std::min<std::size_t>(size, 512));  // identifiers have at most 255 bytes
  std::string name;
  append_name_utf8(name, input);
  check_name(name);
  require(unescape_name(name) == as_text(input));

  name.clear();
  append_name_ucs2(name, input);
  check_name(name);
  field_text_ucs2(input);

  for (NameDecoder& decoder : decoders()) {
    name.clear();
    decoder.append(name, input);
    check_name(name);
  }

  check_identifier(iso9660::split_identifier(input), input);
  check_identifier(iso9660::split_identifier_ucs2(input), input);
  return 0;
}

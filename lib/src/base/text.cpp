// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/text.h"

#include <fmt/format.h>
#include <iconv.h>

#include <array>
#include <bit>
#include <cerrno>
#include <utility>

namespace lacuna {
namespace {

constexpr char kHex[] = "0123456789ABCDEF";

void append_escaped(std::string& to, std::uint8_t byte) {
  to += '%';
  to += kHex[byte >> 4];
  to += kHex[byte & 15];
}

constexpr int hex_value(unsigned c) {
  if (c >= '0' && c <= '9') return static_cast<int>(c - '0');
  if (c >= 'A' && c <= 'F') return static_cast<int>(c - 'A' + 10);
  if (c >= 'a' && c <= 'f') return static_cast<int>(c - 'a' + 10);
  return -1;
}
constexpr bool is_hex(unsigned c) { return hex_value(c) >= 0; }

constexpr bool is_control(unsigned c) { return c < 0x20 || c == 0x7f; }

/// Bytes of the well-formed UTF-8 sequence at the start of `b`, 0 when there is none (The Unicode Standard, table 3-7:
/// no overlong forms, no surrogates, nothing above 10FFFF).
std::size_t utf8_sequence(Bytes b) {
  const std::uint8_t lead = b[0];
  if (lead < 0x80) return 1;
  std::size_t length = 0;
  std::uint8_t low = 0x80, high = 0xbf;  // range of the second byte
  if (lead >= 0xc2 && lead <= 0xdf) {
    length = 2;
  } else if (lead >= 0xe0 && lead <= 0xef) {
    length = 3;
    if (lead == 0xe0) low = 0xa0;
    if (lead == 0xed) high = 0x9f;
  } else if (lead >= 0xf0 && lead <= 0xf4) {
    length = 4;
    if (lead == 0xf0) low = 0x90;
    if (lead == 0xf4) high = 0x8f;
  }
  if (length == 0 || b.size() < length || b[1] < low || b[1] > high) return 0;
  for (std::size_t i = 2; i < length; ++i) {
    if (b[i] < 0x80 || b[i] > 0xbf) return 0;
  }
  return length;
}

/// Characters that stand for themselves in every form; nearly all of most names.
constexpr bool is_plain(unsigned c) { return c >= 0x20 && c < 0x7f && c != '/' && c != '%'; }

enum class Form : std::uint8_t {
  kName,   // can be undone: '/' and an ambiguous '%' are escaped
  kField,  // for display
};

void append_utf8_form(std::string& to, Bytes raw, Form form) {
  for (std::size_t i = 0; i < raw.size();) {
    std::size_t plain = i;
    while (plain < raw.size() && is_plain(raw[plain])) ++plain;
    to += as_text(raw.subspan(i, plain - i));
    i = plain;
    if (i == raw.size()) return;
    const std::uint8_t c = raw[i];
    const std::size_t length = utf8_sequence(raw.subspan(i));
    const bool ambiguous = form == Form::kName &&
                           (c == '/' || (c == '%' && raw.size() - i > 2 && is_hex(raw[i + 1]) && is_hex(raw[i + 2])));
    if (length == 0 || is_control(c) || ambiguous) {
      append_escaped(to, c);
      ++i;
    } else {
      to += as_text(raw.subspan(i, length));
      i += length;
    }
  }
}

constexpr bool is_high_surrogate(unsigned u) { return u >= 0xd800 && u <= 0xdbff; }
constexpr bool is_low_surrogate(unsigned u) { return u >= 0xdc00 && u <= 0xdfff; }

void append_ucs2_form(std::string& to, Bytes raw, Form form) {
  const std::size_t end = raw.size() & ~std::size_t{1};
  const auto hex_unit = [&](std::size_t at) { return at < end && raw[at] == 0 && is_hex(raw[at + 1]); };
  for (std::size_t i = 0; i < end; i += 2) {
    std::size_t plain = i;
    while (plain < end && raw[plain] == 0 && is_plain(raw[plain + 1])) plain += 2;
    const std::size_t at = to.size();
    to.resize(at + (plain - i) / 2);
    for (std::size_t k = at; i < plain; i += 2) to[k++] = static_cast<char>(raw[i + 1]);
    if (i == end) break;
    const std::uint16_t unit = be16(raw, i);
    if (is_high_surrogate(unit) && i + 2 < end && is_low_surrogate(be16(raw, i + 2))) {
      append_utf8(to, 0x10000u + (static_cast<char32_t>(unit - 0xd800u) << 10) + (be16(raw, i + 2) - 0xdc00u));
      i += 2;
    } else if (is_high_surrogate(unit) || is_low_surrogate(unit) || unit >= 0xfffe) {
      append_escaped(to, raw[i]);
      append_escaped(to, raw[i + 1]);
    } else if (is_control(unit) ||
               (form == Form::kName && (unit == '/' || (unit == '%' && hex_unit(i + 2) && hex_unit(i + 4))))) {
      append_escaped(to, static_cast<std::uint8_t>(unit));
    } else {
      append_utf8(to, unit);
    }
  }
  if (end != raw.size()) append_escaped(to, raw[end]);
}

// POSIX: what iconv_open and iconv give when they fail, each -1 in its type.
const iconv_t kNoConverter = std::bit_cast<iconv_t>(std::intptr_t{-1});
constexpr std::size_t kIconvFailed = ~std::size_t{0};

}  // namespace

void append_utf8(std::string& to, char32_t c) {
  const auto put = [&](char32_t byte) { to += static_cast<char>(static_cast<unsigned char>(byte)); };
  if (c < 0x80) {
    put(c);
  } else if (c < 0x800) {
    put(0xc0 | c >> 6);
    put(0x80 | (c & 0x3f));
  } else if (c < 0x10000) {
    put(0xe0 | c >> 12);
    put(0x80 | (c >> 6 & 0x3f));
    put(0x80 | (c & 0x3f));
  } else {
    put(0xf0 | c >> 18);
    put(0x80 | (c >> 12 & 0x3f));
    put(0x80 | (c >> 6 & 0x3f));
    put(0x80 | (c & 0x3f));
  }
}

void append_name_utf8(std::string& to, Bytes raw) { append_utf8_form(to, raw, Form::kName); }

void append_name_ucs2(std::string& to, Bytes raw) { append_ucs2_form(to, raw, Form::kName); }

std::string unescape_name(std::string_view name) {
  std::string raw;
  raw.reserve(name.size());
  const Bytes b = as_bytes(name);
  for (std::size_t i = 0; i < b.size(); ++i) {
    if (b[i] == '%' && b.size() - i > 2 && is_hex(b[i + 1]) && is_hex(b[i + 2])) {
      raw += static_cast<char>(static_cast<unsigned char>(hex_value(b[i + 1]) << 4 | hex_value(b[i + 2])));
      i += 2;
    } else {
      raw += name[i];
    }
  }
  return raw;
}

std::string field_text(Bytes raw) {
  while (!raw.empty() && (raw.back() == ' ' || raw.back() == 0)) raw = raw.first(raw.size() - 1);
  std::string text;
  append_utf8_form(text, raw, Form::kField);
  return text;
}

std::string field_text_ucs2(Bytes raw) {
  // Fields of odd length (37 bytes) end in a byte that belongs to no character.
  raw = raw.first(raw.size() & ~std::size_t{1});
  while (!raw.empty() && (be16(raw, raw.size() - 2) == ' ' || be16(raw, raw.size() - 2) == 0)) {
    raw = raw.first(raw.size() - 2);
  }
  std::string text;
  append_ucs2_form(text, raw, Form::kField);
  return text;
}

struct NameDecoder::Impl {
  explicit Impl(iconv_t c) : converter(c) {}
  Impl(const Impl&) = delete;
  Impl& operator=(const Impl&) = delete;
  ~Impl() { iconv_close(converter); }

  iconv_t converter;
  // Kept for their memory; iconv takes bytes that are not const.
  std::string input;
  std::string converted;
};

NameDecoder::NameDecoder(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
NameDecoder::NameDecoder(NameDecoder&&) noexcept = default;
NameDecoder& NameDecoder::operator=(NameDecoder&&) noexcept = default;
NameDecoder::~NameDecoder() = default;

Result<NameDecoder> NameDecoder::open(const std::string& charset) {
  if (charset.empty()) return NameDecoder(nullptr);
  // A NUL would end the name early, and iconv takes an empty name (before "//") as the locale's charset.
  const bool named = charset.find('\0') == std::string::npos && !charset.starts_with('/');
  iconv_t converter = named ? iconv_open("UTF-8", charset.c_str()) : kNoConverter;
  if (converter == kNoConverter) {
    return Error{ErrorCode::kUsage, fmt::format("unknown charset '{}' (iconv -l lists those known)", charset)};
  }
  return NameDecoder(std::make_unique<Impl>(converter));
}

void NameDecoder::append(std::string& to, Bytes raw) {
  if (!impl_) return append_name_utf8(to, raw);
  const iconv_t converter = impl_->converter;
  std::string& input = impl_->input;
  std::string& converted = impl_->converted;
  input.assign(as_text(raw));
  converted.clear();

  char* in = input.data();
  std::size_t in_left = input.size();
  // One call of iconv, its output kept. `from` may be null: then what the converter holds back is given out, and its
  // shift state is the initial one again.
  const auto convert = [&](char** from, std::size_t* from_left) {
    std::array<char, 512> buffer;
    char* out = buffer.data();
    std::size_t out_left = buffer.size();
    const std::size_t result = iconv(converter, from, from_left, &out, &out_left);
    const int error = result == kIconvFailed ? errno : 0;
    converted.append(buffer.data(), buffer.size() - out_left);
    return error;
  };
  const auto take_converted = [&] {
    append_name_utf8(to, as_bytes(converted));
    converted.clear();
  };

  while (in_left != 0) {
    const std::size_t before = in_left + converted.size();
    const int error = convert(&in, &in_left);
    if (error == 0 || (error == E2BIG && in_left + converted.size() != before)) continue;
    // A byte that the charset doesn't define, or a sequence cut off by the end of the name.
    convert(nullptr, nullptr);
    take_converted();
    append_escaped(to, static_cast<std::uint8_t>(*in));
    ++in;
    --in_left;
  }
  convert(nullptr, nullptr);
  take_converted();
}

}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/signatures.h"

#include <magic.h>

#include <algorithm>

namespace lacuna {
namespace {

magic_set* open(int flags) {
  magic_set* set = magic_open(flags);
  if (set != nullptr && magic_load(set, nullptr) != 0) {
    magic_close(set);
    return nullptr;
  }
  return set;
}

void close(magic_set* set) {
  if (set != nullptr) magic_close(set);
}

std::string ask(magic_set* set, Bytes first) {
  const char* text = set != nullptr ? magic_buffer(set, first.data(), first.size()) : nullptr;
  return text != nullptr ? text : "";
}

}  // namespace

Signatures::Signatures() : types_(open(MAGIC_MIME_TYPE)), extensions_(open(MAGIC_EXTENSION)) {}

Signatures::~Signatures() {
  close(types_);
  close(extensions_);
}

std::string Signatures::type(Bytes first) const {
  const std::string text = ask(types_, first);
  return text == "application/octet-stream" || text.find('/') == std::string::npos ? std::string{} : text;
}

std::string Signatures::extension(Bytes first) const {
  std::string text = ask(extensions_, first);
  text = text.substr(0, text.find('/'));
  const bool known = !text.empty() &&
                     std::ranges::all_of(text, [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'); });
  return known ? text : "data";
}

}  // namespace lacuna

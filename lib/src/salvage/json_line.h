// SPDX-License-Identifier: GPL-3.0-or-later
// One line of a JSONL file that the library writes.
#pragma once

#include <rapidjson/stringbuffer.h>
#include <rapidjson/writer.h>

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace lacuna {

/// JSON holds UTF-8 only, and names of this computer's files may be anything: ill-formed bytes become %HH.
std::string valid_utf8(std::string_view text);

/// An object, open from the start.
class LineWriter {
 public:
  LineWriter() : json_(buffer_) { json_.StartObject(); }

  void key(std::string_view name) { json_.Key(name.data(), static_cast<rapidjson::SizeType>(name.size())); }
  void value(std::string_view text) {
    const std::string valid = valid_utf8(text);
    json_.String(valid.data(), static_cast<rapidjson::SizeType>(valid.size()));
  }
  void value(std::uint64_t number) { json_.Uint64(number); }
  void put(std::string_view name, std::string_view text) { key(name), value(text); }
  void put(std::string_view name, std::uint64_t number) { key(name), json_.Uint64(number); }
  void put_signed(std::string_view name, std::int64_t number) { key(name), json_.Int64(number); }
  void put_flag(std::string_view name, bool flag) { key(name), json_.Bool(flag); }
  void put_if(std::string_view name, bool flag) {
    if (flag) put_flag(name, flag);
  }
  void put_text(std::string_view name, std::string_view text) {
    if (!text.empty()) put(name, text);
  }
  void put_texts(std::string_view name, const std::vector<std::string>& texts) {
    if (texts.empty()) return;
    array(name, texts, [&](const std::string& t) { value(t); });
  }
  template <class Items, class F>
  void array(std::string_view name, const Items& items, F&& each) {
    key(name), json_.StartArray();
    for (const auto& item : items) each(item);
    json_.EndArray();
  }
  void open(std::string_view name) { key(name), json_.StartObject(); }
  void open() { json_.StartObject(); }
  void close() { json_.EndObject(); }
  std::string finish() {
    json_.EndObject();
    return {buffer_.GetString(), buffer_.GetSize()};
  }

 private:
  rapidjson::StringBuffer buffer_;
  rapidjson::Writer<rapidjson::StringBuffer> json_;
};

}  // namespace lacuna

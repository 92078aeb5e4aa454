// SPDX-License-Identifier: GPL-3.0-or-later
// Json: RapidJSON's writer over an Out, with the parts that several reports share.
#pragma once

#include <rapidjson/writer.h>

#include <optional>
#include <string_view>

#include "lacuna/disc.h"
#include "lacuna/report.h"
#include "lacuna/timestamp.h"
#include "lacuna/verdict.h"
#include "report/out.h"

namespace lacuna::report {

class Json {
 public:
  explicit Json(Out& out) : out_(out), writer_(out) {}

  void open_object() { writer_.StartObject(); }
  void close_object() {
    writer_.EndObject();
    out_.hand_on();
  }
  void open_array() { writer_.StartArray(); }
  void close_array() { writer_.EndArray(); }
  void open_object(std::string_view key) { name(key), open_object(); }
  void open_array(std::string_view key) { name(key), open_array(); }

  void name(std::string_view key) { writer_.Key(key.data(), static_cast<rapidjson::SizeType>(key.size())); }
  void value(std::string_view text);
  void value(const char* text) { value(std::string_view(text)); }
  void value(std::uint64_t number) { writer_.Uint64(number); }
  void value(std::uint32_t number) { writer_.Uint64(number); }
  void value(std::int64_t number) { writer_.Int64(number); }
  void value(bool truth) { writer_.Bool(truth); }
  void value(double number) { writer_.Double(number); }
  /// ISO 8601, null when not known.
  void value(const Timestamp& t);
  template <class T>
  void value(const std::optional<T>& v) {
    v ? value(*v) : null();
  }
  void null() { writer_.Null(); }
  template <class T>
  void put(std::string_view key, const T& v) {
    name(key);
    value(v);
  }
  /// Only what is there.
  void put_text(std::string_view key, std::string_view text) {
    if (!text.empty()) put(key, text);
  }

  /// Begins another root value: the next element or line.
  void restart() { writer_.Reset(out_); }

 private:
  Out& out_;
  rapidjson::Writer<Out> writer_;
};

/// "image": {…} and "summary": {…}, the same in every report on a disc. The summary's object stays open for more;
/// close it with close_object().
void put_image(Json& json, const Disc& disc, const Verdicts& verdicts, const ReportContext& context);
void open_summary(Json& json, const Disc& disc, const Verdicts& verdicts);

/// {"lba", "skip" (bytes into the first sector, when it does not start at its border)}, members only; "zeros":true for
/// kZeros, "lba":null for kNowhere.
void put_place(Json& json, std::uint64_t position);
void put_findings(Json& json, const Findings& findings);

}  // namespace lacuna::report

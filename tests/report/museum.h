// SPDX-License-Identifier: GPL-3.0-or-later
// The disc that the tests of reports look at, written by hand: every state, kind and oddity once.
#pragma once

#include <gtest/gtest.h>
#include <rapidjson/document.h>

#include <memory>
#include <string>
#include <vector>

#include "lacuna/hits.h"
#include "lacuna/report.h"
#include "salvage/hand_disc.h"
#include "support/memory_image.h"

namespace lacuna::test {

inline Timestamp date(int year, int month, int day, int hour, int minute, int zone_minutes = 0) {
  return *make_timestamp(year, month, day, hour, minute, 0, 0, zone_minutes);
}

/// A disc of 100 sectors with a map: 30..31 bad, 40 unread, 45 bad (a path table), 50 suspect, 99 bad (used by
/// nothing).
class Museum {
 public:
  explicit Museum(std::string image_name = "museum.iso", bool with_map = true);

  const Image& image() const { return *image_; }
  const Disc& disc() const { return hand_->disc(); }
  const Verdicts& verdicts() const { return *verdicts_; }
  const Hits& hits() const { return hits_; }
  NodeId id(std::string_view path) const { return hand_->id(path); }

 private:
  void fill(DiscBuilder& builder);

  std::unique_ptr<Image> image_;
  std::unique_ptr<HandDisc> hand_;
  std::unique_ptr<Verdicts> verdicts_;
  Hits hits_;
};

/// What a report hands to its sink, in one piece.
template <class F>
std::string text_of(F&& write) {
  std::string text;
  const Sink sink = [&text](std::string_view piece) { text.append(piece); };
  write(sink);
  return text;
}

inline std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    lines.push_back(text.substr(at, end - at));
    at = end + 1;
  }
  return lines;
}

inline rapidjson::Document json_of(const std::string& text) {
  rapidjson::Document d;
  d.Parse<rapidjson::kParseValidateEncodingFlag>(text.c_str());
  EXPECT_FALSE(d.HasParseError()) << "at byte " << d.GetErrorOffset() << " of " << text;
  return d;
}

/// The file of a listing.
inline const rapidjson::Value& file_named(const rapidjson::Document& d, const std::string& path) {
  for (const auto& f : d["files"].GetArray()) {
    if (f["path"].GetString() == path) return f;
  }
  ADD_FAILURE() << "no file " << path;
  return d["files"][0];
}

/// The members' names in their order, comma-separated.
inline std::string keys_of(const rapidjson::Value& object) {
  std::string keys;
  for (const auto& m : object.GetObject()) keys.append(keys.empty() ? "" : ",").append(m.name.GetString());
  return keys;
}

}  // namespace lacuna::test

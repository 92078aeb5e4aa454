// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/toc_sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <utility>

#include "lacuna/states.h"
#include "media/map_rows.h"

namespace lacuna {
namespace {

constexpr std::size_t kMaxTocTracks = 99;
constexpr std::uint64_t kSubchannelBytes = 96;
constexpr std::uint64_t kTocSampleBytes = 4;
constexpr std::uint64_t kMostTocBytes = kMaxSectors * kRawSectorBytes;

struct TocMode {
  std::string_view word;
  std::uint16_t bytes;
  UnitLayout::Holds holds;
};

constexpr std::array<TocMode, 8> kTocModes = {{
    {"AUDIO", 2352, UnitLayout::Holds::kRaw},
    {"MODE1", 2048, UnitLayout::Holds::kUser},
    {"MODE1_RAW", 2352, UnitLayout::Holds::kRaw},
    {"MODE2", 2336, UnitLayout::Holds::kMode2},
    {"MODE2_FORM1", 2048, UnitLayout::Holds::kUser},
    {"MODE2_FORM2", 2324, UnitLayout::Holds::kForm2},
    {"MODE2_FORM_MIX", 2336, UnitLayout::Holds::kMode2},
    {"MODE2_RAW", 2352, UnitLayout::Holds::kRaw},
}};

const TocMode* mode_of(std::string_view word) {
  const auto at = std::find_if(kTocModes.begin(), kTocModes.end(), [&](const TocMode& m) { return m.word == word; });
  return at == kTocModes.end() ? nullptr : &*at;
}

bool is_disc_kind(std::string_view word) {
  return word == "CD_DA" || word == "CD_ROM" || word == "CD_ROM_XA" || word == "CD_I";
}

// Words, strings and single signs; "//" begins a comment. An empty word is the end.
struct Token {
  std::string text;
  bool string = false;
  std::size_t line = 1;
  bool end() const { return text.empty() && !string; }
};

class TocTokens {
 public:
  explicit TocTokens(std::string_view text) : rest_(text) { next(); }

  const Token& peek() const { return token_; }
  Token take() {
    Token taken = std::move(token_);
    next();
    return taken;
  }

 private:
  void next() {
    skip_blanks();
    token_ = {{}, false, line_};
    if (rest_.empty()) return;
    if (rest_.front() == '"') return string();
    constexpr std::string_view kSigns = "{}:,";
    if (kSigns.find(rest_.front()) != std::string_view::npos) return word(1);
    // A time is one word, since its colons have digits on both sides.
    std::size_t end = 0;
    while (end < rest_.size() && std::string_view(" \t\r\n\"{},").find(rest_[end]) == std::string_view::npos) ++end;
    word(end);
  }

  void word(std::size_t length) {
    token_.text = rest_.substr(0, length);
    rest_.remove_prefix(length);
  }

  // With \" and \\ and octal \nnn.
  void string() {
    token_.string = true;
    for (rest_.remove_prefix(1); !rest_.empty() && rest_.front() != '"'; rest_.remove_prefix(1)) {
      if (rest_.front() == '\n') ++line_;
      if (rest_.front() != '\\' || rest_.size() < 2) {
        token_.text += rest_.front();
        continue;
      }
      rest_.remove_prefix(1);
      const auto digit = [&](std::size_t i) { return i < rest_.size() && rest_[i] >= '0' && rest_[i] <= '7'; };
      if (digit(0) && digit(1) && digit(2)) {
        const int value = (rest_[0] - '0') * 64 + (rest_[1] - '0') * 8 + (rest_[2] - '0');
        if (value != 0) token_.text += static_cast<char>(value & 0xFF);
        rest_.remove_prefix(2);
      } else {
        token_.text += rest_.front();
      }
    }
    if (!rest_.empty()) rest_.remove_prefix(1);
  }

  void skip_blanks() {
    for (;;) {
      if (rest_.starts_with("//")) rest_.remove_prefix(std::min(rest_.find('\n'), rest_.size()));
      if (rest_.empty() || std::string_view(" \t\r\n").find(rest_.front()) == std::string_view::npos) return;
      if (rest_.front() == '\n') ++line_;
      rest_.remove_prefix(1);
    }
  }

  std::string_view rest_;
  std::size_t line_ = 1;
  Token token_;
};

class TocParser {
 public:
  TocParser(std::string_view text, const std::string& name) : tokens_(text), name_(name) {
    sheet_.charset = charset_of(text);
  }

  Result<TocSheet> parse() {
    std::string why;
    while (why.empty() && !tokens_.peek().end()) {
      line_ = tokens_.peek().line;
      why = take(tokens_.take());
    }
    if (why.empty() && sheet_.tracks.empty()) why = "names no track";
    if (why.empty()) why = check_last();
    if (!why.empty()) return bad_line(name_, line_, why);
    return std::move(sheet_);
  }

 private:
  // Each gives a reason when the statement is bad, else nothing.
  std::string take(const Token& token) {
    const std::string& word = token.text;
    if (token.string) return fmt::format("{} stands where a word should", quoted_input(word));
    if (is_disc_kind(word) || word == "COPY" || word == "PRE_EMPHASIS" || word == "TWO_CHANNEL_AUDIO" ||
        word == "FOUR_CHANNEL_AUDIO") {
      return {};
    }
    if (word == "NO") return tokens_.take(), std::string();  // COPY, PRE_EMPHASIS
    if (word == "CATALOG") return tokens_.take(), std::string();
    if (word == "CD_TEXT") return take_cd_text();
    if (word == "TRACK") return take_track();
    if (sheet_.tracks.empty()) return fmt::format("{} needs a TRACK before it", quoted_input(word));
    TocTrack& track = sheet_.tracks.back();
    if (word == "ISRC") {
      track.isrc = shown(tokens_.take().text);
      return {};
    }
    if (word == "FILE" || word == "AUDIOFILE" || word == "DATAFILE") return take_file(word == "DATAFILE");
    if (word == "SILENCE" || word == "ZERO") return take_silence();
    if (word == "PREGAP") {
      if (track.start_bytes) return "PREGAP stands behind START, or twice";
      if (std::string why = take_silence(); !why.empty()) return why;
      track.start_bytes = *track.parts.back().bytes;
      return {};
    }
    if (word == "START") return take_start();
    if (word == "INDEX") return take_length().has_value() ? std::string() : "INDEX needs a time";
    if (word == "FIFO") return "takes its sectors from a pipe, which an image can't";
    return fmt::format("unknown word {}", quoted_input(word));
  }

  std::string take_track() {
    if (std::string why = check_last(); !why.empty()) return why;
    if (sheet_.tracks.size() == kMaxTocTracks) return fmt::format("names more than {} tracks", kMaxTocTracks);
    const Token word = tokens_.take();
    const TocMode* mode = mode_of(word.text);
    if (mode == nullptr) return fmt::format("unknown mode of a track, {}", quoted_input(word.text));
    TocTrack track;
    track.audio = mode->word == "AUDIO";
    track.unit.bytes = mode->bytes;
    track.unit.holds = mode->holds;
    if (tokens_.peek().text == "RW" || tokens_.peek().text == "RW_RAW") {
      tokens_.take();
      track.unit.bytes = static_cast<std::uint16_t>(mode->bytes + kSubchannelBytes);
    }
    sheet_.tracks.push_back(std::move(track));
    return {};
  }

  // FILE "NAME" [SWAP] [#BYTE] START [LENGTH]; DATAFILE "NAME" [#BYTE] [LENGTH].
  std::string take_file(bool data_file) {
    TocTrack& track = sheet_.tracks.back();
    TocPart part;
    part.line = line_;
    const Token name = tokens_.take();
    part.file = name.text;
    if (!name.string || last_component(part.file).empty())
      return fmt::format("{} names no file", quoted_input(part.file));
    if (tokens_.peek().text == "SWAP") {
      tokens_.take();
      part.swap = true;
    }
    if (tokens_.peek().text.starts_with('#')) {
      const std::string offset = tokens_.take().text;
      const auto bytes = parse_decimal(std::string_view(offset).substr(1), kMostTocBytes);
      if (!bytes) return fmt::format("{} is no place in a file", quoted_input(offset));
      part.at_byte = *bytes;
    }
    const std::optional<std::uint64_t> first = take_length();
    const std::optional<std::uint64_t> second = data_file ? std::nullopt : take_length();
    if (!data_file) part.at_byte += first.value_or(0);
    const std::optional<std::uint64_t> length = data_file ? first : second;
    if (length && *length > 0) part.bytes = length;  // 0: up to the end
    track.parts.push_back(std::move(part));
    return {};
  }

  std::string take_silence() {
    TocPart part;
    part.line = line_;
    if (mode_of(tokens_.peek().text) != nullptr) tokens_.take();  // ZERO may name its mode, and a subchannel
    if (tokens_.peek().text == "RW" || tokens_.peek().text == "RW_RAW") tokens_.take();
    part.bytes = take_length();
    if (!part.bytes) return "needs a length";
    sheet_.tracks.back().parts.push_back(std::move(part));
    return {};
  }

  std::string take_start() {
    TocTrack& track = sheet_.tracks.back();
    if (track.start_bytes) return "START stands behind PREGAP, or twice";
    track.start_bytes = take_length();
    if (track.start_bytes) return {};
    std::uint64_t before = 0;  // up to here
    for (const TocPart& part : track.parts) {
      if (!part.bytes) return "START needs a time, as the length of the file before it is not stated";
      before += *part.bytes;
    }
    track.start_bytes = before;
    return {};
  }

  // mm:ss:ff, or a number of samples (audio) or bytes, in bytes of the track's units.
  std::optional<std::uint64_t> take_length() {
    const Token& token = tokens_.peek();
    if (token.string) return std::nullopt;
    const TocTrack& track = sheet_.tracks.back();
    std::optional<std::uint64_t> bytes = parse_msf(token.text);
    if (bytes) {
      *bytes *= track.unit.bytes;
    } else if ((bytes = parse_decimal(token.text, kMostTocBytes)) && track.audio) {
      *bytes *= kTocSampleBytes;
    }
    if (bytes) tokens_.take();
    return bytes;
  }

  // CD_TEXT { LANGUAGE 0 { TITLE "..." } LANGUAGE 1 { ... } }: the first text of each kind counts.
  std::string take_cd_text() {
    TocTrack* track = sheet_.tracks.empty() ? nullptr : &sheet_.tracks.back();
    std::size_t depth = 0;
    do {
      const Token token = tokens_.take();
      if (token.end()) return "CD_TEXT is not closed";
      if (token.string) continue;
      if (token.text == "{") ++depth;
      if (token.text == "}" && depth > 0) --depth;
      if (track == nullptr || !tokens_.peek().string) continue;
      if (token.text == "TITLE" && track->title.empty()) track->title = shown(tokens_.peek().text);
      if (token.text == "PERFORMER" && track->performer.empty()) track->performer = shown(tokens_.peek().text);
    } while (depth > 0);
    return {};
  }

  std::string check_last() const {
    if (sheet_.tracks.empty() || !sheet_.tracks.back().parts.empty()) return {};
    return fmt::format("track {} holds nothing", sheet_.tracks.size());
  }

  // Escapes may make ISO 8859-1 of a string in a sheet without it.
  std::string shown(std::string_view raw) const {
    return shown_text(raw, sheet_.charset == SheetCharset::kUtf8 ? charset_of(raw) : sheet_.charset);
  }

  TocTokens tokens_;
  const std::string& name_;
  TocSheet sheet_;
  std::size_t line_ = 1;
};

}  // namespace

bool looks_like_toc(std::string_view text) {
  TocTokens tokens(text);
  if (tokens.peek().text == "CATALOG") {
    tokens.take();
    tokens.take();
  }
  return !tokens.peek().string && is_disc_kind(tokens.peek().text);
}

Result<TocSheet> parse_toc_sheet(std::string_view text, const std::string& name) {
  return TocParser(text, name).parse();
}

}  // namespace lacuna

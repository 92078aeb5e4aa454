// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/cue_sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <optional>
#include <utility>

#include "lacuna/states.h"
#include "media/map_rows.h"

namespace lacuna {
namespace {

struct TrackKind {
  std::string_view word;
  std::uint16_t bytes;
  UnitLayout::Holds holds;
};

// libcdio 2.1, bincue.c, but for the last three, which are common practice without a source.
constexpr std::array<TrackKind, 10> kTrackKinds = {{
    {"AUDIO", 2352, UnitLayout::Holds::kRaw},
    {"MODE1/2048", 2048, UnitLayout::Holds::kUser},
    {"MODE1/2352", 2352, UnitLayout::Holds::kRaw},
    {"MODE2/2048", 2048, UnitLayout::Holds::kUser},
    {"MODE2/2324", 2324, UnitLayout::Holds::kForm2},
    {"MODE2/2336", 2336, UnitLayout::Holds::kMode2},
    {"MODE2/2352", 2352, UnitLayout::Holds::kRaw},
    {"CDG", 2448, UnitLayout::Holds::kRaw},
    {"CDI/2336", 2336, UnitLayout::Holds::kMode2},
    {"CDI/2352", 2352, UnitLayout::Holds::kRaw},
}};

constexpr std::uint64_t kMaxNumber = 99;  // of a track, an index, a session: two digits in the subchannel

// A line as words. A quoted word ends at the next quote, or with the line.
struct Word {
  std::string_view text;
  bool quoted = false;
};

std::vector<Word> words_of(std::string_view line) {
  std::vector<Word> words;
  for (line = trimmed(line); !line.empty(); line = trimmed(line)) {
    const bool quoted = line.front() == '"';
    if (quoted) line.remove_prefix(1);
    const std::size_t end = std::min(line.find_first_of(quoted ? "\"" : " \t"), line.size());
    words.push_back({line.substr(0, end), quoted});
    line.remove_prefix(std::min(end + (quoted ? 1 : 0), line.size()));
  }
  return words;
}

CueFile::Kind file_kind(std::string_view word) {
  using Kind = CueFile::Kind;
  constexpr std::array<std::pair<std::string_view, Kind>, 5> kKinds = {{{"BINARY", Kind::kBinary},
                                                                        {"MOTOROLA", Kind::kMotorola},
                                                                        {"WAVE", Kind::kWave},
                                                                        {"AIFF", Kind::kAiff},
                                                                        {"AIFC", Kind::kAiff}}};
  for (const auto& [name, kind] : kKinds) {
    if (same_word(word, name)) return kind;
  }
  return Kind::kOther;
}

class CueParser {
 public:
  CueParser(const std::string& name, Findings& findings) : name_(name), findings_(findings) {}

  Result<CueSheet> parse(std::string_view text) {
    sheet_.charset = charset_of(text);
    MapLines lines(text);
    std::string why;
    while (why.empty() && lines.next()) {
      line_ = lines.number();
      why = take(trimmed(lines.line()));
    }
    if (why.empty()) why = close_track();
    if (why.empty() && sheet_.tracks.empty()) why = "names no track; a cue sheet has FILE, TRACK and INDEX lines";
    if (!why.empty()) return bad_line(name_, std::max<std::size_t>(line_, 1), why);
    tell_unused_files();
    return std::move(sheet_);
  }

 private:
  // Each gives a reason when the line is bad, else nothing.
  std::string take(std::string_view line) {
    const std::vector<Word> words = words_of(line);
    if (words.empty()) return {};
    const std::string_view word = words.front().text;
    const std::string_view rest = trimmed(line.substr(std::min(word.size(), line.size())));
    const auto is = [&](std::string_view name) { return same_word(word, name); };
    if (is("REM")) return take_remark(words);
    if (is("FILE")) return take_file(words, rest);
    if (is("TRACK")) return take_track(words);
    if (is("INDEX")) return take_index(words);
    if (is("PREGAP")) return take_gap(words, "PREGAP", &CueTrack::pregap_sectors);
    if (is("POSTGAP")) return take_gap(words, "POSTGAP", &CueTrack::postgap_sectors);
    if (is("FLAGS")) return take_flags(words);
    if (is("ISRC")) {
      if (!in_track()) return "ISRC belongs to a track, but none began before it";
      return take_text(words, rest, sheet_.tracks.back().isrc);
    }
    if (is("CATALOG")) return take_text(words, rest, sheet_.catalog);
    if (is("CDTEXTFILE")) return take_text(words, rest, sheet_.cdtext_file);
    if (is("TITLE")) return take_text(words, rest, in_track() ? sheet_.tracks.back().title : sheet_.title);
    if (is("PERFORMER")) return take_text(words, rest, in_track() ? sheet_.tracks.back().performer : sheet_.performer);
    if (is("SONGWRITER")) {
      return take_text(words, rest, in_track() ? sheet_.tracks.back().songwriter : sheet_.songwriter);
    }
    findings_.add({Severity::kDoubt,
                   "layout-word",
                   name_,
                   {},
                   {},
                   fmt::format("line {} begins with {}, a word that cue sheets don't have; it was passed over", line_,
                               quoted_input(word))});
    return {};
  }

  bool in_track() const { return !sheet_.tracks.empty(); }

  std::string take_remark(const std::vector<Word>& words) {
    if (words.size() < 3 || !same_word(words[1].text, "SESSION")) return {};
    const auto number = parse_decimal(words[2].text, kMaxNumber);
    if (!number || *number < session_) {
      return fmt::format("session {} is no number from {} to {}", quoted_input(words[2].text), session_, kMaxNumber);
    }
    session_ = static_cast<std::uint32_t>(*number);
    return {};
  }

  // FILE "NAME" KIND; without quotes the last word is the kind, so that names may hold blanks.
  std::string take_file(const std::vector<Word>& words, std::string_view rest) {
    if (words.size() < 3) return "FILE needs a name and a kind: FILE \"disc.bin\" BINARY";
    const std::string_view kind = words.back().text;
    std::string_view name = words[1].text;
    if (words[1].quoted) {
      if (words.size() > 3) return "FILE has more than a name in quotes and a kind";
    } else {
      name = trimmed(rest.substr(0, rest.size() - std::min(kind.size(), rest.size())));
    }
    const std::string_view own_name = last_component(name);
    if (own_name.empty()) return fmt::format("{} names no file", quoted_input(name));
    const auto same = [&](const CueFile& f) { return last_component(f.name) == own_name; };
    const auto before = std::find_if(sheet_.files.begin(), sheet_.files.end(), same);
    if (before == sheet_.files.end()) {
      sheet_.files.push_back({std::string(name), file_kind(kind), std::string(kind), line_});
    } else if (before + 1 != sheet_.files.end()) {  // the file of the tracks just before may be named again
      return fmt::format("names the file of line {} again, with others between", before->line);
    }
    return {};
  }

  std::string take_track(const std::vector<Word>& words) {
    if (words.size() != 3) return "TRACK needs a number and a kind: TRACK 01 MODE1/2352";
    if (sheet_.files.empty()) return "TRACK needs a FILE before it";
    if (std::string why = close_track(); !why.empty()) return why;
    const auto number = parse_decimal(words[1].text, kMaxNumber);
    if (!number || *number == 0) {
      return fmt::format("track {} is no number from 1 to {}", quoted_input(words[1].text), kMaxNumber);
    }
    if (in_track() && *number <= sheet_.tracks.back().number) {
      return fmt::format("track {} comes after track {}", *number, sheet_.tracks.back().number);
    }
    const auto kind = std::find_if(kTrackKinds.begin(), kTrackKinds.end(),
                                   [&](const TrackKind& k) { return same_word(words[2].text, k.word); });
    if (kind == kTrackKinds.end()) {
      return fmt::format(
          "unknown kind of track {}; it is one of AUDIO, CDG, MODE1/2048, MODE1/2352, MODE2/2048, MODE2/2324, "
          "MODE2/2336, MODE2/2352, CDI/2336, CDI/2352",
          quoted_input(words[2].text));
    }
    CueTrack track;
    track.number = static_cast<std::uint32_t>(*number);
    track.session = std::max(session_, 1U);
    track.audio = kind->word == "AUDIO" || kind->word == "CDG";
    track.unit.bytes = kind->bytes;
    track.unit.holds = kind->holds;
    track.line = line_;
    sheet_.tracks.push_back(std::move(track));
    return {};
  }

  std::string take_index(const std::vector<Word>& words) {
    if (!in_track()) return "INDEX needs a TRACK before it";
    if (words.size() != 3) return "INDEX needs a number and a time: INDEX 01 00:00:00";
    const auto number = parse_decimal(words[1].text, kMaxNumber);
    if (!number) return fmt::format("index {} is no number from 0 to {}", quoted_input(words[1].text), kMaxNumber);
    const auto sectors = parse_msf(words[2].text);
    if (!sectors) return fmt::format("{} is no time in minutes:seconds:frames", quoted_input(words[2].text));
    const std::size_t file = sheet_.files.size() - 1;
    if (last_ && last_->file == file && last_->sectors > *sectors) {
      return fmt::format("INDEX goes back to {}, before the one above it", words[2].text);
    }
    CueTrack& track = sheet_.tracks.back();
    if (track.indexes.empty() ? *number > 1 : *number <= track.indexes.back().number) {
      return fmt::format("index {} of track {} is out of order; they begin with 00 or 01 and ascend", *number,
                         track.number);
    }
    track.indexes.push_back({static_cast<std::uint32_t>(*number), *sectors, file});
    last_ = track.indexes.back();
    return {};
  }

  std::string take_gap(const std::vector<Word>& words, std::string_view what, std::uint64_t CueTrack::*gap) {
    if (!in_track()) return fmt::format("{} needs a TRACK before it", what);
    const auto sectors = words.size() == 2 ? parse_msf(words[1].text) : std::nullopt;
    if (!sectors) return fmt::format("{} needs a time: {} 00:02:00", what, what);
    sheet_.tracks.back().*gap = *sectors;
    return {};
  }

  std::string take_flags(const std::vector<Word>& words) {
    if (!in_track()) return "FLAGS needs a TRACK before it";
    for (std::size_t i = 1; i < words.size(); ++i) {
      for (const std::string_view flag : {"DCP", "4CH", "PRE", "SCMS"}) {
        if (same_word(words[i].text, flag)) sheet_.tracks.back().flags.emplace_back(flag);
      }
    }
    return {};
  }

  std::string take_text(const std::vector<Word>& words, std::string_view rest, std::string& text) {
    text = shown_text(words.size() == 2 ? words[1].text : rest, sheet_.charset);
    return {};
  }

  void tell_unused_files() {
    std::vector<bool> used(sheet_.files.size());
    for (const CueTrack& track : sheet_.tracks) {
      for (const CueIndex& index : track.indexes) used[index.file] = true;
    }
    for (std::size_t i = 0; i < used.size(); ++i) {
      if (used[i]) continue;
      findings_.add({Severity::kDoubt,
                     "layout-file-unused",
                     shown_text(last_component(sheet_.files[i].name), sheet_.charset),
                     {},
                     {},
                     fmt::format("(line {}) has no index of any track; it was passed over", sheet_.files[i].line)});
    }
  }

  std::string close_track() {
    if (!in_track()) return {};
    const CueTrack& track = sheet_.tracks.back();
    const bool has_start =
        std::any_of(track.indexes.begin(), track.indexes.end(), [](const CueIndex& i) { return i.number == 1; });
    return has_start ? std::string() : fmt::format("track {} (line {}) has no INDEX 01", track.number, track.line);
  }

  const std::string& name_;
  Findings& findings_;
  CueSheet sheet_;
  std::optional<CueIndex> last_;
  std::uint32_t session_ = 0;  // 0: not named yet
  std::size_t line_ = 0;
};

}  // namespace

Result<CueSheet> parse_cue_sheet(std::string_view text, const std::string& name, Findings& findings) {
  return CueParser(name, findings).parse(text);
}

}  // namespace lacuna

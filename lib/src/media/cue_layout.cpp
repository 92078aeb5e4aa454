// SPDX-License-Identifier: GPL-3.0-or-later
// A sheet says where tracks begin in files, not on the disc. Their places follow from what lies before them: LBA 0 is
// the first sector of the first file (the two seconds before it, ECMA-130 20 from memory, are in no file), and sectors
// follow one another, PREGAP and POSTGAP counted. What the disc had between two sessions is in no file and not in the
// sheet: lead-out, lead-in and pregap, 6750 + 4500 + 150 sectors behind the first session, 2250 + 4500 + 150 behind
// later ones (multi-session practice as in the Orange Book; from memory). The length of a file that is missing is not
// known, so that the places behind it aren't either. Raw data sectors carry their addresses (ECMA-130 14.1), which
// decide in both cases.
#include "media/cue_layout.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <utility>

#include "media/layout_builder.h"
#include "media/map_rows.h"
#include "media/sample_file.h"

namespace lacuna {
namespace {

constexpr std::uint64_t kLeadIn = 4500, kFirstLeadOut = 6750, kLaterLeadOut = 2250, kFirstPause = 150;

struct OpenCueFile {
  std::size_t number = 0;            // of CueSheet::files
  std::optional<std::size_t> store;  // none: missing, or of a kind that is not read
  std::uint64_t first_byte = 0;      // of its sectors
  std::uint64_t bytes = 0;           // that are there
  std::uint64_t said_bytes = 0;      // that it says there are
  bool swapped = false;
  bool told_short = false;
};

class CuePlacer {
 public:
  CuePlacer(const CueSheet& sheet, const std::string& name, const SheetOpener& open, Findings& findings)
      : sheet_(sheet), name_(name), open_(open), builder_(name, findings) {}

  Result<TrackLayout> place() {
    for (const CueTrack& track : sheet_.tracks) {
      for (const CueIndex& index : track.indexes) {
        take(track, index);
        if (error_) return *error_;
      }
    }
    close_file();
    end_track();
    return builder_.finish(lba_);
  }

 private:
  // The next index, in the order of the sheet, which is that of the disc.
  void take(const CueTrack& track, const CueIndex& index) {
    const bool first = &index == &track.indexes.front();
    const bool fresh = !file_ || file_->number != index.file;
    if (fresh) {
      close_file();
    } else {
      advance(index.sectors, *track_);  // what lies before it belongs to what stands before it
    }
    if (first) begin_track(track, index);
    if (fresh) {
      open_file(index.file, track);
      if (error_) return;
    }
    track_ = &track;
    if (fresh || (first && (session_began_ || !exact_))) settle(track, first);
    if (fresh) advance(index.sectors, track);  // what no index names, at the start of a file
    if (index.number == 1) begin_sectors(track);
  }

  // What lies between two tracks without being in a file.
  void begin_track(const CueTrack& track, const CueIndex& index) {
    end_track();
    placed_end_ = lba_;
    session_began_ = track_ != nullptr && track.session != track_->session;
    if (session_began_) {
      const std::uint64_t gap =
          (track_->session == sheet_.tracks.front().session ? kFirstLeadOut : kLaterLeadOut) + kLeadIn + kFirstPause;
      // Up to index 1, before which the file may have some of the pregap.
      const auto start =
          std::find_if(track.indexes.begin(), track.indexes.end(), [](const CueIndex& i) { return i.number == 1; });
      const std::uint64_t stored = start->file == index.file ? start->sectors - index.sectors : 0;
      lba_ += gap - std::min(stored + track.pregap_sectors, gap);
    }
    pregap_lba_ = lba_;
    // The pause before LBA 0 is a part of the first track's pregap (ECMA-130 20; the number from memory).
    const std::uint64_t before_zero = track_ == nullptr ? kFirstPause : 0;
    lba_ += track.pregap_sectors - std::min(track.pregap_sectors, before_zero);
  }

  void begin_sectors(const CueTrack& track) {
    Track t;
    t.number = track.number;
    t.session = track.session;
    t.audio = track.audio;
    t.first_lba = lba_;
    t.pregap_sectors = lba_ - pregap_lba_;
    t.title = track.title;
    t.performer = track.performer;
    t.isrc = track.isrc;
    t.file = shown_name(file_->number);
    builder_.add_track(std::move(t));
  }

  void end_track() {
    if (track_ == nullptr) return;
    lba_ += track_->postgap_sectors;
    Track& t = builder_.tracks().back();
    t.sectors = lba_ - t.first_lba;
  }

  void open_file(std::size_t number, const CueTrack& track) {
    const CueFile& file = sheet_.files[number];
    file_.emplace();
    file_->number = number;
    sectors_ = byte_ = 0;
    const auto absent = [&](std::string_view kind, std::string_view why) {
      find(Severity::kLoss, kind,
           fmt::format("(line {}, from track {} on) {}; its sectors are absent", file.line, track.number, why));
    };
    if (file.kind == CueFile::Kind::kOther) {
      return absent("layout-file-kind",
                    fmt::format("is of the kind {}, which is not read", quoted_input(file.kind_word)));
    }
    SheetFile found = open_(file.name);
    if (!found.store) return absent("layout-file-missing", found.why);
    if (std::find(names_.begin(), names_.end(), found.found_as) != names_.end()) {
      error_ = bad_line(name_, file.line, "names a file that stands for other tracks already");
      return;
    }
    names_.push_back(found.found_as);
    Samples samples{0, found.store->size_bytes(), found.store->size_bytes(), file.kind == CueFile::Kind::kMotorola};
    if (file.kind == CueFile::Kind::kWave || file.kind == CueFile::Kind::kAiff) {
      Result<Samples> in_file = find_samples(*found.store);
      if (!in_file) return absent("layout-file-kind", in_file.error().message);
      samples = *in_file;
    }
    file_->store = builder_.add_store(std::move(found.store));
    file_->first_byte = samples.at_byte;
    file_->bytes = samples.bytes;
    file_->said_bytes = samples.said_bytes;
    file_->swapped = samples.big_endian;
    may_move_ = track_ != nullptr;  // something comes before it
  }

  // Where the addresses of the coming sectors say they are. A first file is not moved: nothing before it is in doubt.
  void settle(const CueTrack& track, bool begins) {
    const bool session_began = std::exchange(session_began_, false);
    const std::uint64_t left = file_->bytes - std::min(byte_, file_->bytes);
    if (!file_->store || !(may_move_ || session_began)) return;
    std::optional<std::uint64_t> own;
    if (!track.audio) {
      own =
          lba_by_headers(builder_.store(*file_->store), file_->first_byte + byte_, left / track.unit.bytes, track.unit);
    }
    if (own && *own >= std::max(placed_end_, held_end_)) {
      if (*own != lba_) {
        find(session_began || !exact_ ? Severity::kNote : Severity::kDoubt, "layout-place",
             fmt::format("begins track {} at LBA {} by the addresses of its sectors; by the sheet it would be {}",
                         track.number, *own, lba_));
      }
      const std::uint64_t pregap = lba_ - std::min(pregap_lba_, lba_);
      // The track before reached up to here.
      if (begins && !session_began && *own > lba_) builder_.tracks().back().sectors += *own - lba_;
      lba_ = *own;
      pregap_lba_ = lba_ - std::min(pregap, lba_ - placed_end_);
      exact_ = true;
      return;
    }
    if (own) {
      find(Severity::kDoubt, "layout-place",
           fmt::format(
               "begins track {} at LBA {} by the addresses of its sectors, where other tracks are; it stays at {}",
               track.number, *own, lba_));
    } else if (!exact_) {
      find(track.audio ? Severity::kDoubt : Severity::kLoss, "layout-place",
           fmt::format("begins track {} at LBA {} or later, as how long a file before it was is not known{}",
                       track.number, lba_, track.audio ? "" : "; without a certain place its data is absent"));
    } else if (session_began) {
      find(Severity::kNote, "layout-place",
           fmt::format("begins session {} at LBA {}, by the usual length of what lies between sessions", track.session,
                       lba_));
    }
  }

  // Goes on in the file to `sectors`, past sectors of `track`.
  void advance(std::uint64_t sectors, const CueTrack& track) {
    const std::uint64_t count = sectors - sectors_;
    const std::uint64_t there =
        file_->store ? (file_->bytes - std::min(byte_, file_->bytes)) / track.unit.bytes : std::uint64_t{0};
    hold(std::min(count, there), track);
    if (file_->store && count > there && !std::exchange(file_->told_short, true)) {
      find(Severity::kLoss, "layout-file-short",
           fmt::format("ends {} sectors before a later index in it; what is missing is absent", count - there));
    }
    byte_ += count * track.unit.bytes;
    sectors_ = sectors;
    lba_ += count;
  }

  // The rest of the file, which belongs to its last track.
  void close_file() {
    if (!file_) return;
    const std::uint64_t unit = track_->unit.bytes;
    const std::uint64_t there = file_->bytes - std::min(byte_, file_->bytes);
    const std::uint64_t said = file_->said_bytes - std::min(byte_, file_->said_bytes);
    if (said == 0) {
      exact_ = false;  // how long the last track is, its index can't tell
      if (file_->store && !file_->told_short) {
        find(Severity::kLoss, "layout-file-short",
             fmt::format("ends where its last index begins; nothing is there of track {}", track_->number));
      }
    }
    hold(there / unit, *track_);
    if (said > there) {
      find(Severity::kLoss, "layout-file-short",
           fmt::format("is cut: of {} bytes of samples {} are there", file_->said_bytes, file_->bytes));
    } else if (there % unit != 0) {
      find(Severity::kLoss, "layout-file-odd",
           fmt::format("ends in a sector, of which it has {} bytes of {}; the sector is absent", there % unit, unit));
    }
    lba_ += (said + unit - 1) / unit;
    file_.reset();
  }

  void hold(std::uint64_t sectors, const CueTrack& track) {
    if (sectors == 0 || (!exact_ && !track.audio)) return;
    UnitLayout unit = track.unit;
    unit.swapped = file_->swapped && track.audio;
    builder_.add_run({lba_, sectors, *file_->store, file_->first_byte + byte_, unit, track.audio});
    held_end_ = lba_ + sectors;
  }

  std::string shown_name(std::size_t number) const {
    return shown_text(last_component(sheet_.files[number].name), sheet_.charset);
  }

  void find(Severity severity, std::string_view kind, std::string text) {
    builder_.find(severity, kind, shown_name(file_->number), lba_, std::move(text));
  }

  const CueSheet& sheet_;
  const std::string& name_;
  const SheetOpener& open_;
  LayoutBuilder builder_;
  std::optional<Error> error_;
  std::vector<std::string> names_;  // of files taken, as found
  std::optional<OpenCueFile> file_;
  const CueTrack* track_ = nullptr;       // whose sectors come next
  std::uint64_t sectors_ = 0, byte_ = 0;  // how far in the file
  std::uint64_t lba_ = 0;                 // of what comes next
  std::uint64_t placed_end_ = 0;          // behind the track before
  std::uint64_t held_end_ = 0;            // behind the last sectors that a file has
  std::uint64_t pregap_lba_ = 0;          // where the track's pregap begins
  bool exact_ = true;                     // lba_ is known, not only the least that it can be
  bool session_began_ = false, may_move_ = false;
};

}  // namespace

Result<TrackLayout> place_cue_sheet(const CueSheet& sheet, const std::string& name, const SheetOpener& open,
                                    Findings& findings) {
  return CuePlacer(sheet, name, open, findings).place();
}

Result<TrackLayout> read_cue_sheet(const std::filesystem::path& path, Findings& findings) {
  Result<std::string> text = load_sheet(path);
  if (!text) return text.error();
  const std::string name = path.string();
  Result<CueSheet> sheet = parse_cue_sheet(*text, name, findings);
  if (!sheet) return sheet.error();
  SheetFolder folder(path, sheet->charset);
  return place_cue_sheet(
      *sheet, name, [&](std::string_view file) { return folder.open(file); }, findings);
}

}  // namespace lacuna

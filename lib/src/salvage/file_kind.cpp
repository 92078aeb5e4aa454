// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/file_kind.h"

#include <algorithm>
#include <array>
#include <span>
#include <string>

#include "salvage/extension.h"

namespace lacuna {
namespace {

using namespace std::string_view_literals;

// Sorted, lower case; each extension in one list only.
constexpr std::array kPhotos{
    "arw"sv,  "avif"sv, "bmp"sv, "cr2"sv, "crw"sv,  "dcr"sv,  "dng"sv, "erf"sv, "gif"sv, "heic"sv,
    "heif"sv, "jfif"sv, "jp2"sv, "jpe"sv, "jpeg"sv, "jpg"sv,  "kdc"sv, "mef"sv, "mos"sv, "mrw"sv,
    "nef"sv,  "orf"sv,  "pcd"sv, "pcx"sv, "pef"sv,  "png"sv,  "psd"sv, "raf"sv, "rw2"sv, "sr2"sv,
    "srf"sv,  "srw"sv,  "tga"sv, "tif"sv, "tiff"sv, "webp"sv, "x3f"sv, "xcf"sv,
};
constexpr std::array kVideos{
    "3g2"sv, "3gp"sv, "asf"sv, "avi"sv, "divx"sv, "dv"sv,  "flv"sv, "ifo"sv,  "m1v"sv,  "m2t"sv, "m2ts"sv,
    "m2v"sv, "m4v"sv, "mkv"sv, "mod"sv, "mov"sv,  "mp4"sv, "mpe"sv, "mpeg"sv, "mpg"sv,  "mts"sv, "mxf"sv,
    "ogm"sv, "ogv"sv, "qt"sv,  "rm"sv,  "rmvb"sv, "tod"sv, "ts"sv,  "vob"sv,  "webm"sv, "wmv"sv,
};
constexpr std::array kSounds{
    "aac"sv,  "ac3"sv, "aif"sv, "aifc"sv, "aiff"sv, "amr"sv, "ape"sv, "au"sv,  "dts"sv, "flac"sv,
    "kar"sv,  "m4a"sv, "mid"sv, "midi"sv, "mka"sv,  "mp2"sv, "mp3"sv, "mpc"sv, "oga"sv, "ogg"sv,
    "opus"sv, "ra"sv,  "snd"sv, "spx"sv,  "voc"sv,  "wav"sv, "wma"sv, "wv"sv,
};
constexpr std::array kDocuments{
    "abw"sv,  "csv"sv, "dbf"sv,  "doc"sv, "docm"sv,  "docx"sv, "eml"sv, "epub"sv,    "htm"sv,
    "html"sv, "lwp"sv, "mbox"sv, "mbx"sv, "mdb"sv,   "mht"sv,  "msg"sv, "numbers"sv, "odb"sv,
    "odg"sv,  "odp"sv, "ods"sv,  "odt"sv, "pages"sv, "pdf"sv,  "pps"sv, "ppsx"sv,    "ppt"sv,
    "pptx"sv, "ps"sv,  "pst"sv,  "rtf"sv, "sdc"sv,   "sdw"sv,  "sxc"sv, "sxw"sv,     "tex"sv,
    "txt"sv,  "wk1"sv, "wks"sv,  "wpd"sv, "wps"sv,   "wri"sv,  "xls"sv, "xlsm"sv,    "xlsx"sv,
};
static_assert(std::is_sorted(kPhotos.begin(), kPhotos.end()));
static_assert(std::is_sorted(kVideos.begin(), kVideos.end()));
static_assert(std::is_sorted(kSounds.begin(), kSounds.end()));
static_assert(std::is_sorted(kDocuments.begin(), kDocuments.end()));

constexpr std::array kKindWords{"photos"sv, "video"sv, "audio"sv, "documents"sv, "other"sv};

}  // namespace

std::string_view to_string(FileKind kind) noexcept { return kKindWords[static_cast<std::size_t>(kind)]; }

std::optional<FileKind> file_kind_from(std::string_view word) noexcept {
  for (std::size_t i = 0; i < kKindWords.size(); ++i) {
    if (kKindWords[i] == word) return static_cast<FileKind>(i);
  }
  return {};
}

FileKind file_kind(std::string_view name) {
  const std::string extension = extension_of(name.substr(name.rfind('/') + 1));
  const auto among = [&extension](std::span<const std::string_view> list) {
    return std::binary_search(list.begin(), list.end(), std::string_view(extension));
  };
  if (among(kPhotos)) return FileKind::kPhotos;
  if (among(kVideos)) return FileKind::kVideo;
  if (among(kSounds)) return FileKind::kAudio;
  return among(kDocuments) ? FileKind::kDocuments : FileKind::kOther;
}

}  // namespace lacuna

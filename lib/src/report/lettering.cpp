// SPDX-License-Identifier: GPL-3.0-or-later
// fontconfig finds the typeface, FreeType draws its letters. Letters that the typeface does not have show as its box.
#include <fontconfig/fontconfig.h>
#include <ft2build.h>

#include <array>
#include <cmath>
#include <string>

#include "base/utf8.h"
#include "report/canvas.h"
#include FT_FREETYPE_H

namespace lacuna::report {
namespace {

/// A typeface's file, and which of those in it; empty when there is none.
struct FontFile {
  std::string path;
  int index = 0;
};

FontFile match(FcConfig* config, int weight) {
  FontFile found;
  FcPattern* const wanted = FcPatternCreate();
  FcPatternAddString(wanted, FC_FAMILY, reinterpret_cast<const FcChar8*>("sans-serif"));
  FcPatternAddInteger(wanted, FC_WEIGHT, weight);
  FcPatternAddBool(wanted, FC_OUTLINE, FcTrue);
  FcConfigSubstitute(config, wanted, FcMatchPattern);
  FcDefaultSubstitute(wanted);
  FcResult result = FcResultNoMatch;
  if (FcPattern* const best = FcFontMatch(config, wanted, &result); best != nullptr) {
    FcChar8* path = nullptr;
    if (FcPatternGetString(best, FC_FILE, 0, &path) == FcResultMatch) {
      found.path = reinterpret_cast<const char*>(path);
      FcPatternGetInteger(best, FC_INDEX, 0, &found.index);
    }
    FcPatternDestroy(best);
  }
  FcPatternDestroy(wanted);
  return found;
}

/// The system's sans-serif typeface, regular and bold.
std::array<FontFile, 2> find_fonts() {
  std::array<FontFile, 2> found;
  FcConfig* const config = FcInitLoadConfigAndFonts();
  if (config == nullptr) return found;
  found = {match(config, FC_WEIGHT_REGULAR), match(config, FC_WEIGHT_BOLD)};
  FcConfigDestroy(config);
  return found;
}

}  // namespace

struct Lettering::Faces {
  FT_Library library = nullptr;
  std::array<FT_Face, 2> faces{};  ///< Regular, bold; null where there is none.

  Faces() {
    if (FT_Init_FreeType(&library) != 0) {
      library = nullptr;
      return;
    }
    const std::array<FontFile, 2> fonts = find_fonts();
    for (std::size_t i = 0; i < fonts.size(); ++i) {
      const FontFile& font = fonts[i];
      if (font.path.empty() || FT_New_Face(library, font.path.c_str(), font.index & 0xffff, &faces[i]) != 0) {
        faces[i] = nullptr;
      }
    }
  }
  ~Faces() {
    for (const FT_Face face : faces) {
      if (face != nullptr) FT_Done_Face(face);
    }
    if (library != nullptr) FT_Done_FreeType(library);
  }
  Faces(const Faces&) = delete;
  Faces& operator=(const Faces&) = delete;

  /// Loads the text's letters one by one, drawn (`flags`), and hands each on with where it stands, in pixels from the
  /// text's start. Gives the width.
  template <class Each>
  double walk(std::string_view text, double size, bool bold, int flags, Each&& each) {
    const FT_Face face = faces[bold ? 1 : 0] != nullptr ? faces[bold ? 1 : 0] : faces[0];
    if (face == nullptr || FT_Set_Char_Size(face, 0, static_cast<FT_F26Dot6>(std::lround(size * 64)), 72, 72) != 0) {
      return 0;
    }
    double at = 0;
    FT_UInt before = 0;
    for (std::size_t i = 0; i < text.size();) {
      const CodePoint c = code_point_at(text, i);
      i += c.length;
      const FT_UInt glyph = FT_Get_Char_Index(face, c.well_formed() ? c.value : 0xFFFD);
      FT_Vector kern{0, 0};
      if (before != 0 && FT_Get_Kerning(face, before, glyph, FT_KERNING_UNFITTED, &kern) == 0) {
        at += static_cast<double>(kern.x) / 64;
      }
      before = glyph;
      if (FT_Load_Glyph(face, glyph, FT_LOAD_NO_HINTING | flags) != 0) continue;
      each(*face->glyph, at);
      at += static_cast<double>(face->glyph->linearHoriAdvance) / 65536;
    }
    return at;
  }
};

Lettering::Lettering() : faces_(std::make_unique<Faces>()) {}
Lettering::~Lettering() = default;

double Lettering::width(std::string_view utf8, double size, bool bold) {
  return faces_->walk(utf8, size, bold, FT_LOAD_DEFAULT, [](const FT_GlyphSlotRec&, double) {});
}

void Lettering::write(Canvas& canvas, double x, double y, std::string_view utf8, double size, bool bold,
                      Colour colour) {
  faces_->walk(utf8, size, bold, FT_LOAD_RENDER, [&](const FT_GlyphSlotRec& slot, double at) {
    const FT_Bitmap& bits = slot.bitmap;
    if (bits.pixel_mode != FT_PIXEL_MODE_GRAY) return;
    const auto left = static_cast<std::int64_t>(std::lround(x + at)) + slot.bitmap_left;
    const auto top = static_cast<std::int64_t>(std::lround(y)) - slot.bitmap_top;
    for (unsigned row = 0; row < bits.rows; ++row) {
      const unsigned char* const line = bits.buffer + static_cast<std::ptrdiff_t>(row) * bits.pitch;
      for (unsigned column = 0; column < bits.width; ++column) {
        canvas.blend(left + column, top + row, colour, line[column]);
      }
    }
  });
}

}  // namespace lacuna::report

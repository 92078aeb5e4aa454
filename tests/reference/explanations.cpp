// SPDX-License-Identifier: GPL-3.0-or-later
#include "reference/explanations.h"

#include <algorithm>
#include <array>
#include <iterator>

#include "lacuna/glob.h"

namespace lacuna::test {
namespace {

using What = Difference::What;

std::vector<Explanation> iso_explanations() {
  return {
      // Dates.
      {"libarchive",
       "authored/g-*",
       {},
       {What::kDate},
       "UPPER.*",
       "genisoimage writes a zone of -96 quarters of an hour for 2038-01-19; ECMA-119 9.1.5 allows -48 to +52. "
       "libarchive drops the zone and keeps the rest"},
      {"libiso9660",
       "authored/g-*",
       {},
       {What::kDate},
       "UPPER.*",
       "the same record; libiso9660 applies the zone of a day"},
      // Names.
      {"libarchive",
       "authored/*-scripts",
       View::kJoliet,
       {What::kOnlyOurs},
       "*nai\u0308ve*",
       "libarchive composes names (NFC), so that two names of this image become one; Joliet compares code units"},
      {"libarchive",
       "authored/x-joliet-long",
       View::kJoliet,
       {What::kOnlyOurs, What::kOnlyTheirs},
       "d/[12]*",
       "names of 103 units with a version: libarchive cuts the last unit"},
      {"libiso9660",
       "authored/*-long",
       View::kRockRidge,
       {What::kOnlyOurs, What::kOnlyTheirs},
       "2[05]0*",
       "a name continued in a second NM entry (RRIP 4.1.4, flag CONTINUE) is cut by libiso9660"},
      {"libarchive",
       "authored/*",
       View::kRockRidge,
       {What::kTarget},
       "letters/link long",
       "a link continued in a second SL entry: the component before was complete, so a '/' follows it (RRIP 4.1.3.1)"},
      {"libiso9660",
       "authored/*",
       View::kRockRidge,
       {What::kTarget},
       "letters/link long",
       "libiso9660 keeps the first SL entry only (RRIP 4.1.3, flag CONTINUE)"},
      // Relocated directories.
      {"libiso9660",
       "authored/*deep*",
       View::kRockRidge,
       {What::kKind, What::kOnlyOurs},
       "l1/l2/l3/l4/l5/l6/l7/*8",
       "libiso9660 does not follow CL (RRIP 4.1.5.1) and shows the placeholder"},
      {"libiso9660",
       "authored/*deep*",
       View::kRockRidge,
       {What::kOnlyTheirs},
       "[LO]*8",
       "libiso9660 shows the moved directory where RE (RRIP 4.1.5.3) says it is to be hidden"},
      {"libarchive",
       "authored/g-deep-*",
       View::kRockRidge,
       {What::kOnlyOurs},
       "*rr_moved",
       "libarchive hides the emptied directory for its name; it carries no RE, so it is a directory like any other"},
      {"libarchive",
       "authored/g-deep-rock",
       View::kJoliet,
       {What::kOnlyOurs},
       "l1/l2/l3/l4/l5/l6/l7/*8",
       "libarchive ends the Joliet tree where the primary one was relocated; ECMA-119 6.8.2.1 does not bind Joliet"},
      {"libiso9660",
       "shared/cdio-deep-directory.iso",
       View::kRockRidge,
       {What::kKind, What::kOnlyOurs},
       "1/2/3/4/5/6/7/8",
       "libiso9660 does not follow CL (RRIP 4.1.5.1) and shows the placeholder"},
      {"libiso9660",
       "shared/cdio-deep-directory.iso",
       View::kRockRidge,
       {What::kOnlyTheirs},
       "RR_MOVED",
       "libiso9660 shows the moved directory where RE (RRIP 4.1.5.3) says it is to be hidden"},
      // Compressed contents.
      {"libiso9660",
       "authored/*-zisofs",
       {},
       {What::kSize, What::kContent},
       "*",
       "libiso9660 does not decode zisofs (ZF entry) and gives what is stored"},
      {"libiso9660",
       "shared/la-rfi-zisofs.iso",
       {},
       {What::kSize, What::kContent},
       "*",
       "libiso9660 does not decode zisofs (ZF entry) and gives what is stored"},
      // Files of several extents.
      {"libiso9660",
       "shared/*multi-extent*",
       {},
       {What::kSize, What::kContent},
       "*file*",
       "libiso9660 2.1.0 gives one section; ECMA-119 6.5.1 and 9.1.6 (bit 7) make all of them one file"},
      // Names and links of other writers.
      {"libarchive",
       "shared/la-rfi-joliet-long.iso",
       View::kIso9660,
       {What::kOnlyOurs},
       "*~2",
       "a file and a directory of one name: ECMA-119 9.3 forbids it; Lacuna keeps both apart, a listing by path does "
       "not"},
      {"libarchive",
       "shared/la-rfi-rockridge*.iso",
       View::kRockRidge,
       {What::kTarget},
       "symlink[56]",
       "components of no bytes (RRIP 4.1.3.1), which libarchive keeps as a second '/'; the target is the same"},
      {"libiso9660",
       "shared/la-rfi-rockridge*.iso",
       View::kRockRidge,
       {What::kTarget},
       "symlink[56]",
       "components of no bytes (RRIP 4.1.3.1), which libiso9660 keeps as a second '/'; the target is the same"},
      {"libiso9660",
       "shared/la-rfi-rockridge-ce.iso",
       View::kRockRidge,
       {What::kOnlyOurs, What::kOnlyTheirs, What::kDate, What::kTarget},
       "*",
       "attributes in continuation areas that go on in further ones (SUSP 5.1); libiso9660 reads the first area only"},
      // Images that hold no more than their descriptors.
      {"libarchive",
       "shared/la-rfi-rockridge-zf-overflow.iso",
       View::kIso9660,
       {What::kOnlyOurs},
       "A",
       "its extent lies beyond the image; libarchive drops the record, Lacuna lists what the record says"},
      // Sessions.
      {"libarchive",
       "authored/g-multi",
       {},
       {What::kOnlyOurs, What::kSize, What::kDate, What::kContent},
       "[RA]*.TXT",
       "libarchive reads the first session only, whose descriptors stand at sector 16 (ECMA-119 6.7.1)"},
      {"libiso9660",
       "authored/g-multi",
       {},
       {What::kOnlyOurs, What::kSize, What::kDate, What::kContent},
       "[RA]*.TXT",
       "libiso9660 reads the first session only"},
  };
}

std::vector<Explanation>& table() {
  static std::vector<Explanation> lines = [] {
    std::vector<Explanation> all = iso_explanations();
    std::ranges::copy(udf_explanations(), std::back_inserter(all));
    return all;
  }();
  return lines;
}

constexpr std::string_view kStub = "libarchive refuses an image that ends behind its descriptors";

constexpr Refusal kRefusals[] = {
    {"libarchive", "shared/ul-sample.iso", View::kIso9660, kStub},
    {"libarchive", "shared/file-x.iso", View::kIso9660, kStub},
    {"libarchive", "shared/cdio-malformed.iso", View::kIso9660, kStub},
    {"libarchive", "shared/cdio-bad-dir.iso", View::kIso9660, kStub},
    {"libarchive", "authored/x-deep-moved", View::kRockRidge,
     "it ends with 'Invalid Rockridge RE' where the directory that collects moved ones carries RE too"},
    {"libarchive", "authored/g-xa-rock", View::kRockRidge,
     "XA attributes stand before SP, which SUSP 5.3 wants first; it then finds no Rock Ridge"},
    {"libiso9660", "authored/g-xa-rock", View::kRockRidge,
     "XA attributes stand before SP, which SUSP 5.3 wants first; it then finds no Rock Ridge"},
};

bool matches(std::string_view pattern, std::string_view text) { return Glob(pattern).matches(text); }

}  // namespace

bool explained(std::string_view reader, std::string_view image, View view, const Difference& difference) {
  bool found = false;
  for (Explanation& e : table()) {
    if (e.reader != reader || !matches(e.images, image) || (e.view && *e.view != view)) continue;
    if (std::ranges::find(e.what, difference.what) == e.what.end() || !matches(e.paths, difference.path)) continue;
    e.used = found = true;
  }
  return found;
}

std::string explained_refusal(std::string_view reader, std::string_view image, View view, bool has_rock_ridge) {
  if (reader == "libiso9660" && view == View::kIso9660 && has_rock_ridge) {
    return "it shows Rock Ridge names (RRIP 4.1.4) whether they are asked for or not";
  }
  const auto find = [&](const auto& refusals) -> std::string {
    for (const Refusal& r : refusals) {
      if (r.reader == reader && r.view == view && matches(r.images, image)) return std::string(r.why);
    }
    return {};
  };
  return view == View::kUdf ? find(udf_refusals()) : find(kRefusals);
}

std::string explained_omission(std::string_view image) {
  static constexpr std::pair<std::string_view, std::string_view> kOmissions[] = {
      {"README.md", "a text"},
      {"*.cue", "a text"},
      {"*.toc", "a text"},
      {"cdio-cdda.bin", "audio"},
      {"*.nrg", "a container, which the other readers don't read; tests/media compares it with libcdio"},
      {"ul-udf-hdd-*", "UDF without ISO 9660; udf_test.cpp compares it"},
      {"ul-udf-multi-*", "UDF without ISO 9660; udf_test.cpp compares it"},
      {"ul-udf-cd-mkudfiso-*", "UDF without ISO 9660; udf_test.cpp compares it"},
      {"diskfs-volrecords.iso", "a descriptor set by itself, without the 16 sectors before it (ECMA-119 6.2.1)"},
  };
  for (const auto& [pattern, reason] : kOmissions) {
    if (matches(pattern, image)) return std::string(reason);
  }
  return {};
}

std::vector<std::string> unused_explanations(std::string_view prefix) {
  std::vector<std::string> lines;
  for (const Explanation& e : table()) {
    if (!e.used && e.images.starts_with(prefix)) {
      lines.push_back(std::string(e.reader) + ", " + std::string(e.images) + ", " + std::string(e.paths));
    }
  }
  return lines;
}

}  // namespace lacuna::test

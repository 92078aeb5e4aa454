// SPDX-License-Identifier: GPL-3.0-or-later
#include "reference/explanations.h"

namespace lacuna::test {

using What = Difference::What;

std::vector<Explanation> udf_explanations() {
  static constexpr std::string_view kOneExtent =
      "libudfread ends a directory with the first block that it reads; all of its extents are the directory "
      "(ECMA-167 4/12.1)";
  static constexpr std::string_view kChangedName =
      "udfclient writes a hash for each character outside ASCII; a name is what its OSTA CS0 units say (UDF 2.1.1)";
  static constexpr std::string_view kNoFiles =
      "libudfread knows files and directories only; the type is in the ICB tag (ECMA-167 4/14.6.6)";
  static constexpr std::string_view kPlain =
      "udfclient brings out links and devices as plain files; the type is in the ICB tag (ECMA-167 4/14.6.6)";
  return {
      // A directory that grew block by block.
      {"libudfread", "udf-authored/hd-2.01-long", {}, {What::kOnlyOurs}, "many/*", kOneExtent},
      {"libudfread", "udf-authored/hd-2.01-short", {}, {What::kOnlyOurs}, "many/*", kOneExtent},
      {"libudfread", "udf-shared/plain-*", {}, {What::kOnlyOurs}, "harbour/deep/*", kOneExtent},
      {"libudfread", "udf-shared/extras-*", {}, {What::kOnlyOurs}, "harbour/deep/*", kOneExtent},
      {"udfclient", "udf-shared/plain-*", {}, {What::kOnlyTheirs}, "with space/*#*", kChangedName},
      {"udfclient", "udf-shared/extras-*", {}, {What::kOnlyTheirs}, "with space/*#*", kChangedName},
      {"udfclient", "udf-shared/extras-*", {}, {What::kOnlyTheirs}, "*link*", kPlain},
      {"udfclient", "udf-shared/extras-*", {}, {What::kOnlyTheirs}, "pipe", kPlain},
      {"udfclient", "udf-shared/extras-*", {}, {What::kOnlyTheirs}, "char-device", kPlain},
      {"libudfread",
       "udf-shared/extras-hd-*",
       {},
       {What::kOnlyTheirs},
       "gone",
       "the identifier is marked as deleted (ECMA-167 4/14.4.3, bit 2); libudfread lists it and can't open it"},
      {"libudfread", "udf-shared/extras-hd-*", {}, {What::kKind}, "*", kNoFiles},
  };
}

std::vector<Refusal> udf_refusals() {
  static constexpr std::string_view kMaps =
      "it knows partition maps of type 1 only, no virtual, sparable or metadata ones (UDF 2.2.8 to 2.2.10)";
  static constexpr std::string_view kBlocks = "it knows logical blocks of 2048 bytes only (UDF 2.2.4.2 has more)";
  static constexpr std::string_view kStrategy = "it knows ICB strategy 4 only (ECMA-167 4/14.6.2)";
  return {
      {"libudfread", "udf-*/*cdr*-*", View::kUdf, kMaps},
      {"7zz", "udf-*/*cdr*-*", View::kUdf, kMaps},
      {"libudfread", "udf-*/*dvdrw-*", View::kUdf, kMaps},
      {"7zz", "udf-*/*dvdrw-*", View::kUdf, kMaps},
      {"libudfread", "udf-*/empty-bdr-*", View::kUdf, kMaps},
      {"7zz", "udf-*/empty-bdr-*", View::kUdf, kMaps},
      {"7zz", "udf-*/*strategy4096", View::kUdf, kStrategy},
      {"libudfread", "udf-shared/*strategy4096", View::kUdf, kStrategy},
      {"libudfread", "udf-authored/hd-2.01-512", View::kUdf, kBlocks},
      {"libudfread", "udf-authored/hd-2.01-1024", View::kUdf, kBlocks},
      {"libudfread", "udf-authored/hd-2.01-4096", View::kUdf, kBlocks},
      {"7zz", "udf-authored/hd-2.01-1024", View::kUdf, kBlocks},
      {"7zz", "udf-authored/hd-2.01-4096", View::kUdf, kBlocks},
      {"libudfread", "udf-real/ul-udf-multi-*", View::kUdf, kMaps},
      {"7zz", "udf-real/ul-udf-multi-*", View::kUdf, kMaps},
      {"libudfread", "udf-real/ul-udf-hdd-macosx-2.60-4096.img", View::kUdf, kBlocks},
      {"libudfread", "udf-real/ul-udf-hdd-mkudffs-1.0.0-1.img", View::kUdf, kBlocks},
      {"libudfread", "udf-real/ul-udf-hdd-mkudffs-1.3-1.img", View::kUdf, kBlocks},
      {"libudfread", "udf-real/ul-udf-hdd-mkudffs-1.3-5.img", View::kUdf, kBlocks},
      {"libudfread", "udf-real/ul-udf-hdd-mkudffs-1.3-7.img", View::kUdf, kBlocks},
      {"libudfread", "udf-real/ul-udf-hdd-mkudffs-2.2.img", View::kUdf, kBlocks},
      {"libudfread", "udf-real/ul-udf-hdd-udfclient-0.7.5.img", View::kUdf, kBlocks},
      {"libudfread", "udf-real/ul-udf-hdd-win7.img", View::kUdf, kBlocks},
      {"7zz", "udf-real/ul-udf-hdd-macosx-2.60-4096.img", View::kUdf, kMaps},
      {"7zz", "udf-real/ul-udf-hdd-mkudffs-1.3-5.img", View::kUdf, kBlocks},
      {"7zz", "udf-real/ul-udf-cd-mkudfiso-20100208.img", View::kUdf,
       "it wants CRCs over whole descriptors, here they cover 2 bytes, a length that ECMA-167 3/7.2.6 leaves to the "
       "writer; with whole ones put in, it says 'Unsupported feature' still"},
      {"7zz", "udf-shared/extras-*", View::kUdf,
       "it refuses an image for one link, device or file with holes, which are file types and extent types of ECMA-167 "
       "(4/14.6.6, 4/14.14.1.1)"},
  };
}

}  // namespace lacuna::test

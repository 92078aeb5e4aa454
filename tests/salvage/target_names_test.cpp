// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/target_names.h"

#include <gtest/gtest.h>

#include <string>

namespace lacuna {
namespace {

NodeId add(Tree& tree, NodeId parent, std::string_view name, NodeKind kind = NodeKind::kFile) {
  Node n;
  n.kind = kind;
  n.view = View::kRockRidge;
  n.names[static_cast<std::size_t>(n.view)] = tree.add_text(name);
  return tree.add_child(parent, n);
}

std::string repeated(std::string_view s, int times) {
  std::string out;
  for (int i = 0; i < times; ++i) out += s;
  return out;
}

/// The target path of the node of that path; "" when there is none.
std::string target_of(const Tree& tree, const TargetNames& names, std::string_view path) {
  for (NodeId id = 1; id < tree.size(); ++id) {
    if (tree.path(id) == path) return names.path(id);
  }
  return "";
}

TEST(CleanName, OrdinaryNamesStayAsTheyAre) {
  for (const std::string_view name : {"a.txt", "IMG_0001.JPG", "\xC3\xA9t\xC3\xA9 2004.doc", "-rf", " leading",
                                      ".hidden", "...", "a:b*c?", "con-rad", "com", "com10", "console.log", "100%41"}) {
    EXPECT_EQ(clean_name(name, false), name);
  }
}

TEST(CleanName, NeverLeavesTheFolder) {
  EXPECT_EQ(clean_name(".", false), "%2E");
  EXPECT_EQ(clean_name("..", false), "%2E%2E");
  EXPECT_EQ(clean_name("", false), "_");
  EXPECT_EQ(clean_name("a/b", false), "a%2Fb");
  EXPECT_EQ(clean_name("../../etc", false), "..%2F..%2Fetc");
  EXPECT_EQ(clean_name(std::string_view("a\0b", 3), false), "a%00b");
}

TEST(CleanName, ControlCharactersAndIllFormedBytesAreEscaped) {
  EXPECT_EQ(clean_name("a\nb\x7F", false), "a%0Ab%7F");
  EXPECT_EQ(clean_name("a\xC2\x9B"
                       "31m",
                       false),
            "a%C2%9B31m");  // C1: a terminal would obey it
  EXPECT_EQ(clean_name("a\xFF", false), "a%FF");
  EXPECT_EQ(clean_name("\xED\xA0\x80", false), "%ED%A0%80");  // a surrogate
}

TEST(CleanName, DeviceNamesAlways) {
  EXPECT_EQ(clean_name("CON", false), "CON_");
  EXPECT_EQ(clean_name("aux.h", false), "aux_.h");
  EXPECT_EQ(clean_name("nul.tar.gz", false), "nul_.tar.gz");
  EXPECT_EQ(clean_name("Com1", false), "Com1_");
  EXPECT_EQ(clean_name("lpt9.txt", false), "lpt9_.txt");
  EXPECT_EQ(clean_name("COM\xC2\xB9", false), "COM\xC2\xB9_");
  EXPECT_EQ(clean_name("prn .txt", false), "prn_ .txt");
}

TEST(CleanName, PortableTakesWhatOtherSystemsDoNotHave) {
  EXPECT_EQ(clean_name("a:b", true), "a%3Ab");
  EXPECT_EQ(clean_name("<>:\"\\|?*", true), "%3C%3E%3A%22%5C%7C%3F%2A");
  EXPECT_EQ(clean_name("end.", true), "end%2E");
  EXPECT_EQ(clean_name("end ", true), "end%20");
  EXPECT_EQ(clean_name("mid. dle", true), "mid. dle");
}

TEST(CleanName, OurOwnPartFilesCannotBeForged) {
  EXPECT_EQ(clean_name(".lacuna-part-1", false), "%2Elacuna-part-1");
  EXPECT_EQ(clean_name(".LACUNA-part-1", false), "%2ELACUNA-part-1");
}

TEST(CleanName, TooLongNamesKeepTheirExtensionAndStayDistinct) {
  const std::string euro = repeated("\xE2\x82\xAC", 100);  // 300 bytes
  const std::string a = clean_name(euro + "a.jpeg", false);
  const std::string b = clean_name(euro + "b.jpeg", false);
  EXPECT_LE(a.size(), kMaxNameBytes);
  EXPECT_GT(a.size(), kMaxNameBytes - 4);
  EXPECT_TRUE(a.ends_with(".jpeg"));
  EXPECT_NE(a, b);
  EXPECT_EQ(a, clean_name(euro + "a.jpeg", false));
  EXPECT_EQ(a.substr(0, 3), "\xE2\x82\xAC");
  EXPECT_EQ(a[a.rfind('~') - 1], '\xAC');  // cut between two code points
  EXPECT_EQ(clean_name(std::string(255, 'x'), false), std::string(255, 'x'));
  EXPECT_LE(clean_name(std::string(300, '.'), false).size(), kMaxNameBytes);
  EXPECT_LE(clean_name(std::string(100, '\n'), false).size(), kMaxNameBytes);
}

TEST(FoldKey, LetterCaseAndEquivalenceCountAsEqual) {
  EXPECT_EQ(fold_key("README"), fold_key("ReadMe"));
  EXPECT_EQ(fold_key("\xC3\x89T\xC3\x89"), fold_key("\xC3\xA9t\xC3\xA9"));  // E acute
  EXPECT_EQ(fold_key("\xC3\xA9"), fold_key("e\xCC\x81"));                   // composed, decomposed
  EXPECT_EQ(fold_key("\xCE\xA3"), fold_key("\xCF\x82"));                    // capital and final sigma
  EXPECT_EQ(fold_key("\xD0\x96"), fold_key("\xD0\xB6"));                    // Cyrillic zhe
  EXPECT_EQ(fold_key("stra\xC3\x9F"
                     "e"),
            fold_key("STRASSE"));                                                         // sharp s, full folding
  EXPECT_EQ(fold_key("\xEA\xB0\x81"), fold_key("\xE1\x84\x80\xE1\x85\xA1\xE1\x86\xA8"));  // a Hangul syllable
  EXPECT_EQ(fold_key("e\xCC\x81\xCC\xA3"), fold_key("e\xCC\xA3\xCC\x81"));                // order of marks
  EXPECT_EQ(fold_key("\xE1\xBA\xA4"), fold_key("a\xCC\x82\xCC\x81"));  // A circumflex acute, through two steps
  EXPECT_NE(fold_key("a"), fold_key("\xC3\xA1"));
  EXPECT_NE(fold_key("a"), fold_key("b"));
  EXPECT_NE(fold_key("\xFF"), fold_key("\xFE"));
}

TEST(DamagedPath, MirrorsTheTreeAndKeepsGapListsApart) {
  EXPECT_EQ(damaged_path("x/y.jpg"), "_damaged/x/y.jpg");
  EXPECT_EQ(gap_list_path("_damaged/x/y.jpg"), "_damaged/x/y.jpg.gaps.txt");
  EXPECT_EQ(gap_list_path("_damaged/y.jpg"), "_damaged/y.jpg.gaps.txt");
  const std::string forged = damaged_path("x/y.jpg.GAPS.txt");
  EXPECT_NE(forged, "_damaged/x/y.jpg.GAPS.txt");
  EXPECT_TRUE(forged.starts_with("_damaged/x/y.jpg.GAPS~"));
  EXPECT_LE(gap_list_path("_damaged/" + std::string(255, 'x')).size(), 9 + kMaxNameBytes);
}

TEST(TargetNames, OurOwnNamesAtTheTopGetASuffix) {
  Tree tree;
  const NodeId sub = add(tree, kRoot, "sub", NodeKind::kDirectory);
  for (const std::string_view name :
       {"_damaged", "lacuna-manifest.jsonl", "SHA256SUMS", "sha256sums", ".lacuna-work.jsonl"}) {
    add(tree, kRoot, name);
    add(tree, sub, name);
  }
  add(tree, kRoot, "_boot", NodeKind::kDirectory);
  tree.finish();
  const TargetNames names(tree, false);
  for (const std::string_view name :
       {"_damaged", "lacuna-manifest.jsonl", "SHA256SUMS", "sha256sums", ".lacuna-work.jsonl"}) {
    EXPECT_NE(target_of(tree, names, name), name);
    EXPECT_FALSE(target_of(tree, names, name).empty());
    const std::string below = "sub/" + std::string(name);
    EXPECT_EQ(target_of(tree, names, below), below);
  }
  EXPECT_EQ(target_of(tree, names, "_boot"), "_boot");
}

TEST(TargetNames, ClashesAfterCleaningAreSetApart) {
  Tree tree;
  add(tree, kRoot, "CON");
  add(tree, kRoot, "CON_");
  add(tree, kRoot, "a\xC2\x85");
  add(tree, kRoot, "a%C2%85");
  tree.finish();
  const TargetNames names(tree, false);
  EXPECT_EQ(target_of(tree, names, "CON_"), "CON_");
  EXPECT_EQ(target_of(tree, names, "CON").substr(0, 5), "CON_~");
  EXPECT_EQ(target_of(tree, names, "a%C2%85"), "a%C2%85");
  EXPECT_EQ(target_of(tree, names, "a\xC2\x85").substr(0, 8), "a%C2%85~");
}

TEST(TargetNames, PortableSetsCaseAndEquivalenceClashesApart) {
  Tree tree;
  add(tree, kRoot, "README.TXT");
  add(tree, kRoot, "ReadMe.txt");
  add(tree, kRoot, "readme.txt", NodeKind::kDirectory);
  add(tree, kRoot, "\xC3\xA9.doc");
  add(tree, kRoot, "e\xCC\x81.doc");
  tree.finish();
  const TargetNames plain(tree, false);
  EXPECT_EQ(target_of(tree, plain, "readme.txt"), "readme.txt");
  const TargetNames portable(tree, true);
  std::vector<std::string> keys;
  for (NodeId id = 1; id < tree.size(); ++id) keys.push_back(fold_key(portable.path(id)));
  std::sort(keys.begin(), keys.end());
  EXPECT_EQ(std::adjacent_find(keys.begin(), keys.end()), keys.end());
  EXPECT_EQ(target_of(tree, portable, "README.TXT"), "README.TXT");
  EXPECT_TRUE(target_of(tree, portable, "ReadMe.txt").starts_with("ReadMe~"));
  EXPECT_TRUE(target_of(tree, portable, "ReadMe.txt").ends_with(".txt"));
}

TEST(TargetNames, DeletedFilesTakeNoNameFromOthersAndStreamsLieBesideTheirFile) {
  const auto make = [](bool with_deleted) {
    Tree tree;
    if (with_deleted) tree.edit(add(tree, kRoot, "README.TXT")).flags |= node_flag::kDeleted;
    add(tree, kRoot, "readme.txt");
    tree.edit(add(tree, kRoot, "readme.txt:author")).flags |= node_flag::kStream;
    tree.finish();
    return tree;
  };
  const Tree tree = make(true);
  const TargetNames names(tree, true);
  EXPECT_EQ(target_of(tree, names, "readme.txt"), "readme.txt");
  EXPECT_EQ(target_of(tree, names, "README.TXT").substr(0, 7), "README~");
  EXPECT_EQ(target_of(tree, names, "readme.txt:author"), "readme.txt%3Aauthor");
  const TargetNames as_they_are(tree, false);
  EXPECT_EQ(target_of(tree, as_they_are, "README.TXT"), "README.TXT");
  EXPECT_EQ(target_of(tree, as_they_are, "readme.txt:author"), "readme.txt:author");
}

TEST(TargetNames, PathsAreMadeOfTheirParentsTargets) {
  Tree tree;
  const NodeId a = add(tree, kRoot, "aux", NodeKind::kDirectory);
  const NodeId b = add(tree, a, "..", NodeKind::kDirectory);
  add(tree, b, "x");
  tree.finish();
  const TargetNames names(tree, false);
  EXPECT_EQ(target_of(tree, names, "aux/../x"), "aux_/%2E%2E/x");
  EXPECT_EQ(names.path(kRoot), "");
}

}  // namespace
}  // namespace lacuna

// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/glob.h"

#include <gtest/gtest.h>


namespace lacuna {
namespace {

bool match(std::string_view pattern, std::string_view path, bool ignore_case = false) {
  return Glob(pattern, ignore_case).matches(path);
}

TEST(Glob, StarStaysWithinOneName) {
  EXPECT_TRUE(match("photos/*.jpg", "photos/a.jpg"));
  EXPECT_FALSE(match("photos/*.jpg", "photos/2004/a.jpg"));
  EXPECT_FALSE(match("photos/*.jpg", "photos/a.jpeg"));
  EXPECT_TRUE(match("photos/*", "photos/.hidden"));
}

TEST(Glob, WithoutSlashMatchesTheLastNameAtAnyDepth) {
  EXPECT_TRUE(match("*.jpg", "a.jpg"));
  EXPECT_TRUE(match("*.jpg", "x/y/a.jpg"));
  EXPECT_FALSE(match("*.jpg", "x/y/a.txt"));
}

TEST(Glob, WithSlashIsTiedToTheRoot) {
  EXPECT_FALSE(match("x/a.txt", "y/x/a.txt"));
  EXPECT_TRUE(match("/a.txt", "a.txt"));
  EXPECT_FALSE(match("/a.txt", "x/a.txt"));
}

TEST(Glob, DirectoryTakesEverythingBelowIt) {
  EXPECT_TRUE(match("photos", "photos"));
  EXPECT_TRUE(match("photos", "photos/2004/a.jpg"));
  EXPECT_TRUE(match("photos/", "photos/2004/a.jpg"));
  EXPECT_TRUE(match("photos", "old/photos/a.jpg"));
  EXPECT_TRUE(match("old/ph*", "old/photos/2004/a.jpg"));
  EXPECT_FALSE(match("photos", "photos2/a.jpg"));
}

TEST(Glob, DoubleStarIsAnyNumberOfNames) {
  EXPECT_TRUE(match("a/**/z", "a/z"));
  EXPECT_TRUE(match("a/**/z", "a/b/c/z"));
  EXPECT_FALSE(match("a/**/z", "b/c/z"));
  EXPECT_TRUE(match("**/b/*.c", "x/b/y/b/f.c"));
  EXPECT_FALSE(match("**/b/*.c", "x/b/y/f.c"));
  EXPECT_TRUE(match("**", "x"));
  EXPECT_TRUE(match("a/**", "a/x/y"));
  EXPECT_TRUE(match("**/a/**/b", "a/a/c/b"));
  EXPECT_TRUE(match("a**z", "abcz"));
  EXPECT_FALSE(match("/a**z", "a/z"));
}

TEST(Glob, QuestionMarkIsOneCodePoint) {
  EXPECT_TRUE(match("?.txt", "\xC3\xA9.txt"));          // e acute
  EXPECT_TRUE(match("?.txt", "\xF0\x9F\x93\xB7.txt"));  // beyond the basic plane
  EXPECT_FALSE(match("?.txt", "\x65\xCC\x81.txt"));     // e and a combining accent are two
  EXPECT_TRUE(match("a?b",
                    "a\xFF"
                    "b"));  // an ill-formed byte counts as one
}

TEST(Glob, Classes) {
  EXPECT_TRUE(match("[a-c]x", "bx"));
  EXPECT_FALSE(match("[a-c]x", "dx"));
  EXPECT_TRUE(match("[!a-c]x", "dx"));
  EXPECT_FALSE(match("[!a-c]x", "ax"));
  EXPECT_TRUE(match("[]x]", "]"));
  EXPECT_TRUE(match("[a-]", "-"));
  EXPECT_TRUE(match("[\\]]", "]"));
  EXPECT_TRUE(match("[\xC3\xA0-\xC3\xBF]", "\xC3\xA9"));  // a grave to y diaeresis
  EXPECT_FALSE(match("[a-c]", ""));
}

TEST(Glob, AnOpenBracketThatNothingClosesIsItself) {
  EXPECT_TRUE(match("[abc", "[abc"));
  EXPECT_FALSE(match("[abc", "a"));
  EXPECT_TRUE(match("[!", "[!"));
  EXPECT_TRUE(match("a[[", "a[["));
}

TEST(Glob, BackslashTakesTheNextCharacterLiterally) {
  EXPECT_TRUE(match("\\*.txt", "*.txt"));
  EXPECT_FALSE(match("\\*.txt", "a.txt"));
  EXPECT_TRUE(match("\\[a]", "[a]"));
  EXPECT_TRUE(match("a\\", "a\\"));
}

TEST(Glob, CaseCountsUnlessAskedNotTo) {
  EXPECT_FALSE(match("*.JPG", "a.jpg"));
  EXPECT_TRUE(match("*.JPG", "a.jpg", true));
  EXPECT_TRUE(match("[A-C]", "b", true));
  EXPECT_TRUE(match("[a-c]", "B", true));
  EXPECT_FALSE(match("[!a-c]", "B", true));
}

TEST(Glob, EmptyPatternAndEmptyPath) {
  EXPECT_FALSE(match("a", ""));
  EXPECT_TRUE(match("**", ""));
  EXPECT_FALSE(match("*", ""));
}

TEST(Glob, StarsGoBackWhenTheyMust) {
  EXPECT_TRUE(match("*ab*ab", "abxabab"));
  EXPECT_FALSE(match("*ab*ab", "abxabba"));
  EXPECT_TRUE(match("*a", "aaa"));
  EXPECT_FALSE(match("a*a", "a"));
}

// A matcher that tries every split of these would not end within the time limit of the test program, nor that of the
// universe.
TEST(Glob, PathologicalPatternsStayLinear) {
  std::string stars, deep_pattern, deep_path;
  for (int i = 0; i < 200; ++i) stars += "*a";
  for (int i = 0; i < 200; ++i) deep_pattern += "**/a/";
  for (int i = 0; i < 2000; ++i) deep_path += "a/";
  EXPECT_FALSE(match(stars + "b", std::string(5000, 'a')));
  EXPECT_FALSE(match(deep_pattern + "b", deep_path + "c"));
  EXPECT_FALSE(match("/" + std::string(5000, '['), std::string(4999, '[')));
  EXPECT_TRUE(match("/" + std::string(5000, '['), std::string(5000, '[')));
  EXPECT_FALSE(match("**/*a*a*a*a*a*a*a*b", deep_path + std::string(3000, 'a')));
}

TEST(GlobSet, EmptyMatchesEverythingAndAnyOneIsEnough) {
  EXPECT_TRUE(GlobSet().matches("x/y"));
  const GlobSet set({"*.jpg", "docs/**"}, false);
  EXPECT_FALSE(set.empty());
  EXPECT_TRUE(set.matches("a.jpg"));
  EXPECT_TRUE(set.matches("docs/x/y.txt"));
  EXPECT_FALSE(set.matches("a.txt"));
  EXPECT_EQ(set.globs()[1].pattern(), "docs/**");
}

}  // namespace
}  // namespace lacuna

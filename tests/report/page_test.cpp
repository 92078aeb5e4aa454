// SPDX-License-Identifier: GPL-3.0-or-later
// A page as text: that nothing gets out of its place, and that the data is what the disc has. tests/page has it in a
// browser.
#include "lacuna/page.h"

#include <gmock/gmock.h>
#include <openssl/evp.h>

#include "report/html.h"
#include "report/museum.h"
#include "report/script_safe.h"
#include "report/state_style.h"
#include "support/empty_source.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::StartsWith;

/// What ScriptSafe makes of a text that comes in pieces of so many bytes.
std::string safe(const std::string& text, std::size_t piece) {
  std::string out;
  const Sink sink = [&out](std::string_view s) { out += s; };
  report::ScriptSafe filter(sink);
  for (std::size_t at = 0; at < text.size(); at += piece) filter.sink()(std::string_view(text).substr(at, piece));
  filter.finish();
  return out;
}

TEST(ScriptSafe, ReplacesWhatCouldEndAnElementOrReorderTextWhereverPiecesEnd) {
  const std::string text = R"(["</script><!--&amp;","a)"
                           "\xe2\x80\xa8\xe2\x80\xaeg\xe2\x81\xa6\xc2\x9b\xd8\x9c\x7f"
                           R"(\u202e","Ærø 日本 😀 \"\\"])";
  for (std::size_t piece = 1; piece <= text.size(); ++piece) {
    const std::string out = safe(text, piece);
    EXPECT_EQ(out, R"(["\u003c/script\u003e\u003c!--\u0026amp;","a\u2028\u202eg\u2066\u009b\u061c\u007f\u202e",)"
                   R"("Ærø 日本 😀 \"\\"])")
        << piece;
  }
}

TEST(ScriptSafe, TheJsonStaysTheSame) {
  const std::string text = "[\"<\xe2\x80\xa8>&\xc2\x85\xe2\x82\xac\xd8\x9d\"]";
  const rapidjson::Document before = json_of(text), after = json_of(safe(text, 3));
  EXPECT_EQ(std::string(before[0].GetString()), after[0].GetString());
}

TEST(ScriptSafe, ACharacterThatNeverEndsIsHandedOn) { EXPECT_EQ(safe("ab\xe2\x80", 1), "ab\xe2\x80"); }

TEST(Html, TextIsNeverMarkup) {
  EXPECT_EQ(report::html("<a href=\"x\">'&'</a>"), "&#60;a href=&#34;x&#34;&#62;&#39;&#38;&#39;&#60;/a&#62;");
  EXPECT_EQ(report::html("photo\xe2\x80\xaegpj.exe\n"), "photo%E2%80%AEgpj.exe%0A");
  EXPECT_EQ(report::html("caf\xe9.iso"), "caf%E9.iso");  // A path in another encoding.
  EXPECT_EQ(report::html("Ærø 日本"), "Ærø 日本");
}

std::string page_of(const Museum& m, const PageOptions& options = {}) {
  const ReportContext context{"museum.iso --map 'a <b>.map'"};
  return text_of([&](const Sink& sink) {
    Page page(options, sink);
    EXPECT_TRUE(page.add({m.disc(), m.verdicts(), m.hits(), context, {"a <b>.map"}}).ok());
    page.finish();
  });
}

/// The first text between the two.
std::string between(const std::string& text, const std::string& from, const std::string& to) {
  const std::size_t begin = text.find(from);
  if (begin == std::string::npos) {
    ADD_FAILURE() << "no " << from;
    return {};
  }
  return text.substr(begin + from.size(), text.find(to, begin + from.size()) - begin - from.size());
}

rapidjson::Document data_of(const std::string& page, const std::string& name) {
  return json_of(between(page, "id=\"data-1-" + name + "\">", "</script>"));
}

TEST(Page, ThePolicyAllowsItsOwnScriptAndStyleAndNothingElse) {
  const std::string page = page_of(Museum());
  const auto hash = [](const std::string& text) {
    std::array<unsigned char, 32> digest;
    EVP_Digest(text.data(), text.size(), digest.data(), nullptr, EVP_sha256(), nullptr);
    std::array<unsigned char, 45> base64;
    EVP_EncodeBlock(base64.data(), digest.data(), 32);
    return "'sha256-" + std::string(reinterpret_cast<const char*>(base64.data())) + "'";
  };
  EXPECT_EQ(between(page, "Content-Security-Policy\" content=\"", "\""),
            "default-src 'none'; script-src " + hash(between(page, "<script>", "</script>")) + "; style-src " +
                hash(between(page, "<style>", "</style>")) + "; img-src data:; base-uri 'none'; form-action 'none'");
  for (const char* foreign : {"http://", "https://", "<link", "import ", "url(", "eval(", "innerHTML", "@import"}) {
    if (std::string(foreign) == "http://") continue;  // The name of SVG's name space.
    EXPECT_THAT(page, Not(HasSubstr(foreign)));
  }
  EXPECT_EQ(page.find("http://"), page.rfind("http://"));
  EXPECT_THAT(page, HasSubstr("\"http://www.w3.org/2000/svg\""));
}

TEST(Page, ItsStatesHaveTheColoursOfThePicture) {
  const std::string style = between(page_of(Museum()), "<style>", "</style>");
  for (const report::StateStyle& s : report::kStateStyles) {
    EXPECT_THAT(style, HasSubstr("--" + std::string(s.word) + ": " + report::hex(s.fill) + "; --" +
                                 std::string(s.word) + "-ink: " + report::hex(s.ink) + ";"));
  }
}

TEST(Page, ItsColumnsAreTheTree) {
  const Museum m;
  const Tree& tree = m.disc().tree();
  const rapidjson::Document files = data_of(page_of(m), "files");
  ASSERT_EQ(files["nodes"].GetUint64(), tree.size());
  for (const char* key : {"names", "depths", "sizes", "dates", "lbas"})
    EXPECT_EQ(files[key].Size(), tree.size()) << key;
  for (const char* key : {"states", "bases", "kinds", "topics", "views", "evidence"}) {
    EXPECT_EQ(files[key].GetStringLength(), tree.size()) << key;
  }
  for (NodeId id = 1; id < tree.size(); ++id) {
    const Node& n = tree.node(id);
    EXPECT_EQ(files["names"][id].GetString(), std::string(tree.name(n)));
    EXPECT_EQ(files["depths"][id].GetUint(), files["depths"][n.parent].GetUint() + 1);
    EXPECT_EQ(files["sizes"][id].GetUint64(), n.size);
    EXPECT_EQ(files["states"].GetString()[id] - '0', static_cast<int>(m.verdicts().of(id).state));
    const std::string key = std::to_string(id);
    EXPECT_EQ(files["missing"].HasMember(key.c_str()) ? files["missing"][key.c_str()].GetUint64() : 0,
              m.verdicts().of(id).missing_bytes);
  }
  const NodeId pier = m.id("photos/pier.jpg"), sea = m.id("Sommer %E5r/sea.dat"),
               mast = m.id("photos/mast, \"fore\".jpg");
  EXPECT_EQ(files["lbas"][pier].GetInt64(), 20);
  EXPECT_EQ(files["lbas"][sea].GetInt64(), -1);  // Interleaved, and not at the border of a sector.
  const auto numbers = [](const rapidjson::Value& array) {
    std::vector<std::int64_t> all;
    for (const auto& v : array.GetArray()) all.push_back(v.GetInt64());
    return all;
  };
  EXPECT_THAT(numbers(files["extents"][std::to_string(sea).c_str()]), ElementsAre(1, 60 * 2048 + 512, 3000, 1024, 512));
  EXPECT_THAT(numbers(files["gaps"][std::to_string(mast).c_str()]), ElementsAre(1, 4096, 4096, 3));
  // 1998-07-04 23:59 on a clock two hours east.
  EXPECT_EQ(files["dates"][pier].GetInt64(), 899596740);
  EXPECT_EQ(files["other_names"]["iso9660"][m.id("Long name.txt")].GetString(), std::string("LONGNA~1.TXT"));
}

TEST(Page, ItsRunsAreTheSectorsThatAreNotGood) {
  const rapidjson::Document disc = data_of(page_of(Museum()), "disc");
  std::vector<std::int64_t> runs;
  for (const auto& v : disc["runs"].GetArray()) runs.push_back(v.GetInt64());
  // Each from the end of the last: 30..31 bad, 40 unread, 45 bad, 50 suspect, 99 bad.
  EXPECT_THAT(runs, ElementsAre(30, 2, 3, 8, 1, 4, 4, 1, 3, 4, 1, 2, 48, 1, 3));
  EXPECT_EQ(disc["joined_below"].GetUint64(), 0u);
  EXPECT_EQ(disc["schema"].GetString(), std::string("lacuna/page/1"));
  EXPECT_EQ(disc["structures"]["list"].Size(), 4u);
}

TEST(Page, TooManyRunsAreJoinedAndItSaysSo) {
  std::vector<SectorRun> runs;
  for (std::uint64_t i = 0; i < 250'000; ++i) runs.push_back({i * 3, 1, SectorState::kBad});
  runs[7].state = SectorState::kUnread;
  std::vector<SectorMap> maps;
  maps.push_back(SectorMap::from_runs(std::move(runs)));
  const auto image = Image::from_source(std::make_unique<EmptySource>(750'000), std::move(maps), "many.iso");
  HandDisc hand(*image);
  hand.finish();
  const Verdicts verdicts = std::move(judge(hand.disc())).value();
  const Hits hits = find_hits(hand.disc(), verdicts);
  const ReportContext context;
  const std::string page = text_of([&](const Sink& sink) {
    Page p({}, sink);
    EXPECT_TRUE(p.add({hand.disc(), verdicts, hits, context, {}}).ok());
    p.finish();
  });
  const rapidjson::Document disc = data_of(page, "disc");
  EXPECT_GT(disc["joined_below"].GetUint64(), 2u);
  EXPECT_LE(disc["runs"].Size(), 3 * 200'000u);
  // Nothing that is not good is left out, and the worst is what is told.
  std::uint64_t covered = 0;
  for (rapidjson::SizeType i = 0; i < disc["runs"].Size(); i += 3) covered += disc["runs"][i + 1].GetUint64();
  EXPECT_GE(covered, 250'000u);
  EXPECT_EQ(disc["runs"][2].GetUint(), static_cast<unsigned>(SectorState::kUnread));
}

TEST(Page, NamesOfMapsAndCommandsAreText) {
  const std::string page = page_of(Museum());
  EXPECT_THAT(page, HasSubstr("a &#60;b&#62;.map"));
  EXPECT_THAT(page, Not(HasSubstr("<b>")));
}

TEST(Page, WithoutAMapItSaysFirstWhatWholeRestsOn) {
  const std::string page = page_of(Museum("museum.iso", false));
  const std::size_t basis = page.find("Basis: assumed");
  EXPECT_LT(basis, page.find("class=\"verdict\""));
  EXPECT_THAT(page_of(Museum()), Not(HasSubstr("Basis: assumed")));
}

TEST(Page, OfABoxHasARowForEachDiscAlsoForOneThatCouldNotBeRead) {
  const Museum m;
  const ReportContext context;
  PageOptions options;
  options.box = true;
  const std::string page = text_of([&](const Sink& sink) {
    Page p(options, sink);
    p.add_unreadable("<gone>.iso", "no such file");
    EXPECT_TRUE(p.add({m.disc(), m.verdicts(), m.hits(), context, {}}).ok());
    EXPECT_TRUE(p.add({m.disc(), m.verdicts(), m.hits(), context, {}}).ok());
    p.finish();
  });
  EXPECT_THAT(page, HasSubstr("The box: 3 discs"));
  EXPECT_THAT(page, HasSubstr("10 of 18 files are whole. 1 image could not be read."));
  EXPECT_THAT(page, HasSubstr("<td>&#60;gone&#62;.iso</td><td colspan=\"6\">no such file</td>"));
  EXPECT_THAT(page, HasSubstr("id=\"data-2-files\""));
}

TEST(Page, WithoutADiscItIsStillAPage) {
  PageOptions options;
  options.box = true;
  const std::string page = text_of([&](const Sink& sink) {
    Page p(options, sink);
    p.add_unreadable("a.iso", "gone");
    p.finish();
  });
  EXPECT_THAT(page, StartsWith("<!doctype html>"));
  EXPECT_THAT(page, HasSubstr("</html>"));
}

TEST(Page, IsHandedOutInPieces) {
  const Museum m;
  const ReportContext context;
  std::size_t largest = 0;
  const Sink sink = [&largest](std::string_view piece) { largest = std::max(largest, piece.size()); };
  Page page({}, sink);
  for (int i = 0; i < 20; ++i) EXPECT_TRUE(page.add({m.disc(), m.verdicts(), m.hits(), context, {}}).ok());
  page.finish();
  EXPECT_LT(largest, 256u * 1024);
}

}  // namespace
}  // namespace lacuna::test

// SPDX-License-Identifier: GPL-3.0-or-later
#include <gmock/gmock.h>

#include "lacuna/pull.h"
#include "pull_box.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

using Kind = VerifyProblem::Kind;

/// A folder that was pulled a moment ago.
class Verify : public ::testing::Test {
 protected:
  Verify() {
    const std::size_t sub = box_.directory("sub");
    box_.file("a", noise(1000, 1));
    box_.file("b", noise(3 << 20, 2), sub);
    box_.symlink("link", "sub/b");
    const std::uint64_t lba = box_.file("hurt", noise(9000, 3));
    box_.open(box_.memory().mark(lba, 1, SectorState::kBad));
    PullOptions options;
    options.damaged = true;
    box_.pull(options);
  }
  fs::path at(std::string_view path) const { return box_.to() / path; }
  /// (kind, path) of each problem.
  std::vector<std::string> problems() const {
    std::vector<std::string> out;
    const auto report = verify(box_.to());
    if (!report) return {"error: " + report.error().message};
    for (const VerifyProblem& p : report->problems) out.push_back(std::string(to_string(p.kind)) + " " + p.path);
    return out;
  }
  void change_text(std::string_view file, const std::string& from, const std::string& to) const {
    std::string text = read_text(at(file));
    const std::size_t found = text.find(from);
    ASSERT_NE(found, std::string::npos) << from;
    write_file(at(file), text.replace(found, from.size(), to));
  }

  PullBox box_;
};

TEST_F(Verify, AllIsRight) {
  const auto report = verify(box_.to());
  ASSERT_TRUE(report.ok()) << report.error().message;
  EXPECT_THAT(report->problems, IsEmpty());
  EXPECT_EQ(report->files_right, 5u);  // a, sub/b, link, _damaged/hurt and the list of its gaps
  EXPECT_EQ(report->not_whole, 1u);
  EXPECT_GE(report->bytes_right, 1000u + (3 << 20) + 9000u);
}

TEST_F(Verify, MissingChangedAndSurplusFiles) {
  fs::remove(at("a"));
  std::string b = read_text(at("sub/b"));
  b[2 << 20] = static_cast<char>(b[2 << 20] ^ 1);
  write_file(at("sub/b"), b);
  write_file(at("sub/new"), "new");
  write_file(at("_damaged/hurt"), "shorter");
  write_file(at("_damaged/hurt.gaps.txt"), "none, really");
  EXPECT_THAT(problems(), ElementsAre("changed _damaged/hurt", "changed _damaged/hurt.gaps.txt", "missing a",
                                      "changed sub/b", "surplus sub/new"));
}

TEST_F(Verify, LinksAreCheckedByWhereTheyLead) {
  fs::remove(at("link"));
  fs::create_symlink("a", at("link"));
  EXPECT_THAT(problems(), ElementsAre("changed link"));
  fs::remove(at("link"));
  write_file(at("link"), "a file");
  EXPECT_THAT(problems(), ElementsAre("changed link"));
}

TEST_F(Verify, LinksInTheFolderAreNeverFollowed) {
  fs::create_directory(box_.scratch() / "outside");
  fs::copy_file(at("sub/b"), box_.scratch() / "outside/b");
  fs::remove_all(at("sub"));
  fs::create_directory_symlink(box_.scratch() / "outside", at("sub"));
  EXPECT_THAT(problems(), ElementsAre("surplus sub", "missing sub/b"));
}

TEST_F(Verify, SpecialFilesAreNotOpened) {
  fs::remove(at("a"));
  ASSERT_EQ(::mkfifo(at("a").c_str(), 0666), 0);  // reading it would wait for ever
  EXPECT_THAT(problems(), ElementsAre("changed a"));
}

TEST_F(Verify, SumsThatDisagreeWithTheManifest) {
  const std::string sha256 = box_.manifest().at("a").sums.sha256;
  change_text(kSumsName, sha256, std::string(64, '0'));
  EXPECT_THAT(problems(), ElementsAre("sums-disagree a"));
  change_text(kSumsName, std::string(64, '0') + "  a\n", "");
  EXPECT_THAT(problems(), ElementsAre("sums-disagree a"));
  std::ofstream(at(kSumsName), std::ios::app) << std::string(64, '1') << "  unknown\nno sum\n";
  EXPECT_THAT(problems(), ElementsAre("sums-disagree SHA256SUMS", "sums-disagree a", "sums-disagree unknown"));
  fs::remove(at(kSumsName));
  EXPECT_THAT(problems(), ElementsAre("missing SHA256SUMS"));
}

TEST_F(Verify, AChangedManifestIsNoticed) {
  change_text(kManifestName, "\"state\":\"damaged\"", "\"state\":\"whole\"");
  EXPECT_THAT(problems(), ElementsAre("changed lacuna-manifest.jsonl"));
}

TEST_F(Verify, OneForgedChecksumIsNotEnough) {
  change_text(kManifestName, box_.manifest().at("a").sums.xxh3_128, std::string(32, '0'));
  EXPECT_THAT(problems(), ElementsAre("changed a", "changed lacuna-manifest.jsonl"));
}

TEST_F(Verify, HostileManifestsNeverLeadOutside) {
  write_file(box_.scratch() / "outside", "x");
  for (const std::string path : {"../outside", "/etc/passwd", "sub/../../outside", "./a", "sub//b", ""}) {
    PullBox fresh;
    fresh.file("a", "a");
    fresh.open();
    fresh.pull();
    std::string text = read_text(fresh.to() / kManifestName);
    const std::string from = "\"target\":\"a\"";
    text.replace(text.find(from), from.size(), "\"target\":\"" + path + "\"");
    write_file(fresh.to() / kManifestName, text);
    const auto report = verify(fresh.to());
    if (path.empty()) {  // stands for "not in the folder": then the file there is one too many
      ASSERT_TRUE(report.ok());
      continue;
    }
    ASSERT_FALSE(report.ok()) << path;
    EXPECT_EQ(report.error().code, ErrorCode::kBadInput);
    EXPECT_THAT(report.error().message, HasSubstr("lacuna-manifest.jsonl:2: "));
    EXPECT_THAT(report.error().message, HasSubstr("leads outside the folder"));
  }
}

TEST_F(Verify, BadLinesAreErrorsWithTheirNumber) {
  const std::string good = read_text(at(kManifestName));
  const std::string nested(1 << 20, '[');
  for (const std::string& line :
       {std::string("no json"), std::string("[]"), std::string("{}"), nested, "{\"path\":" + nested,
        std::string(R"({"path":"x","kind":"file","state":"fine","outcome":"pulled"})"),
        std::string(R"({"path":"x","kind":"file","state":"whole","outcome":"pulled","target":"x"})"),
        std::string(R"({"path":"x","kind":"file","state":"whole","outcome":"pulled","size":-1})"),
        std::string("{\"path\":\"\xFF\"}"), std::string("")}) {
    write_file(at(kManifestName), good + line + "\n");
    const auto report = verify(box_.to());
    ASSERT_FALSE(report.ok()) << line.substr(0, 100);
    EXPECT_EQ(report.error().code, ErrorCode::kBadInput);
    EXPECT_THAT(report.error().message, HasSubstr("lacuna-manifest.jsonl:6: ")) << line.substr(0, 100);
    EXPECT_LT(report.error().message.size(), 1000u);
  }
  write_file(at(kManifestName), good.substr(0, good.size() - 10));
  EXPECT_THAT(problems(), ElementsAre(HasSubstr("lacuna-manifest.jsonl:5: the line is cut short")));
}

TEST_F(Verify, NoManifestNoFolder) {
  fs::remove(at(kManifestName));
  auto report = verify(box_.to());
  ASSERT_FALSE(report.ok());
  EXPECT_EQ(report.error().code, ErrorCode::kNotReadable);
  report = verify(box_.scratch() / "none");
  ASSERT_FALSE(report.ok());
  EXPECT_EQ(report.error().code, ErrorCode::kNotReadable);
  report = verify(at("a"));
  ASSERT_FALSE(report.ok());
  EXPECT_EQ(report.error().code, ErrorCode::kNotReadable);
  write_file(at(kManifestName), "{\"schema\":\"other/1\"}\n");
  report = verify(box_.to());
  ASSERT_FALSE(report.ok());
  EXPECT_EQ(report.error().code, ErrorCode::kBadInput);
}

TEST_F(Verify, AnInterruptedPullIsSaid) {
  write_file(at(kWorkName), "{}\n");
  const auto report = verify(box_.to());
  ASSERT_TRUE(report.ok());
  ASSERT_EQ(report->problems.size(), 1u);
  EXPECT_EQ(report->problems[0].kind, Kind::kSurplus);
  EXPECT_THAT(report->problems[0].text, HasSubstr("interrupted"));
}

TEST_F(Verify, CanBeStopped) {
  const auto report = verify(box_.to(), 1, [](const Progress&) { return false; });
  ASSERT_FALSE(report.ok());
  EXPECT_EQ(report.error().code, ErrorCode::kCancelled);
}

}  // namespace
}  // namespace lacuna::test

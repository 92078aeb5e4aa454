// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/reads_record.h"

#include <rapidjson/document.h>

#include <algorithm>
#include <bit>
#include <fstream>
#include <string>
#include <system_error>
#include <vector>

#include "salvage/json_line.h"

namespace lacuna {
namespace {

constexpr std::size_t kPieceBytes = 64 * 1024;

std::vector<std::uint64_t> numbers_of(ReadMask mask) {
  std::vector<std::uint64_t> numbers;
  for (; mask != 0; mask &= mask - 1) numbers.push_back(static_cast<std::uint64_t>(std::countr_zero(mask)));
  return numbers;
}

void put_numbers(LineWriter& line, std::string_view name, ReadMask mask) {
  if (mask == 0) return;
  line.array(name, numbers_of(mask), [&](std::uint64_t n) { line.value(n); });
}

void put_read(LineWriter& line, const ReadFacts& facts, const DiscRead& read) {
  line.open();
  line.put("name", facts.name);
  line.put_texts("maps", read.maps);
  line.put("form", facts.drive ? "drive" : facts.raw ? "raw" : "plain");
  if (facts.agreement.compared != 0) {
    line.put("compared", facts.agreement.compared);
    line.put("equal", facts.agreement.equal);
  }
  if (facts.agreement.shift_bytes != 0) line.put_signed("shift_bytes", facts.agreement.shift_bytes);
  line.put("good", facts.good);
  line.put("gave", facts.gave);
  line.put("alone", facts.alone);
  line.put("contradicted", facts.contradicted);
  line.close();
}

constexpr std::size_t kLongestHead = 1 << 20;

}  // namespace

std::vector<std::string> sources_of(const std::filesystem::path& image) {
  std::error_code error;
  const std::filesystem::path full = std::filesystem::weakly_canonical(image, error);
  std::vector<std::string> sources{error ? image.string() : full.string()};
  // A record that can't be read tells nothing; it is no input of its own.
  std::ifstream record(image.string() + ".reads.jsonl");
  std::string head(kLongestHead, '\0');
  record.read(head.data(), static_cast<std::streamsize>(head.size()));
  head.resize(static_cast<std::size_t>(record.gcount()));
  head.resize(std::min(head.find('\n'), head.size()));
  rapidjson::Document json;
  json.Parse<rapidjson::kParseIterativeFlag>(head.data(), head.size());
  if (!json.HasParseError() && json.IsObject() && json.HasMember("sources") && json["sources"].IsArray()) {
    for (const auto& source : json["sources"].GetArray()) {
      if (source.IsString()) sources.emplace_back(source.GetString(), source.GetStringLength());
    }
  }
  std::ranges::sort(sources);
  return sources;
}

int write_reads_record(const CombineReport& report, std::span<const DiscRead> reads, const SettledRuns& runs,
                       const std::function<int(std::string_view)>& write) {
  LineWriter head;
  head.put("schema", "lacuna/reads/1");
  head.put("first_lba", report.first_lba);
  head.put("sectors", report.sectors);
  head.put("sector_bytes", report.raw ? kRawSectorBytes : kSectorBytes);
  head.put("basis", to_string(report.basis));
  std::vector<std::string> sources;
  for (const DiscRead& read : reads) sources.insert(sources.end(), read.sources.begin(), read.sources.end());
  head.put_texts("sources", sources);
  std::size_t n = 0;
  head.array("reads", report.reads, [&](const ReadFacts& facts) { put_read(head, facts, reads[n++]); });
  std::string text = head.finish() + "\n";
  for (const SettledRun& run : runs) {
    LineWriter line;
    line.put("lba", run.first);
    line.put("sectors", run.count);
    line.put("state", to_string(run.state));
    line.put("how", to_string(run.how));
    put_numbers(line, "reads", run.reads);
    put_numbers(line, "against", run.against);
    text += line.finish() + "\n";
    if (text.size() < kPieceBytes) continue;
    if (const int error = write(text); error != 0) return error;
    text.clear();
  }
  return text.empty() ? 0 : write(text);
}

}  // namespace lacuna

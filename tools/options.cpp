// SPDX-License-Identifier: GPL-3.0-or-later
#include "options.h"

#include <unistd.h>

#include <charconv>

#include "command.h"

namespace lacuna::tool {

std::optional<std::uint64_t> parse_number(const std::string& text) {
  const bool hex = text.starts_with("0x") || text.starts_with("0X");
  const char* first = text.data() + (hex ? 2 : 0);
  const char* last = text.data() + text.size();
  std::uint64_t value = 0;
  const auto [end, error] = std::from_chars(first, last, value, hex ? 16 : 10);
  if (error != std::errc{} || end != last || first == last) return std::nullopt;
  return value;
}

namespace {

std::uint64_t number_for(const std::string& option, const std::string& text, std::uint64_t largest) {
  const std::optional<std::uint64_t> value = parse_number(text);
  if (!value || *value > largest) {
    throw CLI::ValidationError(
        option, "'" + text + "' is not a number from 0 to " + std::to_string(largest) + " (decimal or 0x-hex)");
  }
  return *value;
}

void add_list(CLI::App& app, const std::string& name, std::vector<std::string>& values, const std::string& help,
              const std::string& what, CLI::Option* needed = nullptr) {
  CLI::Option* option = add_repeated(app, name, values, help)->delimiter(',')->option_text(what);
  if (needed != nullptr) option->needs(needed);
}

}  // namespace

CLI::Option* add_number(CLI::App& app, const std::string& name, std::uint64_t& value, const std::string& help,
                        std::uint64_t largest) {
  return app.add_option_function<std::string>(
      name, [&value, name, largest](const std::string& text) { value = number_for(name, text, largest); }, help);
}

CLI::Option* add_repeated(CLI::App& app, const std::string& name, std::vector<std::string>& values,
                          const std::string& help) {
  return app.add_option(name, values, help)
      ->allow_extra_args(false)
      ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
}

void CommonArguments::add_to(CLI::App& app) {
  add_number(app, "--threads", threads, "Work with N threads; default: as many as the machine has", 1024)
      ->option_text("N");
  app.add_flag("--quiet", quiet, "No notes and no progress on standard error, only errors");
  app.add_option("--progress", progress, "auto: a line on standard error when it is a terminal; off: none")
      ->check(CLI::IsMember({"auto", "off"}))
      ->option_text("auto|off");
}

bool CommonArguments::shows_progress() const { return !quiet && progress == "auto" && ::isatty(STDERR_FILENO) != 0; }

void CommonArguments::note(const std::string& message) const {
  if (!quiet) say(message);
}

void FormatArgument::add_to(CLI::App& app, std::vector<std::string> words) {
  std::string all;
  for (const std::string& w : words) all.append(all.empty() ? "" : "|").append(w);
  app.add_option("--format", word, "How to print the results; default: text")
      ->check(CLI::IsMember(std::move(words)))
      ->option_text(all);
}

Format FormatArgument::format() const {
  if (word == "json") return Format::kJson;
  if (word == "ndjson") return Format::kNdjson;
  if (word == "csv") return Format::kCsv;
  return Format::kText;
}

void ImageArguments::add_to(CLI::App& app) {
  app.add_option("IMAGE", image,
                 "The image of a disc, or a device. Of numbered parts (x.001, x.002, ...)\ngive the first")
      ->required()
      ->option_text(" ");
  add_reading_to(app);
}

void ImageArguments::add_many_to(CLI::App& app) {
  app.add_option("IMAGE", many,
                 "The image of a disc, or a device. Of numbered parts (x.001, x.002, ...) give the\n"
                 "first. Of several, each can have its map behind its name: IMAGE,map=FILE")
      ->required()
      ->option_text("...");
  add_reading_to(app);
}

void ImageArguments::add_reading_to(CLI::App& app) {
  const std::string parts_of = "Parts", maps_of = "What is known of the sectors", reading = "What to read of it";
  add_repeated(app, "--part", parts, "A further part of the image, in order; repeat it")
      ->option_text("FILE")
      ->group(parts_of);
  add_number(app, "--starts-at", starts_at, "The image begins at this LBA of the disc; default: 0", kMaxSectors)
      ->option_text("LBA")
      ->group(parts_of);

  add_repeated(app, "--map", maps, "A map of sector states, made when the disc was read; repeat it for more")
      ->option_text("FILE")
      ->group(maps_of);
  app.add_flag("--no-look-inside", no_look_inside,
               "Without a map, do not read the files' contents: faster, but a file whose\n"
               "unreadable sectors were filled up while imaging is then called whole")
      ->group(maps_of);
  CLI::Option* columns = add_repeated(app, "--map-columns", map_columns,
                                      "The map is a log with these columns: first, count, end (one past the last),\n"
                                      "last, state, or - for one to pass over")
                             ->delimiter(',')
                             ->option_text("A,B,...")
                             ->group(maps_of);
  app.add_option("--map-unit", map_unit, "Unit of the numbers in that log")
      ->check(CLI::IsMember({"sectors", "bytes", "512"}))
      ->option_text("sectors|bytes|512")
      ->needs(columns)
      ->group(maps_of);
  add_list(app, "--map-good", map_good, "Words in its state column that mean good", "WORD,...", columns);
  add_list(app, "--map-bad", map_bad, "Words in its state column that mean bad", "WORD,...", columns);
  app.get_option("--map-good")->group(maps_of);
  app.get_option("--map-bad")->group(maps_of);

  app.add_option("--view", view, "Only this view of the volume; default: all united, the best name first")
      ->check(CLI::IsMember({"rockridge", "udf", "joliet", "enhanced", "iso9660"}))
      ->option_text("VIEW")
      ->group(reading);
  app.add_option("--session", session, "The session to read, or all; default: the last")
      ->option_text("N|all")
      ->check([](const std::string& text) {
        const std::optional<std::uint64_t> n = parse_number(text);
        const bool right = text == "all" || (n && *n >= 1 && *n <= 0xffffffff);
        return right ? std::string{} : "'" + text + "' is neither a session's number nor all";
      })
      ->group(reading);
  add_list(app, "--session-starts", session_starts, "Where sessions start, if the disc's table of contents tells you",
           "LBA,...");
  app.get_option("--session-starts")->group(reading)->check([](const std::string& text) {
    const std::optional<std::uint64_t> n = parse_number(text);
    return n && *n < kMaxSectors ? std::string{} : "'" + text + "' is not an LBA";
  });
  app.add_option("--scan", scan,
                 "Look through all sectors for lost structures: when\nsomething is missing (auto), always, never")
      ->check(CLI::IsMember({"auto", "always", "never"}))
      ->option_text("auto|always|never")
      ->group(reading);
  app.add_flag("--unclaimed", unclaimed,
               "Also readable stretches that no file and no structure\nclaims, as _unclaimed/")
      ->group(reading);
  app.add_flag("--deleted", deleted, "Also what is only named as deleted (UDF); its place may hold other data by now")
      ->group(reading);
  app.add_flag("--streams", streams, "Also the named streams of files (UDF), as FILE:STREAM")->group(reading);
  app.add_option("--names-charset", names_charset,
                 "The code page of 8-bit names, as iconv calls it (CP437, SHIFT_JIS, ...)")
      ->option_text("CHARSET")
      ->group(reading);
}

std::string ImageArguments::quoted() const {
  // A leading '-' would be taken for an option.
  std::string text = shell_quoted(image.starts_with('-') ? "./" + image : image);
  const auto add = [&text](const char* option, const std::string& value) {
    if (!value.empty()) text.append(" ").append(option).append(" ").append(shell_quoted(value));
  };
  const auto add_joined = [&add](const char* option, const std::vector<std::string>& values) {
    std::string joined;
    for (const std::string& v : values) joined.append(joined.empty() ? "" : ",").append(v);
    add(option, joined);
  };
  for (const std::string& part : parts) add("--part", part);
  if (starts_at != 0) add("--starts-at", std::to_string(starts_at));
  for (const std::string& map : maps) add("--map", map);
  add_joined("--map-columns", map_columns);
  if (map_unit != "sectors") add("--map-unit", map_unit);
  add_joined("--map-good", map_good);
  add_joined("--map-bad", map_bad);
  add("--view", view);
  add("--session", session);
  add_joined("--session-starts", session_starts);
  add("--names-charset", names_charset);
  if (scan != "auto") add("--scan", scan);
  if (unclaimed) text += " --unclaimed";
  if (deleted) text += " --deleted";
  if (streams) text += " --streams";
  if (no_look_inside) text += " --no-look-inside";
  return text;
}

DiscOptions ImageArguments::disc_options() const {
  DiscOptions options;
  if (!view.empty()) options.view = view_from(view);
  if (session == "all") {
    options.all_sessions = true;
  } else if (!session.empty()) {
    options.session = static_cast<std::uint32_t>(*parse_number(session));
  }
  for (const std::string& start : session_starts) options.session_starts.push_back(*parse_number(start));
  options.names_charset = names_charset;
  options.deleted = deleted;
  options.streams = streams;
  options.scan = scan == "always" ? ScanMode::kAlways : scan == "never" ? ScanMode::kNever : ScanMode::kAuto;
  options.unclaimed = unclaimed;
  return options;
}

void GlobArguments::add_to(CLI::App& app) {
  app.add_option("GLOB", patterns,
                 "Only these: * and ? within a name, ** over folders; without a / at any\ndepth. Default: all")
      ->option_text("...");
}

bool GlobArguments::all_match(const Disc& disc) const {
  const Tree& tree = disc.tree();
  const GlobSet set = globs();
  std::vector<const Glob*> open;
  for (const Glob& g : set.globs()) open.push_back(&g);
  for (NodeId id = kRoot + 1; id < tree.size() && !open.empty(); ++id) {
    const std::string path = tree.path(id);
    std::erase_if(open, [&path](const Glob* g) { return g->matches(path); });
  }
  for (const Glob* g : open) say("'" + g->pattern() + "' matches nothing on this disc; letter case counts");
  return open.empty();
}

bool GlobArguments::name_single_files(const Disc& disc) const {
  const Tree& tree = disc.tree();
  std::vector<std::string> paths;
  for (const std::string& p : patterns) {
    // Without a '/' a pattern means any depth, and so also what an unreadable directory held.
    if (p.find('/') == std::string::npos || p.find_first_of("*?[\\") != std::string::npos) return false;
    paths.push_back(p.front() == '/' ? p.substr(1) : p);
  }
  for (NodeId id = kRoot + 1; id < tree.size() && !paths.empty(); ++id) {
    if (!tree.node(id).is_directory()) std::erase(paths, tree.path(id));
  }
  return !patterns.empty() && paths.empty();
}

}  // namespace lacuna::tool

// SPDX-License-Identifier: GPL-3.0-or-later
// The frame of a page: head, discs, overview, scripts. Its sources are the files in page/, which are embedded when the
// library is built.
#include "report/page.h"

#include <openssl/evp.h>

#include <array>
#include <map>

#include "report/base64.h"
#include "report/html.h"
#include "report/page_text.h"
#include "report/script_safe.h"
#include "report/thumbnails.h"

namespace lacuna {
namespace report {
namespace {

/// As Content Security Policy names the one script or style that may run (CSP level 3, 2.3.1).
std::string hash_source(std::string_view text) {
  std::array<std::uint8_t, 32> digest{};
  EVP_Digest(text.data(), text.size(), digest.data(), nullptr, EVP_sha256(), nullptr);
  return "'sha256-" + base64(digest) + '\'';
}

}  // namespace

/// What is written before, between and behind the discs.
struct PageFrame {
  PageFrame(const PageOptions& o, const Sink& s) : options(o), sink(s), out(s), box(o.box) {}

  /// Everything before the discs. `title` is for the head.
  void begin(std::string_view title) {
    if (begun) return;
    begun = true;
    const std::string policy = fmt::format(
        "default-src 'none'; script-src {}; style-src {}; img-src data:; base-uri 'none'; form-action 'none'",
        hash_source(page_script()), hash_source(page_style()));
    put_template(page_head(), {{"policy", policy},
                               {"title", html(title)},
                               {"style", std::string(page_style())},
                               {"when", options.when.empty() ? "" : html(", " + options.when)},
                               {"version", LACUNA_VERSION}});
  }

  /// `{{name}}` in the text stands for a value.
  void put_template(std::string_view text, const std::map<std::string, std::string, std::less<>>& values) {
    for (std::size_t at = 0;;) {
      const std::size_t open = text.find("{{", at);
      out.add(text.substr(at, open == std::string_view::npos ? open : open - at));
      if (open == std::string_view::npos) return;
      const std::size_t close = text.find("}}", open);
      out.add(values.at(std::string(text.substr(open + 2, close - open - 2))));
      at = close + 2;
    }
  }

  /// A data block that scripts find by its name.
  template <class Put>
  void put_data(std::size_t number, std::string_view name, Put&& put) {
    out.print("<script type=\"application/json\" id=\"data-{}-{}\">", number, name);
    out.finish();
    ScriptSafe safe(sink);
    Out inner(safe.sink());
    put(inner);
    inner.finish();
    safe.finish();
    out.add("</script>\n");
  }

  void add_row(const PageDisc& page, std::size_t number, Medium medium) {
    BoxRow row;
    row.number = number;
    row.image = page.disc.image().name();
    row.title = disc_title(page.disc);
    row.medium = medium_title(medium);
    row.states = page.verdicts.counts();
    for (const StateCount& c : row.states) {
      row.all.files += c.files;
      row.all.bytes += c.bytes;
    }
    row.hurt_directories = page.verdicts.hurt_directories();
    row.basis = page.verdicts.basis();
    rows.push_back(std::move(row));
  }

  const PageOptions options;
  const Sink& sink;
  Out out;
  bool box, begun = false;
  std::size_t discs = 0;
  std::vector<BoxRow> rows;
};

}  // namespace report

struct Page::Impl : report::PageFrame {
  using PageFrame::PageFrame;
};

Page::Page(const PageOptions& options, const Sink& sink) : impl_(std::make_unique<Impl>(options, sink)) {}
Page::~Page() = default;

Result<Done> Page::add(const PageDisc& page) {
  PlanOptions plan_options;
  const PictureOptions& picture = impl_->options.picture;
  plan_options.medium = picture.type ? medium_of(*picture.type) : picture.medium;
  Result<Plan> plan = make_plan(page.disc, page.verdicts, plan_options);
  if (!plan) return plan.error();
  const std::size_t number = ++impl_->discs;
  const report::SurveyFacts survey = report::gather_facts(page.disc, page.verdicts, page.hits);
  const report::PageFacts facts{page, picture, survey, *plan, number};
  report::Thumbnails thumbnails;
  if (impl_->options.thumbnails) {
    Result<report::Thumbnails> made = report::make_thumbnails(page.disc, page.verdicts, impl_->options.progress);
    if (!made) return made.error();
    thumbnails = std::move(made).value();
  }

  report::Out& out = impl_->out;
  impl_->begin(impl_->box ? "A box of discs" : report::disc_title(page.disc));
  out.print(
      "<article class=\"disc\" id=\"disc-{0}\" tabindex=\"-1\" aria-labelledby=\"d{0}-name\">\n<header "
      "class=\"disc-head\">"
      "<h2 id=\"d{0}-name\">{1}</h2><p>{2}</p></header>\n",
      number, report::html(report::disc_title(page.disc)), report::html(page.disc.image().name()));
  report::put_page_summary(facts, out);
  out.print("<div class=\"parts\" id=\"parts-{}\"></div>\n", number);
  report::put_page_provenance(facts, out);
  out.add("</article>\n");
  impl_->put_data(number, "disc", [&](report::Out& to) { report::put_page_disc(facts, to); });
  impl_->put_data(number, "files", [&](report::Out& to) { report::put_page_files(facts, to); });
  impl_->put_data(number, "plan", [&](report::Out& to) { report::put_page_plan(facts, to); });
  if (impl_->options.thumbnails) {
    impl_->put_data(number, "thumbnails", [&](report::Out& to) { report::put_thumbnails(thumbnails, to); });
  }
  impl_->add_row(page, number, plan->medium);
  return Done{};
}

void Page::add_unreadable(const std::string& image, const std::string& why) {
  report::BoxRow row;
  row.image = image;
  row.why = why;
  impl_->rows.push_back(std::move(row));
}

void Page::finish() {
  impl_->begin("A box of discs");
  if (impl_->box) report::put_page_box(impl_->rows, impl_->out);
  impl_->put_template(report::page_foot(),
                      {{"script", std::string(report::page_script())}, {"version", LACUNA_VERSION}});
  impl_->out.finish();
}

}  // namespace lacuna

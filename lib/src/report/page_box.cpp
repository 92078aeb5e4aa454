// SPDX-License-Identifier: GPL-3.0-or-later
// The overview of several discs: a row each.
#include <algorithm>

#include "report/html.h"
#include "report/page.h"
#include "report/words.h"

namespace lacuna::report {

void put_page_box(const std::vector<BoxRow>& rows, Out& out) {
  std::uint64_t files = 0, whole = 0, unread = 0;
  for (const BoxRow& r : rows) {
    files += r.all.files;
    whole += r.states[0].files;
    unread += r.number == 0;
  }
  out.print(
      "<section id=\"box\" aria-labelledby=\"box-name\">\n<h2 id=\"box-name\">The box: {}</h2>\n<p>{} of {} are whole.",
      counted(rows.size(), "disc"), grouped(whole), counted(files, "file"));
  if (unread != 0) out.print(" {} could not be read.", counted(unread, "image"));
  out.add(
      "</p>\n<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"The discs\"><table class=\"box\">"
      "<caption class=\"quiet\">A row for each disc</caption><thead><tr><th scope=\"col\">Disc</th>"
      "<th scope=\"col\">Image</th><th scope=\"col\">Medium</th><th scope=\"col\" class=\"n\">Files</th>"
      "<th scope=\"col\" class=\"n\">Whole</th><th scope=\"col\" class=\"n\">Not whole</th>"
      "<th scope=\"col\" class=\"n\">Size</th><th scope=\"col\">By state</th></tr></thead><tbody>\n");
  for (const BoxRow& r : rows) {
    if (r.number == 0) {
      out.print("<tr><th scope=\"row\">not read</th><td>{}</td><td colspan=\"6\">{}</td></tr>\n", html(r.image),
                html(r.why));
      continue;
    }
    out.print(
        "<tr><th scope=\"row\"><a href=\"#disc-{}\">{}</a></th><td>{}</td><td>{}</td><td class=\"n\">{}</td>"
        "<td class=\"n\">{}</td><td class=\"n\">{}{}</td><td class=\"n\">{}</td><td class=\"bars\">",
        r.number, html(r.title), html(r.image), html(r.medium), grouped(r.all.files), grouped(r.states[0].files),
        grouped(r.all.files - r.states[0].files), r.hurt_directories == 0 ? "" : " +", human_bytes(r.all.bytes));
    put_page_bar(r.states, out);
    out.add("</td></tr>\n");
  }
  out.add("</tbody></table></div>\n");
  if (std::ranges::any_of(rows, [](const BoxRow& r) { return r.hurt_directories != 0; })) {
    out.add("<p class=\"quiet\">+ There may be more: folders could not be read in full.</p>\n");
  }
  if (std::ranges::any_of(rows, [](const BoxRow& r) { return r.number != 0 && r.basis == Basis::kAssumed; })) {
    out.add(
        "<p class=\"note\" role=\"note\">Where nobody said which sectors were read without error (basis: assumed), "
        "whole "
        "means only that nothing in the image speaks against it. Each disc says what it rests on.</p>\n");
  }
  out.add("</section>\n");
}

}  // namespace lacuna::report

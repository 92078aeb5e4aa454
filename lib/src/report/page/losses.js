// SPDX-License-Identifier: GPL-3.0-or-later
// The files that are not whole, with their gaps.

const svgEl = (tag, attributes, ...children) => {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  element.append(...children);
  return element;
};

// Where in a file its gaps are; the words beside it say the same.
const gapBar = (gaps, size) => {
  const bar = svgEl("svg", { class: "gapbar", viewBox: "0 0 1000 10", preserveAspectRatio: "none", "aria-hidden": "true" },
    svgEl("rect", { class: "there", width: 1000, height: 10 }));
  for (let i = 1; i < gaps.length; i += 3) {
    const from = size === 0 ? 0 : (gaps[i] / size) * 1000;
    const width = size === 0 ? 1000 : Math.max(4, (gaps[i + 1] / size) * 1000);
    bar.append(svgEl("rect", {
      class: `gap ${SECTOR_STATES[gaps[i + 2]]}`, x: Math.min(from, 1000 - width), width: Math.min(width, 1000), height: 10,
    }));
  }
  return bar;
};
const gapLines = (gaps, most) => {
  const lines = [];
  for (let i = 1; i < gaps.length && lines.length < most; i += 3) {
    const [offset, length, state] = gaps.slice(i, i + 3);
    lines.push(el("li", {}, `bytes ${grouped(offset)} to ${grouped(offset + length - 1)}, `, sectorMark(state)));
  }
  if (gaps[0] > lines.length) lines.push(el("li", { class: "quiet" }, `and ${grouped(gaps[0] - lines.length)} more`));
  return lines;
};

class Losses {
  constructor(data, show) {
    this.data = data;
    const ids = data.notWhole();
    this.body = el("tbody");
    const row = (id) => el("tr", {},
      el("th", { scope: "row" }, this.link(id, show)),
      el("td", {}, stateMark(data.state(id))),
      el("td", { class: "n" }, humanBytes(data.files.sizes[id])),
      el("td", { class: "n" }, data.missing(id) === 0 ? "" : humanBytes(data.missing(id))),
      el("td", { class: "gaps" }, this.gaps(id)));
    const more = growing(this.body, ids.length, 50, (from, to) => ids.slice(from, to).map(row), "file");
    this.element = ids.length === 0 ? el("p", {}, "No file is hurt.")
      : el("div", {},
        el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Files that are not whole" },
          el("table", {}, el("caption", { class: "quiet" }, `${counted(ids.length, "file")} not whole`),
            el("thead", {}, el("tr", {}, ["File", "State", "Size", "Missing", "Where"].map((title, i) =>
              el("th", { scope: "col", class: i === 2 || i === 3 ? "n" : "" }, title)))), this.body)), more);
  }

  link(id, show) {
    const link = button("", () => show(id), { class: "link" });
    link.append(nameOf(this.data.path(id)));
    return link;
  }

  gaps(id) {
    const gaps = this.data.gaps(id);
    const doubts = this.data.doubts(id);
    if (gaps[0] === 0) return doubts.length === 0 ? "" : el("ul", { class: "plain" }, doubts.slice(0, 3).map((text) => el("li", {}, shown(text))));
    return [gapBar(gaps, this.data.files.sizes[id]), el("ul", { class: "plain" }, gapLines(gaps, 4))];
  }
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Words and elements. Whatever a disc brought is only ever text: nothing here or elsewhere parses it as markup.

// Controls, and characters that reorder text or end lines, as %HH of their UTF-8, the way lacuna shows them everywhere.
const UNSHOWABLE = /[\u0000-\u001f\u007f-\u009f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]/g;
const hexOf = (character) => character < "\u0080"
  ? "%" + character.charCodeAt(0).toString(16).toUpperCase().padStart(2, "0")
  : encodeURIComponent(character);
const shown = (text) => text.replace(UNSHOWABLE, hexOf);

// An element with attributes, listeners (functions), and children: texts and elements.
const el = (tag, attributes = {}, ...children) => {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === false) continue;
    if (typeof value === "function") element.addEventListener(name, value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat().filter((child) => child !== undefined && child !== ""));
  return element;
};
// A name from a disc, kept apart from the direction of the text around it.
const nameOf = (text) => el("bdi", {}, shown(text));
const section = (name, id, title, ...children) =>
  el("section", { class: name, "aria-labelledby": id }, el("h3", { id, tabindex: "-1" }, title), ...children);
const button = (text, click, attributes = {}) => el("button", { type: "button", click, ...attributes }, text);

const grouped = (number) => String(number).replace(/\B(?=(\d{3})+$)/g, ",");
const counted = (number, noun, plural) => `${grouped(number)} ${number === 1 ? noun : plural || noun + "s"}`;
// Decimal units, at most three significant digits, as lacuna's human_bytes().
const humanBytes = (bytes) => {
  const units = ["B", "kB", "MB", "GB", "TB", "PB"];
  let unit = 0;
  let value = bytes;
  while (unit + 1 < units.length && Number(value.toPrecision(3)) >= 1000) {
    value /= 1000;
    unit += 1;
  }
  return `${unit === 0 ? value : Number(value.toPrecision(3))} ${units[unit]}`;
};
// "2004-05-06 07:08" of seconds on the clock of the zone recorded.
const dateText = (seconds) => {
  if (seconds === null) return "";
  const date = new Date(seconds * 1000);
  return Number.isNaN(date.getTime()) ? "" : date.toISOString().slice(0, 16).replace("T", " ");
};
const zoneText = (minutes) => {
  if (minutes === 0) return "UTC";
  const size = Math.abs(minutes);
  const two = (n) => String(n).padStart(2, "0");
  return `${minutes < 0 ? "-" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`;
};
const lbaText = (first, count) => (count <= 1 ? `LBA ${first}` : `LBA ${first} to ${first + count - 1}`);
const listed = (words) =>
  words.length < 2 ? words.join("") : `${words.slice(0, -1).join(", ")} and ${words[words.length - 1]}`;

// Lists that grow on request: rows(from, to) gives elements for a table's body or a list.
const growing = (container, total, step, rows, noun) => {
  let shownRows = 0;
  const said = el("p", { class: "quiet", role: "status" });
  const more = button("", () => grow(step));
  const all = button("Show all", () => grow(Math.min(total - shownRows, 2000)));
  const grow = (count) => {
    const to = Math.min(total, shownRows + count);
    container.append(...rows(shownRows, to));
    shownRows = to;
    said.textContent = to < total ? `${grouped(to)} of ${counted(total, noun)}` : "";
    more.textContent = `Show ${grouped(Math.min(step, total - to))} more`;
    all.textContent = total - to > 2000 ? "Show 2,000 more" : "Show all";
    more.hidden = to >= total;
    all.hidden = total - to <= step;
  };
  grow(step);
  return el("div", { class: "more" }, said, more, all);
};

// SPDX-License-Identifier: GPL-3.0-or-later
// Start: the theme's switch, and which disc of a box is shown.

const root = document.documentElement;
const articles = [...document.querySelectorAll("article.disc")];
const box = document.getElementById("box");
let parts = null;

const darkPreferred = matchMedia("(prefers-color-scheme: dark)");
const isDark = () => (root.dataset.theme === undefined ? darkPreferred.matches : root.dataset.theme === "dark");
const themeButton = document.getElementById("theme");
const repaint = () => { if (parts !== null) parts.picture.paint(); };
const nameTheme = () => { themeButton.textContent = isDark() ? "Light page" : "Dark page"; };
themeButton.addEventListener("click", () => {
  root.dataset.theme = isDark() ? "light" : "dark";
  nameTheme();
  repaint();
});
darkPreferred.addEventListener("change", () => {
  nameTheme();
  repaint();
});
themeButton.hidden = false;
nameTheme();
// Paper is white, whatever the screen was, and can't be unfolded.
let themeBefore;
let unfolded = [];
window.addEventListener("beforeprint", () => {
  unfolded = [...document.querySelectorAll(".provenance details:not([open])")];
  for (const list of unfolded) list.open = true;
  themeBefore = root.dataset.theme;
  root.dataset.theme = "light";
  repaint();
});
window.addEventListener("afterprint", () => {
  for (const list of unfolded) list.open = false;
  if (themeBefore === undefined) delete root.dataset.theme;
  else root.dataset.theme = themeBefore;
  repaint();
});

const open = (number) => {
  if (parts !== null && parts.data.number === number) return;
  if (parts !== null) parts.leave();
  parts = number === 0 ? null : new Parts(number);
};
const nav = document.getElementById("places");
const link = (to, text) => el("a", { href: `#${to}` }, text);
const fillNav = (number) => {
  const links = number === 0 ? [] : [["picture", "The disc"], ["files", "Files"], ["losses", "Not whole"], ["plan", "Plan"],
    ["from", "Where from"]].map(([part, text]) => link(`d${number}-${part}`, text));
  nav.replaceChildren(...(box !== null && number !== 0 ? [link("box", "All discs")] : []), ...links);
};

// Which disc the address means: that of its part, else the only one.
const wanted = () => {
  const found = /^#d(?:isc-)?(\d+)/.exec(location.hash);
  if (found !== null && Number(found[1]) >= 1 && Number(found[1]) <= articles.length) return Number(found[1]);
  return box === null && articles.length !== 0 ? 1 : 0;
};
const title = document.title;
const route = (event) => {
  const number = wanted();
  if (box !== null) {
    box.hidden = number !== 0;
    articles.forEach((article, i) => { article.hidden = i + 1 !== number; });
    document.title = number === 0 ? title : `${articles[number - 1].querySelector("h2").textContent}: what can be had`;
  }
  open(number);
  fillNav(number);
  if (event === undefined && location.hash === "") return;
  const target = location.hash === "" || location.hash === "#main" ? null : document.getElementById(location.hash.slice(1));
  if (target === null) return;
  target.scrollIntoView();
  if (target.matches("article, h3")) target.focus({ preventScroll: true });
  else if (target === box) box.querySelector("a")?.focus({ preventScroll: true });
};
// Written last, because only then all its rows are known; read first.
if (box !== null) document.getElementById("main").prepend(box);
window.addEventListener("hashchange", route);
route();

// SPDX-License-Identifier: GPL-3.0-or-later
// The parts of a disc that scripts make: its picture, its files, its losses, its plan; and how they speak to each other.

class Parts {
  constructor(number) {
    const data = new DiscData(number);
    const id = (name) => `d${number}-${name}`;
    this.data = data;
    this.holder = document.getElementById(`parts-${number}`);
    this.details = new Details(data, () => this.goTo(this.pictureSection, this.picture.board));
    this.picture = new Picture(data, (node) => this.show(node));
    this.tree = new Tree(data, (node) => this.choose(node));
    this.filter = new Filter(data, (passes) => this.tree.filter(passes));
    const losses = new Losses(data, (node) => this.show(node));
    const plan = new PlanTable(data, (node) => this.show(node));
    this.pictureSection = section("disc-picture", id("picture"), "The disc", this.picture.element);
    this.filesSection = section("files", id("files"), "Files", this.filter.element, this.thumbnails(),
      el("div", { class: "files-grid" }, this.tree.element, this.details.element),
      el("p", { class: "print-only quiet" }, "The list of all files is for the screen; lacuna files prints it."));
    this.holder.replaceChildren(this.pictureSection, this.filesSection,
      section("losses", id("losses"), "Files that are not whole", losses.element),
      section("plan", id("plan"), "What is worth another try", plan.element));
    this.filter.status.textContent = counted(data.filesBelow[0], "file");
    this.picture.paint();
    this.tree.draw();
  }

  choose(node) {
    this.details.show(node);
    this.picture.choose(node);
  }

  // From elsewhere on the page: unfolds the tree down to it.
  show(node) {
    this.tree.show(node, () => this.filter.reset());
    this.goTo(this.filesSection, this.tree.element);
  }

  goTo(part, focus) {
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    part.scrollIntoView({ behavior: calm ? "auto" : "smooth", block: "start" });
    focus.focus({ preventScroll: true });
  }

  thumbnails() {
    const { thumbnails, number } = this.data;
    if (thumbnails === null) return "";
    const ids = Object.keys(thumbnails.all).map(Number);
    if (thumbnails.pictures === 0) return el("p", { class: "quiet" }, "No whole JPEG or PNG picture was found.");
    const list = el("ul", { class: "thumbnails", "aria-label": "Pictures" });
    const one = (node) => {
      const [width, height, source] = thumbnails.all[node];
      return el("li", {}, el("button", { type: "button", click: () => this.show(node), title: shown(this.data.path(node)) },
        el("img", { src: source, width, height, alt: shown(this.data.name(node)), loading: "lazy" })));
    };
    const more = growing(list, ids.length, 24, (from, to) => ids.slice(from, to).map(one), "picture");
    const left = [];
    if (thumbnails.broken !== 0) left.push(`${counted(thumbnails.broken, "picture")} can't be decoded, though every byte was read`);
    if (thumbnails.large !== 0) left.push(`${counted(thumbnails.large, "file")} too large`);
    if (thumbnails.left !== 0) left.push(`${grouped(thumbnails.left)} more left out, because there are so many`);
    return el("details", { class: "pictures", open: ids.length <= 24, id: `d${number}-pictures` },
      el("summary", {}, "Pictures ", el("span", { class: "count" }, grouped(ids.length))), list, more,
      left.length === 0 ? "" : el("p", { class: "quiet" }, `${listed(left)}.`));
  }

  leave() { this.holder.replaceChildren(); }
}

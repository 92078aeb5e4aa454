// SPDX-License-Identifier: GPL-3.0-or-later
// Tree: the files as a treegrid of which only the rows in sight exist. One element has the focus; which row is meant is told
// by aria-activedescendant.

const ROW = 30; // CSS pixels; the style sheet has the same.
const TALLEST = 8000000; // Of the scrolled surface: browsers have limits. Beyond it rows are spread over the surface.
const COLUMNS = ["Name", "State", "Size", "Missing", "Changed"];

class Tree {
  constructor(data, chosen) {
    this.data = data;
    this.chosen = chosen;
    this.rows = new Rows(data);
    this.at = -1; // Id of the row that is meant.
    this.pool = [];
    this.build();
  }

  build() {
    const id = `d${this.data.number}-tree`;
    this.surface = el("div", { class: "surface", role: "rowgroup" });
    this.head = el("div", { class: "row head", role: "row", "aria-rowindex": "1" },
      COLUMNS.map((title, i) => el("span", { role: "columnheader", class: `c${i}`, "aria-colindex": i + 1 }, title)));
    this.body = el("div", { class: "body" }, this.surface);
    this.empty = el("p", { class: "quiet empty", hidden: true }, "No file passes the filter.");
    this.element = el("div", {
      id, class: "tree", role: "treegrid", tabindex: "0", "aria-label": "Files and folders", "aria-colcount": COLUMNS.length,
      keydown: (event) => this.key(event), focus: () => this.focus(),
    }, el("div", { role: "rowgroup", class: "heads" }, this.head), this.body, this.empty);
    this.body.addEventListener("scroll", () => this.draw());
    this.surface.addEventListener("click", (event) => this.click(event));
    new ResizeObserver(() => this.draw()).observe(this.body);
    this.refresh();
  }

  filter(passes) {
    this.rows.filter(passes);
    this.refresh();
    if (this.at >= 0 && this.rows.indexOf(this.at) >= 0) this.reveal(this.at);
    return this.rows.passed;
  }

  refresh() {
    const { count } = this.rows;
    this.height = Math.min(count * ROW, TALLEST);
    this.surface.style.height = `${this.height}px`;
    this.element.setAttribute("aria-rowcount", String(count + 1));
    this.empty.hidden = count !== 0;
    if (this.at >= 0 && this.rows.indexOf(this.at) < 0) this.element.removeAttribute("aria-activedescendant");
    this.draw();
  }

  // The first row in sight, as a fraction of rows.
  top() {
    const { count } = this.rows;
    const room = this.body.clientHeight;
    if (count * ROW <= TALLEST) return this.body.scrollTop / ROW;
    const most = this.height - room;
    return most <= 0 ? 0 : (this.body.scrollTop / most) * (count - room / ROW);
  }

  draw() {
    const { count } = this.rows;
    const top = this.top();
    const first = Math.max(0, Math.floor(top) - 4);
    const last = Math.min(count, Math.ceil(top + this.body.clientHeight / ROW) + 4);
    while (this.pool.length < last - first) {
      const row = this.blank();
      this.pool.push(row);
      this.surface.append(row.element);
    }
    this.pool.forEach((row, i) => {
      const index = first + i;
      row.element.hidden = index >= last;
      if (index < last) this.fill(row, index, this.body.scrollTop + (index - top) * ROW);
    });
  }

  blank() {
    const cells = COLUMNS.map((_, i) => el("span", { role: "gridcell", class: `c${i}`, "aria-colindex": i + 1 }));
    const arrow = el("span", { class: "arrow", "aria-hidden": "true" });
    const name = el("bdi");
    const below = el("span", { class: "below" });
    const mark = el("span", { class: "state" });
    cells[0].append(arrow, name);
    cells[1].append(mark, below);
    return { element: el("div", { class: "row", role: "row" }, cells), cells, arrow, name, mark, below, id: -1 };
  }

  fill(row, index, y) {
    const { data } = this;
    const id = this.rows.ids[index];
    const { element, cells } = row;
    element.style.transform = `translateY(${Math.round(y)}px)`;
    element.setAttribute("aria-rowindex", String(index + 2));
    element.classList.toggle("meant", id === this.at);
    element.setAttribute("aria-selected", String(id === this.at));
    const folder = data.isFolder(id);
    if (folder) element.setAttribute("aria-expanded", String(this.rows.isOpen(id)));
    if (row.id === id) return;
    row.id = id;
    element.id = `d${data.number}-row-${id}`;
    element.dataset.id = String(id);
    element.setAttribute("aria-level", String(data.depth(id)));
    element.classList.toggle("folder", folder);
    if (!folder) element.removeAttribute("aria-expanded");
    row.name.textContent = shown(data.name(id));
    cells[0].style.paddingInlineStart = `${(Math.min(data.depth(id), 30) - 1) * 1.1 + 0.4}em`;
    const state = data.state(id);
    const tells = !folder || state !== WHOLE;
    row.mark.hidden = !tells;
    row.mark.dataset.state = String(state);
    row.mark.textContent = tells ? FILE_STATES[state] : "";
    row.below.textContent = folder ? this.belowText(id) : "";
    cells[2].textContent = humanBytes(folder ? data.bytesBelow[id] : data.files.sizes[id]);
    const missing = folder ? data.missingBelow[id] : data.missing(id);
    cells[3].textContent = missing === 0 ? "" : humanBytes(missing);
    cells[4].textContent = dateText(data.files.dates[id]);
  }

  belowText(id) {
    const { filesBelow, hurtBelow } = this.data;
    if (filesBelow[id] === 0) return "empty";
    return hurtBelow[id] === 0 ? `all ${grouped(filesBelow[id])} whole`
      : `${grouped(hurtBelow[id])} of ${grouped(filesBelow[id])} not whole`;
  }

  focus() { if (this.at < 0 && this.rows.count !== 0) this.mean(this.rows.ids[0], false); }

  // Makes a row the one that is meant.
  mean(id, tell = true) {
    this.at = id;
    this.reveal(id);
    this.element.setAttribute("aria-activedescendant", `d${this.data.number}-row-${id}`);
    if (tell) this.chosen(id);
  }

  reveal(id) {
    const index = this.rows.indexOf(id);
    if (index < 0) return;
    const room = Math.max(1, Math.floor(this.body.clientHeight / ROW));
    const top = this.top();
    let wanted = top;
    if (index < top) wanted = index;
    else if (index + 1 > top + room) wanted = index + 1 - room;
    if (wanted !== top) {
      const { count } = this.rows;
      this.body.scrollTop = count * ROW <= TALLEST ? wanted * ROW
        : (wanted / (count - this.body.clientHeight / ROW)) * (this.height - this.body.clientHeight);
    }
    this.draw();
  }

  // Shows a node wherever it is, also when the filter hides it: `unfilter` is called then.
  show(id, unfilter) {
    if (this.rows.passing !== null && this.rows.passing[id] === 0) unfilter();
    this.rows.unfoldTo(id);
    this.refresh();
    this.mean(id);
  }

  fold(id, folded) {
    this.rows.fold(id, folded);
    this.refresh();
    this.reveal(id);
  }

  click(event) {
    const element = event.target.closest(".row");
    if (element === null) return;
    const id = Number(element.dataset.id);
    this.element.focus();
    this.mean(id);
    if (this.data.isFolder(id) && event.target.closest(".arrow, bdi") !== null) this.fold(id, this.rows.isOpen(id));
  }

  key(event) {
    const { rows, data, at } = this;
    if (rows.count === 0 || event.altKey || event.ctrlKey || event.metaKey) return;
    const index = Math.max(0, rows.indexOf(at));
    const page = Math.max(1, Math.floor(this.body.clientHeight / ROW) - 1);
    const to = (i) => this.mean(rows.ids[Math.min(Math.max(i, 0), rows.count - 1)]);
    const folder = at > 0 && data.isFolder(at);
    switch (event.key) {
      case "ArrowDown": to(index + 1); break;
      case "ArrowUp": to(index - 1); break;
      case "PageDown": to(index + page); break;
      case "PageUp": to(index - page); break;
      case "Home": to(0); break;
      case "End": to(rows.count - 1); break;
      case "ArrowRight":
        if (folder && !rows.isOpen(at)) this.fold(at, false);
        else if (folder) to(index + 1);
        break;
      case "ArrowLeft":
        if (folder && rows.isOpen(at)) this.fold(at, true);
        else if (data.parents[at] > 0) this.mean(data.parents[at]);
        break;
      case "Enter":
      case " ":
        if (folder) this.fold(at, rows.isOpen(at));
        else this.chosen(at);
        break;
      default: return;
    }
    event.preventDefault();
  }
}

// SPDX-License-Identifier: GPL-3.0-or-later
// Picture: the disc, seen from the side that is read; its layers side by side. A place is chosen by pointing or with the
// arrow keys, and what lies there is told beside it.

const HUB = 7.5; // mm, radius of the hole (ECMA-130 8.4; from memory)
const MOST_THERE = 200;

class Picture {
  constructor(data, show) {
    this.data = data;
    this.show = show; // Called with the node that is chosen from what lies at a place.
    this.geometry = new Geometry(data.disc.geometry);
    this.places = null;
    this.cursor = { layer: 0, ring: 0, angle: 0 };
    this.placed = false;
    this.chosenRanges = null;
    const { layers, inner, outer } = this.geometry;
    const reach = layers.map((track) => [Math.min(track.start_radius, track.end_radius),
      Math.max(track.start_radius, track.end_radius)]);
    this.used = [Math.min(...reach.map(([from]) => from)), Math.max(...reach.map(([, to]) => to))];
    // What fills less than a sixth of the radius is hard to see at its own size.
    this.enlarged = this.used[1] - this.used[0] < (outer - inner) / 6;
    this.hurts = data.runs().filter(([, , state]) => state > 1);
    this.hurtAt = -1;
    this.build();
    this.remap();
  }

  build() {
    const many = this.geometry.layers.length > 1;
    this.canvases = this.geometry.layers.map((_, layer) => {
      const canvas = el("canvas", { "aria-hidden": "true", click: (event) => this.point(event, layer) });
      return canvas;
    });
    this.cursorMarks = this.canvases.map(() => el("span", { class: "cursor", "aria-hidden": "true", hidden: true }));
    this.said = el("p", { class: "said", role: "status", "aria-live": "polite", id: `d${this.data.number}-said` });
    this.there = el("div", { class: "there-list", tabindex: "0", role: "region", "aria-label": "What lies there" }, this.hurtList());
    this.caption = el("p", { class: "quiet small" });
    this.scale = button("", () => this.setEnlarged(!this.enlarged), { "aria-pressed": "false", class: "toggle" });
    this.scale.textContent = "Enlarge what is recorded";
    this.board = el("div", {
      class: many ? "layers many" : "layers", role: "application", tabindex: "0", "aria-roledescription": "disc",
      "aria-label": "Places on the disc. Arrow keys move: up and down from ring to ring, left and right around it. "
        + "Page Up and Page Down go to the next hurt place.",
      "aria-describedby": `d${this.data.number}-said`, keydown: (event) => this.key(event),
    }, this.canvases.map((canvas, layer) => el("figure", {},
      el("div", { class: "plate" }, canvas, this.cursorMarks[layer]),
      many ? el("figcaption", {}, `Layer ${layer + 1}${this.geometry.layers[layer].inward ? ", from the outside in" : ""}`)
        : undefined)));
    this.element = el("div", { class: "picture" },
      el("div", { class: "plates" }, this.board, this.legend(),
        this.caption, el("div", { class: "buttons" }, this.scale)),
      el("div", { class: "there" }, el("h4", {}, "What lies there"), this.said, this.there));
    this.said.textContent = "Choose a place on the disc, with the pointer or the arrow keys, to see which files lie there.";
    new ResizeObserver(() => this.paint()).observe(this.board);
  }

  captionText() {
    const { geometry, data } = this;
    const radii = `${this.used[0].toFixed(2)} to ${this.used[1].toFixed(2)} mm from the middle`;
    const parts = [this.enlarged
      ? `A ${geometry.title}, seen from the side that is read. What is recorded, ${radii}, is drawn as broad as the disc.`
      : `To scale for a ${geometry.title}, seen from the side that is read. It is recorded from ${radii}.`,
    "Each place shows the worst of what lies there.", geometry.wound_as_damage_tells
      ? "The damage repeats turn by turn, which tells how this disc is wound: what is in line here is in line on the disc."
      : "How far out a place is, can be relied on; at which angle, can't: a straight scratch may look like a ring."];
    if (geometry.why !== "") parts.push(`That it is one is a guess: ${geometry.why}.`);
    if (!geometry.fits) parts.push("No such disc holds so many sectors: places are only in the right order.");
    if (data.disc.joined_below > 0) {
      parts.push(`Hurt places less than ${grouped(data.disc.joined_below)} sectors apart are shown as one.`);
    }
    return parts.join(" ");
  }

  legend() {
    const { sectors } = this.data.disc;
    return el("ul", { class: "legend", "aria-label": "Sectors by state" }, SECTOR_STATES.map((word, state) =>
      sectors[state] === 0 ? undefined : el("li", {}, sectorMark(state), el("span", { class: "count" }, grouped(sectors[state])))));
  }

  // Makes the cells anew, for another scale.
  remap() {
    const { geometry, data } = this;
    const [from, to] = this.enlarged ? this.used : [geometry.inner, Math.max(geometry.outer, this.used[1])];
    this.scale.setAttribute("aria-pressed", String(this.enlarged));
    this.caption.textContent = this.captionText();
    // Enlarged, the recorded band takes the room of all of the area that can hold data.
    const stretch = (to - from) / (geometry.outer - geometry.inner);
    this.maps = geometry.layers.map((track, layer) => {
      const map = new DiscMap(geometry, layer, from, to);
      map.toRadius = this.enlarged ? (mm) => from + (mm - geometry.inner) * stretch : (mm) => mm;
      map.rim = this.enlarged ? map.toRadius(geometry.rim) : geometry.rim;
      map.hub = this.enlarged ? map.toRadius(HUB) : HUB;
      map.put(track.first_lba, track.end_lba, 0);
      for (const [first, count, state] of data.runs()) map.put(first, first + count, state);
      map.choose(this.chosenRanges);
      return map;
    });
    this.pixels = this.maps.map(() => null);
    this.paint();
  }

  setEnlarged(enlarged) {
    this.enlarged = enlarged;
    this.placed = false;
    this.cursor = { layer: 0, ring: 0, angle: 0 };
    for (const mark of this.cursorMarks) mark.hidden = true;
    this.remap();
  }

  paint() {
    const ratio = Math.min(2, window.devicePixelRatio || 1);
    this.maps.forEach((map, layer) => {
      const canvas = this.canvases[layer];
      const size = Math.round(canvas.clientWidth * ratio);
      if (size === 0) return;
      if (this.pixels[layer] === null || canvas.width !== size) {
        canvas.width = size;
        canvas.height = size;
        this.pixels[layer] = cellsOfPixels(map, size, this.unit(size), map.rim, map.hub);
      }
      paintCells(canvas.getContext("2d"), map, this.pixels[layer], size, ratio);
    });
    this.mark();
  }

  // Pixels a mm.
  unit(size) { return size / 2 / (this.geometry.rim + 0.5); }

  // Shows where a node lies; null: nothing is chosen.
  choose(id) {
    this.chosenRanges = null;
    if (id !== null) {
      this.chosenRanges = [];
      eachSectors(this.data, id, (first, end) => this.chosenRanges.push([first, end]));
    }
    for (const map of this.maps) map.choose(this.chosenRanges);
    this.paint();
  }

  point(event, layer) {
    const canvas = this.canvases[layer];
    const box = canvas.getBoundingClientRect();
    const size = canvas.width;
    const x = Math.floor(((event.clientX - box.left) / box.width) * size);
    const y = Math.floor(((event.clientY - box.top) / box.height) * size);
    const cell = this.pixels[layer][Math.min(Math.max(y, 0), size - 1) * size + Math.min(Math.max(x, 0), size - 1)];
    if (cell < 0) return;
    this.board.focus();
    this.go({ layer, ring: Math.floor(cell / ANGLES), angle: cell % ANGLES });
  }

  key(event) {
    const { cursor, maps } = this;
    const map = maps[cursor.layer];
    const step = event.shiftKey ? 15 : 1;
    const to = { ...cursor };
    switch (event.key) {
      case "ArrowUp": to.ring = Math.min(map.rings - 1, cursor.ring + 1); break;
      case "ArrowDown": to.ring = Math.max(0, cursor.ring - 1); break;
      case "ArrowRight": to.angle = (cursor.angle + step) % ANGLES; break;
      case "ArrowLeft": to.angle = (cursor.angle + ANGLES - step) % ANGLES; break;
      case "Home": to.ring = 0; break;
      case "End": to.ring = map.rings - 1; break;
      case "PageDown": this.hurt(1); event.preventDefault(); return;
      case "PageUp": this.hurt(-1); event.preventDefault(); return;
      default: return;
    }
    event.preventDefault();
    this.go(to);
  }

  // To the next hurt stretch, in that direction, in the order of LBAs.
  hurt(direction) {
    const { hurts } = this;
    if (hurts.length === 0) {
      this.said.textContent = "No place on this disc is hurt.";
      return;
    }
    this.hurtAt = (this.hurtAt + direction + hurts.length) % hurts.length;
    this.goToLba(hurts[this.hurtAt][0]);
  }

  goToLba(lba) {
    const last = this.geometry.layers[this.geometry.layers.length - 1].end_lba - 1;
    const layer = this.geometry.layerOf(lba);
    let cell = -1; // The first that the sector touches.
    this.maps[layer].each(Math.min(lba, last), Math.min(lba, last) + 1, (at) => { if (cell < 0) cell = at; });
    this.go({ layer, ring: Math.floor(cell / ANGLES), angle: cell % ANGLES });
  }

  // The longest hurt stretches, and what they hit: what is told until a place is chosen.
  hurtList() {
    if (this.hurts.length === 0) return el("p", {}, "No place on this disc is hurt.");
    const longest = this.hurts.map((run, i) => [run, i]).sort((a, b) => b[0][1] - a[0][1] || a[0][0] - b[0][0]).slice(0, 10);
    longest.sort((a, b) => a[0][0] - b[0][0]);
    return el("div", {}, el("h5", {}, this.hurts.length > longest.length
      ? `The longest of ${counted(this.hurts.length, "hurt stretch", "hurt stretches")}` : "Hurt stretches"),
    el("ul", { class: "files-there" }, longest.map(([[first, count, state], i]) => el("li", {},
      button(lbaText(first, count), () => { this.hurtAt = i; this.goToLba(first); }, { class: "link" }), sectorMark(state)))));
  }

  go(to) {
    this.cursor = to;
    this.placed = true;
    this.mark();
    this.tell();
  }

  mark() {
    this.cursorMarks.forEach((mark, layer) => {
      mark.hidden = !this.placed || layer !== this.cursor.layer;
      if (mark.hidden) return;
      const { geometry, cursor } = this;
      const map = this.maps[layer];
      const width = this.canvases[layer].clientWidth;
      const middle = map.radius(cursor.ring + 0.5);
      const { from } = map;
      const mm = this.enlarged ? geometry.inner + ((middle - from) * (geometry.outer - geometry.inner)) / (map.to - from) : middle;
      const angle = ((cursor.angle + 0.5) / ANGLES) * 2 * Math.PI;
      mark.style.left = `${width / 2 + Math.sin(angle) * mm * this.unit(width)}px`;
      mark.style.top = `${width / 2 - Math.cos(angle) * mm * this.unit(width)}px`;
    });
  }

  tell() {
    const { cursor, data } = this;
    const map = this.maps[cursor.layer];
    const cell = cursor.ring * ANGLES + cursor.angle;
    const state = map.states[cell];
    const where = `${this.maps.length > 1 ? `Layer ${cursor.layer + 1}, ring` : "Ring"} ${cursor.ring + 1} of ${map.rings} `
      + `(${map.radius(cursor.ring + 0.5).toFixed(2)} mm), ${cursor.angle} degrees`;
    this.there.replaceChildren();
    if (state === NOTHING) {
      this.said.textContent = `${where}: no sector of this disc.`;
      return;
    }
    if (this.places === null) this.places = new Places(data);
    const ranges = map.sectorsIn(cell);
    const found = [...this.places.in(ranges, MOST_THERE)];
    const nodes = found.filter((id) => id > 0).sort((a, b) => a - b);
    const structures = found.filter((id) => id < 0);
    const what = listed([nodes.length === 0 ? "" : counted(nodes.length, "file"),
      structures.length === 0 ? "" : counted(structures.length, "structure")].filter((text) => text !== ""));
    const sectors = ranges.length === 0 ? "" : ranges.length === 1 ? `, ${lbaText(ranges[0][0], ranges[0][1] - ranges[0][0])}`
      : `, in ${grouped(ranges.length)} turns from LBA ${ranges[0][0]} to ${ranges[ranges.length - 1][1] - 1}`;
    this.said.textContent = `${where}${sectors}: ${SECTOR_STATES[state]}. `
      + `${what === "" ? "No known file" : `${found.length >= MOST_THERE ? "At least " : ""}${what}`}.`;
    if (nodes.length !== 0) {
      this.there.append(el("ul", { class: "files-there" }, nodes.map((id) => el("li", {},
        button("", () => this.show(id), { class: "link" }), stateMark(data.state(id))))));
      this.there.querySelectorAll("button.link").forEach((one, i) => one.append(nameOf(data.path(nodes[i]))));
    }
    if (structures.length !== 0) this.there.append(el("ul", { class: "structures-there" }, structures.map((id) => this.structure(-1 - id))));
  }

  structure(at) {
    const { list, titles } = this.data.disc.structures;
    const node = list[at + 3];
    return el("li", {}, titles[list[at + 2]], node > 0 ? [" of ", nameOf(this.data.path(node))] : node === 0 ? " of the root" : "");
  }
}

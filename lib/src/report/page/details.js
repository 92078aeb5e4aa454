// SPDX-License-Identifier: GPL-3.0-or-later
// Details: all that is known of the chosen file or folder.

const MOST_ROWS = 100; // Of gaps and of extents.

class Details {
  constructor(data, toPicture) {
    this.data = data;
    this.toPicture = toPicture;
    this.content = el("div", {});
    this.element = el("aside", { class: "details", "aria-label": "The chosen file" }, this.content);
    this.show(null);
  }

  show(id) {
    if (id === null) {
      this.content.replaceChildren(el("p", { class: "quiet" },
        "Choose a file or a folder to see what is known of it, and where it lies on the disc."));
      return;
    }
    const { data } = this;
    const folder = data.isFolder(id);
    const parent = data.parents[id];
    this.content.replaceChildren(
      this.picture(id) || "",
      el("h4", {}, nameOf(data.name(id))),
      parent > 0 ? el("p", { class: "quiet path" }, "in ", nameOf(data.path(parent))) : "",
      el("p", {}, !folder || data.state(id) !== WHOLE ? stateMark(data.state(id)) : "",
        folder ? ` ${counted(data.filesBelow[id], "file")} below, ${grouped(data.hurtBelow[id])} not whole` : ""),
      el("div", { class: "buttons" }, button("Show on the disc", () => this.toPicture())),
      this.doubts(id), this.facts(id, folder), this.gaps(id), this.extents(id));
  }

  picture(id) {
    const { thumbnails } = this.data;
    const one = thumbnails === null ? undefined : thumbnails.all[id];
    if (one === undefined) return undefined;
    const [width, height, source] = one;
    return el("img", { class: "thumbnail", src: source, width, height, alt: "Thumbnail of this picture" });
  }

  doubts(id) {
    const list = this.data.doubts(id);
    return list.length === 0 ? "" : el("ul", { class: "doubts" }, list.map((text) => el("li", {}, shown(text))));
  }

  facts(id, folder) {
    const { data } = this;
    const { files } = data;
    const rows = [];
    const add = (label, ...value) => rows.push(el("div", {}, el("dt", {}, label), el("dd", {}, ...value)));
    const size = folder ? data.bytesBelow[id] : files.sizes[id];
    add("Size", size < 1000 ? `${size} bytes` : `${humanBytes(size)} (${grouped(size)} bytes)`);
    const missing = folder ? data.missingBelow[id] : data.missing(id);
    if (missing !== 0) add("Missing", `${humanBytes(missing)} (${grouped(missing)} bytes)`);
    if (!folder) add("Kind", data.kind(id) > 1 ? NODE_KINDS[data.kind(id)] : TOPICS[data.topic(id)]);
    if (files.dates[id] !== null) add("Changed", `${dateText(files.dates[id])} ${zoneText(data.zone(id))}`);
    add("Known from", `${EVIDENCE[data.evidence(id)]} (${VIEWS[data.view(id)]})`);
    if (!folder) add("Basis", BASES[data.basis(id)]);
    for (const [view, name] of data.otherNames(id)) add(`Name in ${view}`, nameOf(name));
    if (files.targets[id] !== undefined) add("Leads to", nameOf(files.targets[id]));
    if (files.marks[id] !== undefined) add("Also", listed(files.marks[id]));
    return el("dl", { class: "facts" }, rows);
  }

  gaps(id) {
    const gaps = this.data.gaps(id);
    if (gaps[0] === 0) return "";
    const size = this.data.files.sizes[id];
    return el("div", {}, el("h5", {}, counted(gaps[0], "gap")), gapBar(gaps, size),
      el("ul", { class: "plain" }, gapLines(gaps, MOST_ROWS)));
  }

  extents(id) {
    const { data } = this;
    const rows = [];
    let all = 0;
    if (data.files.lbas[id] >= 0) {
      all = 1;
      rows.push(el("li", {}, lbaText(data.files.lbas[id], Math.ceil(data.files.sizes[id] / SECTOR))));
    } else if (data.files.extents[id] !== undefined) {
      const extents = data.files.extents[id];
      [all] = extents;
      for (let i = 1; i < extents.length && rows.length < MOST_ROWS; i += 4) {
        const [position, bytes, unit] = extents.slice(i, i + 3);
        const place = position === -1 ? "never recorded, reads as zeros" : position === -2 ? "its place is not known"
          : lbaText(Math.floor(position / SECTOR), Math.ceil((position % SECTOR + bytes) / SECTOR));
        rows.push(el("li", {}, `${place}, ${counted(bytes, "byte")}${unit === 0 ? "" : ", interleaved"}`));
      }
    }
    if (all === 0) return "";
    if (all > rows.length) rows.push(el("li", { class: "quiet" }, `and ${grouped(all - rows.length)} more`));
    return el("div", {}, el("h5", {}, counted(all, "extent")), el("ul", { class: "plain" }, rows));
  }
}

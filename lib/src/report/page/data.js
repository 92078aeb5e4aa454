// SPDX-License-Identifier: GPL-3.0-or-later
// DiscData: the data blocks of one disc, and what follows from them: the tree, and what lies below each folder.

class DiscData {
  constructor(number) {
    const block = (name) => {
      const element = document.getElementById(`data-${number}-${name}`);
      return element === null ? null : JSON.parse(element.textContent);
    };
    this.number = number;
    this.disc = block("disc");
    this.files = block("files");
    this.plan = block("plan");
    this.thumbnails = block("thumbnails");
    this.nodes = this.files.nodes;
    this.linkTree();
    this.addUp();
  }

  // Nodes stand parents first, siblings by name, so depths tell parents, and what is below a node follows it.
  linkTree() {
    const { depths } = this.files;
    this.parents = new Int32Array(this.nodes).fill(-1);
    this.ends = new Int32Array(this.nodes);
    const open = [];
    for (let id = 0; id < this.nodes; id += 1) {
      while (open.length > depths[id]) this.ends[open.pop()] = id;
      if (open.length !== 0) this.parents[id] = open[open.length - 1];
      open.push(id);
    }
    while (open.length !== 0) this.ends[open.pop()] = this.nodes;
  }

  // Files, and those that are not whole, below each node; and bytes.
  addUp() {
    this.filesBelow = new Int32Array(this.nodes);
    this.hurtBelow = new Int32Array(this.nodes);
    this.bytesBelow = new Float64Array(this.nodes);
    this.missingBelow = new Float64Array(this.nodes);
    for (let id = this.nodes - 1; id > 0; id -= 1) {
      if (!this.isFolder(id)) {
        this.filesBelow[id] = 1;
        this.hurtBelow[id] = this.state(id) === WHOLE ? 0 : 1;
        this.bytesBelow[id] = this.files.sizes[id];
        this.missingBelow[id] = this.missing(id);
      }
      const parent = this.parents[id];
      this.filesBelow[parent] += this.filesBelow[id];
      this.hurtBelow[parent] += this.hurtBelow[id];
      this.bytesBelow[parent] += this.bytesBelow[id];
      this.missingBelow[parent] += this.missingBelow[id];
    }
  }

  isFolder(id) { return this.files.kinds.charCodeAt(id) === 48; }
  kind(id) { return this.files.kinds.charCodeAt(id) - 48; }
  state(id) { return this.files.states.charCodeAt(id) - 48; }
  basis(id) { return this.files.bases.charCodeAt(id) - 48; }
  topic(id) { return this.files.topics.charCodeAt(id) - 48; }
  view(id) { return this.files.views.charCodeAt(id) - 48; }
  evidence(id) { return this.files.evidence.charCodeAt(id) - 48; }
  name(id) { return id === 0 ? "/" : this.files.names[id]; }
  depth(id) { return this.files.depths[id]; }
  missing(id) { return this.files.missing[id] || 0; }
  gaps(id) { return this.files.gaps[id] || [0]; }
  doubts(id) { return this.files.doubts[id] || []; }

  path(id) {
    const names = [];
    for (let at = id; at > 0; at = this.parents[at]) names.push(this.files.names[at]);
    return names.reverse().join("/");
  }

  zone(id) {
    const { zones } = this.files;
    let first = 0;
    for (let i = 0; i < zones.length; i += 2) {
      first += zones[i];
      if (id < first) return zones[i + 1];
    }
    return 0;
  }

  otherNames(id) {
    return Object.entries(this.files.other_names)
      .filter(([, names]) => names[id] !== 0)
      .map(([view, names]) => [view, names[id]]);
  }

  // Ids of the files that are not whole, the worst first, then as listed.
  notWhole() {
    const ids = [];
    for (let id = 1; id < this.nodes; id += 1) {
      if (!this.isFolder(id) && this.state(id) !== WHOLE) ids.push(id);
    }
    return ids;
  }

  // The states of the sectors that are not good: [first, count, state] each, ascending.
  runs() {
    if (this.allRuns === undefined) {
      this.allRuns = [];
      const { runs } = this.disc;
      for (let i = 0, at = 0; i < runs.length; i += 3) {
        const first = at + runs[i];
        this.allRuns.push([first, runs[i + 1], runs[i + 2]]);
        at = first + runs[i + 1];
      }
    }
    return this.allRuns;
  }
}

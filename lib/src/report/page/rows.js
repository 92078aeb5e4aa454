// SPDX-License-Identifier: GPL-3.0-or-later
// Rows: which nodes the tree shows, in order, for what is unfolded and what passes the filter. Typed arrays and one pass over
// the nodes, so that a hundred thousand files answer at once.

class Rows {
  constructor(data) {
    this.data = data;
    this.open = new Uint8Array(data.nodes);
    this.open[0] = 1;
    this.passing = null; // By id: the node or something below it passes. Null: no filter.
    this.passed = 0;
    this.ids = new Int32Array(data.nodes);
    this.count = 0;
    // Small discs are shown unfolded; of others, the only folder at the top.
    if (data.nodes <= 60) this.open.fill(1);
    else if (data.nodes > 1 && data.ends[1] === data.nodes) this.open[1] = 1;
    this.collect();
  }

  collect() {
    const { data, open, passing, ids } = this;
    let count = 0;
    for (let id = 1; id < data.nodes;) {
      if (passing !== null && passing[id] === 0) {
        id = data.ends[id];
        continue;
      }
      ids[count] = id;
      count += 1;
      const unfolded = passing === null ? open[id] === 1 : open[id] !== 2;
      id = unfolded ? id + 1 : data.ends[id];
    }
    this.count = count;
  }

  isOpen(id) { return this.passing === null ? this.open[id] === 1 : this.open[id] !== 2; }

  // With a filter all is unfolded but what was folded by hand (2).
  fold(id, folded) {
    this.open[id] = folded ? (this.passing === null ? 0 : 2) : 1;
    this.collect();
  }

  unfoldTo(id) {
    for (let at = this.data.parents[id]; at > 0; at = this.data.parents[at]) this.open[at] = 1;
    this.collect();
  }

  indexOf(id) {
    let low = 0;
    let high = this.count;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.ids[middle] < id) low = middle + 1;
      else high = middle;
    }
    return low < this.count && this.ids[low] === id ? low : -1;
  }

  // Files that pass, by id; null for no filter.
  filter(passes) {
    const { data } = this;
    this.passing = passes;
    for (let id = 0; id < data.nodes; id += 1) if (this.open[id] === 2) this.open[id] = 0;
    this.passed = 0;
    if (passes === null) {
      this.passed = data.filesBelow[0];
    } else {
      for (let id = data.nodes - 1; id > 0; id -= 1) {
        if (passes[id] === 0) continue;
        if (!data.isFolder(id)) this.passed += 1;
        passes[data.parents[id]] = 1;
      }
    }
    this.collect();
  }
}

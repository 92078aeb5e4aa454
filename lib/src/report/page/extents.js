// SPDX-License-Identifier: GPL-3.0-or-later
// Where nodes lie: the stretches of one, and the nodes and structures of a stretch. Places are LBAs here, whole sectors.

const SECTOR = 2048;
const MOST_PIECES = 5000; // Of an interleaved extent; beyond it the whole stretch stands for them.

// Calls f(position, bytes) for each stretch of a node, in bytes.
const eachStretch = (data, id, f) => {
  const lba = data.files.lbas[id];
  if (lba >= 0) {
    if (data.files.sizes[id] !== 0) f(lba * SECTOR, data.files.sizes[id]);
    return;
  }
  const extents = data.files.extents[id];
  if (extents === undefined) return;
  for (let i = 1; i < extents.length; i += 4) {
    const [position, bytes, unit, gap] = extents.slice(i, i + 4);
    if (position < 0 || bytes === 0) continue;
    const pieces = unit === 0 ? 1 : Math.ceil(bytes / unit);
    if (pieces === 1 || pieces > MOST_PIECES) {
      f(position, pieces === 1 ? bytes : bytes + (pieces - 1) * gap);
      continue;
    }
    for (let p = 0; p < pieces; p += 1) {
      f(position + p * (unit + gap), Math.min(unit, bytes - p * unit));
    }
  }
};
// Calls f(first, end) for each stretch of a node, or of all below a folder, in sectors.
const eachSectors = (data, id, f) => {
  const end = data.isFolder(id) ? data.ends[id] : id + 1;
  for (let at = id; at < end; at += 1) {
    eachStretch(data, at, (position, bytes) =>
      f(Math.floor(position / SECTOR), Math.ceil((position + bytes) / SECTOR)));
  }
};

// What lies where, sorted by the first sector. Built when it is first asked.
class Places {
  constructor(data) {
    const list = []; // [first, end, id or -1 - index of a structure]
    for (let id = 1; id < data.nodes; id += 1) {
      if (data.isFolder(id)) continue; // Directories are among the structures.
      eachStretch(data, id, (position, bytes) =>
        list.push([Math.floor(position / SECTOR), Math.ceil((position + bytes) / SECTOR), id]));
    }
    const structures = data.disc.structures.list;
    for (let i = 0; i < structures.length; i += 4) {
      const [position, bytes] = [structures[i], structures[i + 1]];
      if (bytes !== 0) list.push([Math.floor(position / SECTOR), Math.ceil((position + bytes) / SECTOR), -1 - i]);
    }
    list.sort((a, b) => a[0] - b[0]);
    this.list = list;
    this.reach = new Float64Array(list.length); // The furthest end of this one and all before it.
    let reach = 0;
    list.forEach((place, i) => {
      reach = Math.max(reach, place[1]);
      this.reach[i] = reach;
    });
  }

  // Ids (and structures) of which some sector is in one of the ranges [first, end), ascending; at most `most` each.
  in(ranges, most) {
    const found = new Set();
    for (const [first, end] of ranges) {
      let low = 0;
      let high = this.list.length;
      while (low < high) { // The first whose predecessors, or itself, reach beyond `first`.
        const middle = (low + high) >> 1;
        if (this.reach[middle] > first) high = middle;
        else low = middle + 1;
      }
      for (let i = low; i < this.list.length && this.list[i][0] < end; i += 1) {
        if (this.list[i][1] > first) found.add(this.list[i][2]);
        if (found.size >= most) return found;
      }
    }
    return found;
  }
}

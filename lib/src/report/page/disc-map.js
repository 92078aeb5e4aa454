// SPDX-License-Identifier: GPL-3.0-or-later
// DiscMap: a layer cut into cells, rings by angles, each with the worst state that lies in it.

const ANGLES = 360;
const MOST_RINGS = 64;
const NOTHING = 255; // No sector of the disc is there.

class DiscMap {
  // The rings go from one radius to the other.
  constructor(geometry, layer, from, to) {
    this.geometry = geometry;
    this.layer = layer;
    this.from = from;
    this.to = to;
    const turns = (to - from) / geometry.pitch;
    this.rings = Math.max(1, Math.min(MOST_RINGS, Math.round(turns)));
    this.states = new Uint8Array(this.rings * ANGLES).fill(NOTHING);
    this.chosen = null; // 1 for the cells of what is chosen; null: nothing is.
  }

  radius(ring) { return this.from + ((this.to - this.from) * ring) / this.rings; }

  // Calls f(cell) for each cell in which some of [first, end) lies.
  each(first, end, f) {
    const { geometry, layer } = this;
    const track = geometry.layers[layer];
    const start = Math.max(first, track.first_lba);
    const stop = Math.min(end, track.end_lba);
    if (start >= stop) return;
    const turnsFrom = geometry.turnsAt(layer, start);
    const turnsTo = geometry.turnsAt(layer, stop);
    const ringOf = (turns) => {
      const radius = track.start_radius + (track.inward ? -turns : turns) * geometry.pitch;
      return Math.floor(((radius - this.from) / (this.to - this.from)) * this.rings);
    };
    const clamp = (ring) => Math.min(Math.max(ring, 0), this.rings - 1);
    let [low, high] = [clamp(ringOf(turnsFrom)), clamp(ringOf(turnsTo))];
    if (low > high) [low, high] = [high, low];
    for (let ring = low; ring <= high; ring += 1) {
      let a = geometry.turnsAtRadius(layer, this.radius(ring));
      let b = geometry.turnsAtRadius(layer, this.radius(ring + 1));
      if (a > b) [a, b] = [b, a];
      // The outermost rings take what rounding leaves outside.
      a = Math.max(turnsFrom, ring === low && low === high ? -Infinity : a);
      b = Math.min(turnsTo, ring === high && low === high ? Infinity : b);
      if (a >= b) continue;
      if (b - a >= 1) {
        for (let angle = 0; angle < ANGLES; angle += 1) f(ring * ANGLES + angle);
        continue;
      }
      const last = Math.ceil(b * ANGLES - 1e-9) - 1;
      for (let angle = Math.floor(a * ANGLES); angle <= last; angle += 1) f(ring * ANGLES + (angle % ANGLES));
    }
  }

  // States of a run; the worse of two wins.
  put(first, end, state) {
    const { states } = this;
    this.each(first, end, (cell) => {
      if (states[cell] === NOTHING || states[cell] < state) states[cell] = state;
    });
  }

  choose(ranges) {
    if (ranges === null) {
      this.chosen = null;
      return;
    }
    const chosen = new Uint8Array(this.states.length);
    for (const [first, end] of ranges) this.each(first, end, (cell) => { chosen[cell] = 1; });
    this.chosen = chosen;
  }

  sectorsIn(cell) {
    const ring = Math.floor(cell / ANGLES);
    const angle = cell % ANGLES;
    return this.geometry.sectorsIn(this.layer, this.radius(ring), this.radius(ring + 1), angle / ANGLES,
      (angle + 1) / ANGLES);
  }
}

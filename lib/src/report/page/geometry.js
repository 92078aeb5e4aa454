// SPDX-License-Identifier: GPL-3.0-or-later
// Geometry: from LBAs to places on the disc and back, as lib/src/report/disc_geometry.cpp has it: the square of the radius
// grows with the length of the track. Radii in mm, angles in turns from wherever a layer's track begins, clockwise.

class Geometry {
  constructor(numbers) { Object.assign(this, numbers); }

  layerOf(lba) {
    let layer = 0;
    while (layer + 1 < this.layers.length && lba >= this.layers[layer].end_lba) layer += 1;
    return layer;
  }

  // Turns of a track after so many sectors of it.
  turnsOf(track, sectors) {
    if (this.zones !== 0) {
      let turns = 0;
      let aTurn = this.first_zone_sectors;
      let left = sectors;
      for (let zone = 0; zone + 1 < this.zones && left > aTurn * this.zone_turns; zone += 1) {
        left -= aTurn * this.zone_turns;
        turns += this.zone_turns;
        aTurn += 1;
      }
      return turns + left / aTurn;
    }
    const area = (sectors * this.sector * this.pitch) / Math.PI;
    const start = track.start_radius;
    const end = Math.sqrt(Math.max(0, start * start + (track.inward ? -area : area)));
    return area / (start + end) / this.pitch;
  }

  sectorsOf(track, turns) {
    if (this.zones !== 0) {
      let sectors = 0;
      let aTurn = this.first_zone_sectors;
      let left = turns;
      for (let zone = 0; zone + 1 < this.zones && left > this.zone_turns; zone += 1) {
        sectors += aTurn * this.zone_turns;
        left -= this.zone_turns;
        aTurn += 1;
      }
      return sectors + left * aTurn;
    }
    const bend = track.inward ? -this.pitch : this.pitch;
    return (Math.PI * turns * (2 * track.start_radius + bend * turns)) / this.sector;
  }

  turnsAt(layer, lba) { return this.turnsOf(this.layers[layer], lba - this.layers[layer].first_lba); }

  turnsAtRadius(layer, radius) {
    const track = this.layers[layer];
    return (track.inward ? track.start_radius - radius : radius - track.start_radius) / this.pitch;
  }

  // The sector that lies there, within the layer's.
  lbaAt(layer, turns) {
    const track = this.layers[layer];
    const sector = Math.floor(this.sectorsOf(track, Math.max(0, turns)) + 1e-6);
    return Math.min(Math.max(track.first_lba + sector, track.first_lba), track.end_lba - 1);
  }

  // Ranges [first, end) of sectors of which some part lies between the radii and the angles, ascending.
  sectorsIn(layer, radiusFrom, radiusTo, angleFrom, angleTo) {
    const track = this.layers[layer];
    let from = this.turnsAtRadius(layer, radiusFrom);
    let to = this.turnsAtRadius(layer, radiusTo);
    if (track.inward) [from, to] = [to, from];
    from = Math.max(from, 0);
    to = Math.min(to, this.turnsAt(layer, track.end_lba));
    const ranges = [];
    for (let turn = Math.floor(from); turn < to; turn += 1) {
      const first = Math.max(from, turn + angleFrom);
      const end = Math.min(to, turn + angleTo);
      if (first < end) ranges.push([this.lbaAt(layer, first), this.lbaAt(layer, end - 1e-9) + 1]);
    }
    return ranges;
  }
}

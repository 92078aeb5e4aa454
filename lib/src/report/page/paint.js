// SPDX-License-Identifier: GPL-3.0-or-later
// Painting a layer's cells, pixel by pixel: the state's colour, its mark in ink over it, and what is chosen before the rest.

// What a mark covers, in its tile of 1 by 1 (lib/src/report/state_style.cpp has the same for the printed picture).
const COVERS = [
  () => false,
  (x, y) => (x - 0.5) ** 2 + (y - 0.5) ** 2 < 0.07, // dots
  (x, y) => x < 0.25 || y < 0.25, // level and upright lines
  (x, y) => (x + y) % 1 < 0.34, // slanting lines
  (x, y) => y < 0.34, // level lines
  (x, y) => (x + y) % 1 < 0.2 || (x - y + 1) % 1 < 0.2, // slanting lines, both ways
];
const TILE = 6; // CSS pixels

const colourBytes = (text) => {
  const hex = text.trim().slice(1);
  return [0, 2, 4].map((at) => parseInt(hex.slice(at, at + 2), 16));
};
// The colours in force, from the style sheet.
const palette = () => {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => colourBytes(style.getPropertyValue(name));
  return {
    fills: SECTOR_STATES.map((word) => of(`--${word}`)),
    inks: SECTOR_STATES.map((word) => of(`--${word}-ink`)),
    nothing: of("--nothing"), chosen: of("--chosen"), ground: of("--ground"), hub: of("--hub"), line: of("--line"),
  };
};

// For each pixel its cell; -1 outside the cells, -2 on the rest of the disc, -3 off the disc.
const cellsOfPixels = (map, size, scale, rim, hub) => {
  const cells = new Int32Array(size * size);
  const middle = size / 2;
  for (let y = 0; y < size; y += 1) {
    for (let x = 0; x < size; x += 1) {
      const [dx, dy] = [x + 0.5 - middle, y + 0.5 - middle];
      const radius = map.toRadius(Math.sqrt(dx * dx + dy * dy) / scale);
      const at = y * size + x;
      if (radius > rim || radius < hub) {
        cells[at] = -3;
      } else if (radius < map.from || radius >= map.to) {
        cells[at] = -2;
      } else {
        const ring = Math.floor(((radius - map.from) / (map.to - map.from)) * map.rings);
        const turn = (Math.atan2(dx, -dy) / (2 * Math.PI) + 1) % 1; // From the top, clockwise.
        cells[at] = ring * ANGLES + Math.min(ANGLES - 1, Math.floor(turn * ANGLES));
      }
    }
  }
  return cells;
};

const paintCells = (context, map, cells, size, ratio) => {
  const colours = palette();
  const image = context.createImageData(size, size);
  const { data } = image;
  const { states, chosen } = map;
  const tile = TILE * ratio;
  const ground = colours.ground;
  for (let at = 0; at < cells.length; at += 1) {
    const cell = cells[at];
    if (cell === -3) continue;
    let colour = colours.hub;
    if (cell >= 0) {
      const state = states[cell];
      colour = colours.nothing;
      if (state !== NOTHING) {
        const x = (at % size) / tile;
        const y = Math.floor(at / size) / tile;
        // Marks need room: a thin line has only its colour.
        const broad = states[cell - ANGLES] === state || states[cell + ANGLES] === state;
        colour = broad && COVERS[state](x % 1, y % 1) ? colours.inks[state] : colours.fills[state];
        if (chosen !== null && chosen[cell] === 1 && state <= 1) colour = colours.chosen;
      }
    }
    const faded = chosen !== null && cell >= 0 && chosen[cell] === 0 ? 0.65 : 0;
    for (let c = 0; c < 3; c += 1) data[at * 4 + c] = colour[c] + (ground[c] - colour[c]) * faded;
    data[at * 4 + 3] = 255;
  }
  context.putImageData(image, 0, 0);
};

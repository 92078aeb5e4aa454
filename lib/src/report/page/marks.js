// SPDX-License-Identifier: GPL-3.0-or-later
// How states look: a colour and a mark each, never colour alone. The colours are custom properties of the style sheet.

const FILE_STATES = ["whole", "doubtful", "damaged", "lost", "unlocated"];
const SECTOR_STATES = ["good", "repaired", "suspect", "bad", "unread", "absent"];
const NODE_KINDS = ["folder", "file", "symbolic link", "block device", "character device", "FIFO", "socket"];
const TOPICS = ["photos", "video", "audio", "documents", "other"];
const VIEWS = ["rockridge", "udf", "joliet", "enhanced", "iso9660"];
const EVIDENCE = ["tree", "view", "pathtable", "session", "scan", "twin"];
const BASES = ["edc", "map", "assumed"];
const [WHOLE, DOUBTFUL, DAMAGED, LOST, UNLOCATED] = [0, 1, 2, 3, 4];
const ABSENT = 5;

const stateMark = (state) => el("span", { class: "state", "data-state": state }, FILE_STATES[state]);
const sectorMark = (state) => el("span", { class: "sector", "data-sector": state }, SECTOR_STATES[state]);

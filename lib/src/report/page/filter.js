// SPDX-License-Identifier: GPL-3.0-or-later
// The filter of the tree: words in names (of files and of the folders above them), states, kinds.

// Letter case, accents and what they are composed of make no difference.
const fold = (text) => (/^[\u0000-\u007f]*$/.test(text) ? text
  : text.normalize("NFD").replace(/[\u0300-\u036f]/g, "")).toLowerCase();
const NAMES_A_TURN = 5000; // Folded while the page has nothing else to do.

class NameSearch {
  constructor(data) {
    this.data = data;
    this.names = [];
    this.terms = [];
    this.found = [];
    const idle = window.requestIdleCallback || ((f) => setTimeout(f, 50));
    const turn = () => { if (this.prepare(NAMES_A_TURN)) idle(turn); };
    idle(turn);
  }

  // Folds so many names more; true when some are left.
  prepare(count) {
    const { names } = this.data.files;
    const end = Math.min(names.length, this.names.length + count);
    for (let id = this.names.length; id < end; id += 1) this.names.push(fold(names[id]));
    return end < names.length;
  }

  // Bits of the terms that a node's own name has, for each node. A term that goes on from the last search's looks only
  // where that one was found.
  search(text) {
    this.prepare(Infinity);
    const terms = fold(text).split(/\s+/).filter((term) => term !== "").slice(0, 8);
    this.found = terms.map((term, i) => {
      const narrows = this.terms[i] !== undefined && term.startsWith(this.terms[i]);
      return narrows ? this.narrow(this.found[i], term) : this.all(term);
    });
    this.terms = terms;
    if (terms.length === 0) return null;
    const bits = new Uint8Array(this.data.nodes);
    this.found.forEach((ids, i) => ids.forEach((id) => { bits[id] |= 1 << i; }));
    return bits;
  }

  all(term) {
    const ids = [];
    for (let id = 1; id < this.names.length; id += 1) if (this.names[id].includes(term)) ids.push(id);
    return ids;
  }

  narrow(ids, term) { return ids.filter((id) => this.names[id].includes(term)); }
}

class Filter {
  constructor(data, changed) {
    this.data = data;
    this.changed = changed;
    this.search = new NameSearch(data);
    this.states = new Set();
    this.topic = -1;
    this.text = "";
    this.build();
  }

  build() {
    const { data } = this;
    const prefix = `d${data.number}`;
    const counts = FILE_STATES.map(() => 0);
    const topics = TOPICS.map(() => 0);
    for (let id = 1; id < data.nodes; id += 1) {
      if (data.isFolder(id)) continue;
      counts[data.state(id)] += 1;
      topics[data.topic(id)] += 1;
    }
    this.input = el("input", {
      type: "search", id: `${prefix}-search`, autocomplete: "off", spellcheck: "false",
      input: () => { this.text = this.input.value; this.apply(); },
    });
    this.stateButtons = FILE_STATES.map((word, state) => counts[state] === 0 ? undefined
      : el("button", { type: "button", "aria-pressed": "false", class: "toggle", click: (event) => this.toggle(event, state) },
        stateMark(state), el("span", { class: "count" }, grouped(counts[state]))));
    this.select = el("select", {
      id: `${prefix}-topic`, change: () => { this.topic = Number(this.select.value); this.apply(); },
    }, el("option", { value: "-1" }, "all kinds"),
      TOPICS.map((word, topic) => topics[topic] === 0 ? undefined
        : el("option", { value: topic }, `${word} (${grouped(topics[topic])})`)));
    this.clear = button("Clear", () => this.reset(), { hidden: true });
    this.status = el("p", { class: "quiet", role: "status", "aria-live": "polite" });
    this.element = el("div", { class: "filter", role: "search", "aria-label": "Files" },
      el("div", { class: "field" }, el("label", { for: `${prefix}-search` }, "Names"), this.input),
      el("div", { class: "field" }, el("label", { for: `${prefix}-topic` }, "Kind"), this.select),
      el("div", { class: "toggles", role: "group", "aria-label": "States" }, this.stateButtons), this.clear, this.status);
  }

  toggle(event, state) {
    if (this.states.has(state)) this.states.delete(state);
    else this.states.add(state);
    event.currentTarget.setAttribute("aria-pressed", String(this.states.has(state)));
    this.apply();
  }

  reset() {
    this.states.clear();
    for (const one of this.stateButtons) if (one !== undefined) one.setAttribute("aria-pressed", "false");
    this.topic = -1;
    this.select.value = "-1";
    this.text = "";
    this.input.value = "";
    this.apply();
    this.input.focus();
  }

  // By id: 1 for what passes; null when all does.
  passes() {
    const { data, states, topic } = this;
    const bits = this.search.search(this.text);
    if (bits === null && states.size === 0 && topic < 0) return null;
    const wanted = (1 << this.search.terms.length) - 1;
    const anyState = states.size === 0;
    const stateOk = FILE_STATES.map((_, state) => anyState || states.has(state));
    const passing = new Uint8Array(data.nodes);
    for (let id = 1; id < data.nodes; id += 1) {
      if (bits !== null) {
        bits[id] |= bits[data.parents[id]];
        if (bits[id] !== wanted) continue;
      }
      if (data.isFolder(id)) passing[id] = anyState && topic < 0 ? 1 : 0;
      else passing[id] = stateOk[data.state(id)] && (topic < 0 || data.topic(id) === topic) ? 1 : 0;
    }
    return passing;
  }

  apply() {
    const passing = this.passes();
    this.clear.hidden = passing === null;
    const count = this.changed(passing);
    this.status.textContent = passing === null ? counted(count, "file")
      : `${counted(count, "file")} of ${grouped(this.data.filesBelow[0])}`;
  }
}

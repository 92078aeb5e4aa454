// SPDX-License-Identifier: GPL-3.0-or-later
// The re-read plan: which sectors are worth another try, and what has been reached after each step.

const REASONS = {
  structure: "names or places files", wanted: "completes what was asked for", file: "completes files", rest: "nothing known needs it",
};

class PlanTable {
  constructor(data, show) {
    this.data = data;
    this.show = show;
    const { plan } = data;
    if (plan.steps.length === 0) {
      this.element = el("p", {}, plan.sectors_not_good === 0 ? "Nothing needs to be read again."
        : `Nothing is worth another try: none of ${counted(plan.sectors_not_good, "sector")} that can't be had would complete a file.`);
      return;
    }
    const body = el("tbody");
    const more = growing(body, plan.steps.length, 20, (from, to) => plan.steps.slice(from, to).map((step, i) => this.row(step, from + i)), "step");
    this.element = el("div", {}, el("p", {}, this.sentence()),
      el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Steps of the plan" },
        el("table", { class: "plan" }, el("caption", { class: "quiet" }, "Each step counts on all before it having been read"),
          el("thead", {}, el("tr", {}, el("th", { scope: "col", class: "n" }, "Step"), el("th", { scope: "col" }, "Sectors to read"),
            el("th", { scope: "col" }, "What it brings"), el("th", { scope: "col", class: "n" }, "Read so far"),
            el("th", { scope: "col", class: "n" }, "Whole so far"))), body)), more,
      plan.all_steps > plan.steps.length
        ? el("p", { class: "quiet" }, `The plan has ${grouped(plan.all_steps)} steps; lacuna plan gives all of them.`) : "");
  }

  sentence() {
    const { plan } = this.data;
    const last = plan.steps[plan.steps.length - 1].so_far;
    const half = plan.steps.find((step) => step.so_far[2] * 2 >= last[2]);
    let text = `Reading ${counted(last[0], "sector")} in ${counted(plan.all_steps, "step")} would make ${counted(last[2], "file")} whole`
      + ` (${humanBytes(last[3])})`;
    if (last[2] > 3 && half !== undefined && half.so_far[0] * 3 < last[0]) text += `; the first ${grouped(half.so_far[0])} bring half of them`;
    if (last[1] !== 0) text += `, and name or place about ${counted(last[1], "file")}`;
    const lost = plan.files_unplaced + plan.files_outside;
    return `${text}.${lost === 0 ? "" : ` For ${counted(lost, "file")} no sector is known that would.`}`;
  }

  row(step, index) {
    const { data } = this;
    const ranges = [];
    for (let i = 0; i < step.ranges.length && ranges.length < 4; i += 2) ranges.push(lbaText(step.ranges[i], step.ranges[i + 1]));
    if (step.range_count > ranges.length) ranges.push(`${grouped(step.range_count - ranges.length)} more`);
    const things = step.structures.slice(0, 3).map((title) => el("li", {}, nameOf(title)));
    for (const id of step.files.slice(0, 3)) {
      const link = button("", () => this.show(id), { class: "link" });
      link.append(nameOf(data.path(id)));
      things.push(el("li", {}, link));
    }
    const left = step.file_count + step.structure_count - things.length;
    if (left > 0) things.push(el("li", { class: "quiet" }, `and ${grouped(left)} more`));
    return el("tr", {}, el("th", { scope: "row", class: "n" }, grouped(index + 1)),
      el("td", {}, counted(step.sectors, "sector"), el("br"), el("span", { class: "quiet" }, ranges.join(", "))),
      el("td", {}, el("span", { class: "quiet" }, REASONS[step.reason]), el("ul", { class: "plain" }, things)),
      el("td", { class: "n" }, grouped(step.so_far[0])),
      el("td", { class: "n" }, `+${grouped(step.so_far[2])}`, el("br"), el("span", { class: "quiet" }, humanBytes(step.so_far[3]))));
  }
}

// What a check came to, before and after it is finished. Counts before the server's answer are provisional and say so.
import { counts } from "./check.js";
import { el, say, stamp } from "./dom.js";
import { sign } from "./map.js";

const ROWS = [
  ["conforms", "conforms", "conforms"],
  ["does_not_conform", "above", "does not conform"],
  ["not_proven", "not_proven", "not proven"],
  ["not_measured", "not_measured", "not measured"],
  ["skipped", "skipped", "skipped"],
  ["waiting", "saved", "verdict still to come"],
  ["clash", "clash", "two values: choose"],
];

export class Summary {
  constructor(page) {
    this.page = page;
    Object.assign(this, stamp("summary", { back: () => page.showDesk(), finish: () => this.close(), raise: () => this.raiseChosen(), visit: ({ dataset }) => this.visit(dataset) }));
    this.node.hidden = true;
  }

  visit({ station, kind }) {
    this.page.showDesk();
    this.page.entry.visit(station, kind);
  }

  async close() {
    if (await this.page.record("finish/1", { note: "" })) say("The check is finished.");
  }

  async raiseChosen() {
    const chosen = [...new FormData(this.findings).getAll("finding")].map(Number);
    if (!chosen.length) return void say("Choose at least one.", true);
    this.raise.disabled = true;
    await this.page.record("raise/1", { findings: chosen });
  }

  places(list, into, box) {
    box.hidden = !list.length;
    into.replaceChildren(...list.map(({ station, kind }) => el("button", { type: "button", class: "button", "data-do": "visit", "data-station": station, "data-kind": kind }, `${station} ${kind}`)));
  }

  paint() {
    const { page } = this;
    const view = page.view();
    const own = counts(view, page.slots);
    const finish = page.act("finish/1");
    const raising = page.act("raise/1");
    const proposal = finish?.receipt?.result ?? page.check.proposal;
    const { finished } = page;
    const told = { ...own, ...proposal?.counts };
    this.title.textContent = finished ? "The check is finished" : own.not_measured ? "Not finished yet" : "Everything is measured";
    const problem = finish?.problem ?? raising?.problem;
    this.note.textContent = problem ? problem.message : proposal ? "" : finished ? "Finished on this tablet. The verdicts of record and the findings come when the server has been reached." : "Counts are provisional until the server has judged.";
    this.counts.replaceChildren(...ROWS.filter(([name]) => told[name] || name === "conforms").map(([name, shape, words]) => el("li", {}, sign(shape), el("b", {}, told[name]), ` ${words}`)));
    const open = page.slots.filter(({ station, kind }) => ["not_measured", "clash"].includes(view.slot(station, kind).state));
    this.places(finished ? [] : open, this.open, this.left);
    this.back.hidden = this.finish.hidden = finished;
    this.places(finished ? [] : page.slots.filter(({ station, kind }) => view.slot(station, kind).state === "not_proven"), this.unproven, this.again);
    if (proposal) this.paintFindings(proposal, raising);
  }

  paintFindings({ findings, measure_again }, raising) {
    const raised = raising?.receipt?.result?.nonconformances ?? this.page.check.nonconformances ?? [];
    this.found.hidden = !findings.length;
    this.raise.hidden = Boolean(raising) || raised.length > 0;
    if (this.findings.childElementCount !== findings.length) this.findings.replaceChildren(...findings.map(({ title }, index) => el("label", { class: "check" }, el("input", { type: "checkbox", name: "finding", value: index, checked: "" }), ` ${title}`)));
    this.raised.replaceChildren(...raised.map(({ label, url }) => el("li", {}, url ? el("a", { href: url }, label) : label)));
    this.again.hidden = !measure_again.length;
    this.unproven.replaceChildren(...measure_again.map(({ station, kind }) => el("span", { class: "chip" }, `${station} ${kind}`)));
  }
}

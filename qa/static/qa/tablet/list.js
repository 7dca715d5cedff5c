// The same stations as the map, as a table: the equal way for screen readers, keyboards and bad light.
import { WORDS, shows } from "./check.js";
import { el, stamp } from "./dom.js";
import { sign } from "./map.js";
import { KINDS } from "./walk.js";

export class StationList {
  constructor(check, pick) {
    this.check = check;
    Object.assign(this, stamp("list", { pick: ({ dataset }) => pick(dataset.station, dataset.kind) }));
  }

  paint(view, active) {
    if (this.node.hidden) return;
    const focused = document.activeElement?.dataset ?? {};
    this.rows.replaceChildren(...this.check.stations.map((station) => el("tr", {}, el("th", { scope: "row" }, station.label), KINDS.map((kind) => this.cell(station, kind, view, active)))));
    if (focused.kind) this.rows.querySelector(`[data-station="${CSS.escape(focused.station)}"][data-kind="${focused.kind}"]`)?.focus();
  }

  cell(station, kind, view, active) {
    if (!station[kind]) return el("td", {}, "no limits");
    const { label } = station;
    const { current, state } = view.slot(label, kind);
    const words = `${current && !["not_measured", "skipped"].includes(state) ? `${shows(current)} ` : ""}${WORDS[state]}`;
    const now = active?.station === label && active.kind === kind;
    return el("td", {}, el("button", { type: "button", class: "button", "data-do": "pick", "data-station": label, "data-kind": kind, "aria-label": `Station ${label} ${kind}: ${words}`, "aria-current": now && "step" }, sign(state), words));
  }
}

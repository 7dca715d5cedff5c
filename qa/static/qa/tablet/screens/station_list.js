// The same stations as the map, as a table: the equal way for screen readers, keyboards and bad light.
import { brief } from "../core/readings.js";
import { KINDS } from "../core/station_order.js";
import { VERDICTS } from "../core/verdicts.js";
import { el, stamp, touch } from "./dom.js";
import { sign } from "./map.js";

export function stationList({ stations }, pick) {
  const { node, rows } = stamp("list", { pick: ({ dataset }) => pick(dataset.station, dataset.kind) });

  function cell(station, kind, view, active) {
    if (!station[kind]) return el("td", {}, VERDICTS[""].word);
    const { label } = station;
    const slot = view.slot(label, kind);
    const words = brief(slot);
    const now = active.station === label && active.kind === kind;
    return el("td", {}, touch("pick", [sign(slot.state), words], { "data-station": label, "data-kind": kind, "aria-label": `Station ${label} ${kind}: ${words}`, "aria-current": now && "step" }));
  }

  function paint(view, active) {
    if (node.hidden) return;
    const { station: label, kind } = document.activeElement.dataset;
    rows.replaceChildren(...stations.map((station) => el("tr", {}, el("th", { scope: "row" }, station.label), KINDS.map((each) => cell(station, each, view, active)))));
    if (kind) rows.querySelector(`[data-station="${CSS.escape(label)}"][data-kind="${kind}"]`)?.focus();
  }

  return { node, paint };
}

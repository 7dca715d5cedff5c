// The joint as a drawing: outline, numbered stations with their state in shape, sign and color, values beside them.
// Built once, then only the stations that changed are drawn again.
import { WORDS, shows, stateOfStation } from "./check.js";
import { svg } from "./dom.js";
import { KINDS } from "./walk.js";

const RADIUS = 20;
const TEXT = 22;
const ROOM = [108, 84];
const MANY = 32;

const TRIANGLE = "M0-1.4L1.35 .9H-1.35Z";
const FLIPPED = "M0 1.4L1.35-.9H-1.35Z";
const DIAMOND = "M0-1.38L1.38 0L0 1.38L-1.38 0Z";

// The bare shape of a state about the origin, in units of its radius; the shape tells, the color helps.
function shape(state) {
  const path = (d, cls = state) => svg("path", { d, class: `s-${cls}` });
  if (state === "above") return [path(TRIANGLE)];
  if (state === "below") return [path(FLIPPED)];
  if (state === "not_proven") return [path(DIAMOND), path("M1.38 0L0 1.38L-1.38 0Z", "half"), path(DIAMOND, "edge")];
  if (state === "clash") return [-0.4, 0.4].map((cx) => svg("circle", { cx, r: 1, class: "s-clash" }));
  const disc = svg("circle", { r: 1, class: `s-${state}` });
  return state === "skipped" ? [disc, path("M-1.3 0H-.8M.8 0H1.3", "edge")] : [disc];
}

// The small sign of a state beside words and values.
export function sign(state) {
  const inner = state === "conforms" ? [svg("path", { d: "M-.9 0L-.3 .8L1-.9", class: "s-tick" })] : shape(state);
  return svg("svg", { viewBox: "-1.5 -1.5 3 3", class: "sign", "aria-hidden": "true" }, inner);
}

export class JointMap {
  constructor(check, pick) {
    this.check = check;
    this.drawn = new Map();
    const { map } = check;
    const [xs, ys] = [0, 1].map((axis) => check.stations.map(({ at }) => at[axis]));
    const [left, top] = [Math.min(...xs) - ROOM[0], Math.min(...ys) - ROOM[1]];
    const box = [left, top, Math.max(...xs) + ROOM[0] - left, Math.max(...ys) + ROOM[1] - top];
    const nodes = check.stations.map((station) => {
      const node = svg("g", { class: "station", role: "button", tabindex: -1 });
      this.drawn.set(station.label, { node, value: svg("g", { class: "value" }), look: "" });
      return node;
    });
    this.values = svg("g", { "aria-hidden": "true" }, [...this.drawn.values()].map((one) => one.value));
    const ground = [map.surround && svg("path", { d: map.surround, class: "surround" }), svg("path", { d: map.outline, class: "seam" }), this.flow(map.flow)];
    this.node = svg("svg", { viewBox: box.join(" "), class: "map", role: "group", "aria-label": `Map of ${check.joint.label}`, preserveAspectRatio: "xMidYMid meet" }, svg("g", { "aria-hidden": "true" }, ground), this.values, nodes);
    this.node.addEventListener("click", (event) => pick(this.nearest(event)));
    this.node.addEventListener("keydown", (event) => this.step(event, pick));
  }

  flow(flow) {
    if (!flow) return null;
    const { x, y, dx, dy } = flow;
    const turn = (Math.atan2(dy, dx) * 180) / Math.PI;
    return svg("g", { class: "flow", transform: `translate(${x} ${y})` }, svg("path", { d: "M-30 0H30M18-8L30 0L18 8", transform: `rotate(${turn})` }), svg("text", { y: 34, "text-anchor": "middle" }, "flow"));
  }

  // A finger is wide: what counts is the station nearest to it, so targets never overlap.
  nearest(event) {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.node.getScreenCTM().inverse());
    const far = (station) => Math.hypot(station.at[0] - point.x, station.at[1] - point.y);
    return this.check.stations.reduce((best, station) => (far(station) < far(best) ? station : best)).label;
  }

  // One tab stop; arrows walk along the seam, Enter or Space picks.
  step(event, pick) {
    const labels = this.check.stations.map((station) => station.label);
    const at = labels.findIndex((label) => this.drawn.get(label).node === document.activeElement);
    const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (at < 0 || (!by && event.key !== "Enter" && event.key !== " ")) return;
    event.preventDefault();
    event.stopPropagation();
    if (by) this.drawn.get(labels[(at + by + labels.length) % labels.length]).node.focus();
    else pick(labels[at]);
  }

  paint(view, active) {
    for (const station of this.check.stations) this.paintStation(station, view, active);
  }

  paintStation(station, view, active) {
    const one = this.drawn.get(station.label);
    const now = active?.station === station.label;
    const state = stateOfStation(view, station);
    const rows = KINDS.filter((kind) => station[kind]).map((kind) => [kind, view.slot(station.label, kind)]);
    const bad = ["above", "below", "not_proven", "clash"].includes(state);
    const shown = this.check.stations.length <= MANY || bad || now ? rows.filter(([, slot]) => slot.current) : [];
    const name = `Station ${station.label}: ${rows.map(([kind, slot]) => `${kind} ${slot.current ? `${shows(slot.current)} ` : ""}${WORDS[slot.state]}`).join(", ")}`;
    const look = `${name}|${now}|${shown.length}`;
    if (look === one.look) return;
    one.look = look;
    one.node.setAttribute("aria-label", name);
    one.node.setAttribute("tabindex", now ? 0 : -1);
    if (now) one.node.setAttribute("aria-current", "step");
    else one.node.removeAttribute("aria-current");
    const [x, y] = station.at;
    const lift = { above: 0.28, below: -0.28 }[state] ?? 0;
    const size = station.label.length > 2 ? 0.8 : 1.05;
    one.node.replaceChildren(
      svg("circle", { cx: x, cy: y, r: 34, class: "hit" }),
      ...(now ? [svg("rect", { x: x - 36, y: y - 36, width: 72, height: 72, class: "now" })] : []),
      svg("g", { transform: `translate(${x} ${y}) scale(${RADIUS})` }, shape(state)),
      svg("text", { x, y: y + RADIUS * (lift + size * 0.36), "font-size": RADIUS * size, class: `n n-${state}`, "text-anchor": "middle" }, station.label),
    );
    one.value.replaceChildren(...shown.map(([, slot], row) => this.value(station, slot, row - (shown.length - 1) / 2)));
  }

  // Beside the symbol on the side of the surround, clear of it whichever way the seam runs.
  value(station, slot, row) {
    const words = shows(slot.current);
    const half = (words.length * 0.52 * TEXT) / 2;
    const [nx, ny] = station.normal;
    const x = station.at[0] + nx * (40 + half) + 8;
    const y = station.at[1] + ny * 58 + row * TEXT * 1.1;
    const mark = slot.state === "conforms" ? [svg("path", { d: "M-.9 0L-.3 .8L1-.9", class: "s-tick" })] : shape(slot.state);
    return svg("g", {}, svg("g", { transform: `translate(${x - half - 12} ${y}) scale(7)` }, mark), svg("text", { x, y: y + TEXT * 0.36, "font-size": TEXT, "text-anchor": "middle" }, words));
  }
}

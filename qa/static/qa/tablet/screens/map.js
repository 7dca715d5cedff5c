// The joint as a drawing: outline, numbered stations with their state in shape, sign and color, values beside them.
// Built once, then only the stations that changed are drawn again.
import { layOut } from "../core/map_layout.js";
import { brief, measured, shows, stateOfStation } from "../core/readings.js";
import { KINDS } from "../core/station_order.js";
import { SHAPES, VERDICTS } from "../core/verdicts.js";
import { svg } from "./dom.js";

const RADIUS = 20;
const ROOM = [128, 106];
const MANY = 32;
// CSS pixels of a figure that is read at arm's length.
const LEGIBLE = 18.5;

// The shape of a state about x, y; the shape tells, the color helps. In places, not by transforms: a browser paints anew whatever stands under one.
const draw = (name, state, x = 0, y = 0, r = 1) =>
  SHAPES[name].map(([d, cls = state]) => {
    if (d.at) return svg("path", { d: d.replace(/([-.\d]+) ([-.\d]+)/g, (_, px, py) => `${x + px * r} ${y + py * r}`), class: `s-${cls}` });
    return svg("circle", { cx: x + d * r, cy: y, r, class: `s-${cls}` });
  });

// The small sign of a state beside words and values.
const mark = (state, ...at) => draw(VERDICTS[state].sign ?? VERDICTS[state].shape, state, ...at);
export const sign = (state) => svg("svg", { viewBox: "-1.5 -1.5 3 3", class: "sign", "aria-hidden": "true" }, mark(state));

// The direction of the air.
function flowOf(flow) {
  if (!flow) return null;
  const turn = (Math.atan2(flow.dy, flow.dx) * 180) / Math.PI;
  return svg("g", { class: "flow", transform: `translate(${flow.x} ${flow.y})` }, svg("path", { d: "M-30 0H30M18-8L30 0L18 8", transform: `rotate(${turn})` }), svg("text", { y: 34, "text-anchor": "middle" }, "flow"));
}

export class StationMap {
  // pick(label): a station was touched.
  constructor({ stations, map, joint }, pick) {
    const [xs, ys] = [0, 1].map((axis) => stations.map(({ at }) => at[axis]));
    const [left, top] = [Math.min(...xs) - ROOM[0], Math.min(...ys) - ROOM[1]];
    this.box = [left, top, Math.max(...xs) + ROOM[0] - left, Math.max(...ys) + ROOM[1] - top];
    this.drawn = stations.map((station) => ({ station, node: svg("g", { class: "station", role: "button" }), value: svg("g", { class: "value" }) }));
    const ground = [map.surround && svg("path", { d: map.surround, class: "surround" }), svg("path", { d: map.outline, class: "seam" }), flowOf(map.flow), this.drawn.map(({ value }) => value)];
    this.node = svg("svg", { viewBox: this.box.join(" "), class: "map", role: "group", "aria-label": `Map of ${joint.label}` }, svg("g", { "aria-hidden": "true" }, ...ground.filter(Boolean)), this.drawn.map(({ node }) => node));
    this.textSize = map.text ?? 22;
    this.pick = pick;
    this.node.onclick = (event) => pick(this.nearest(event));
    this.node.onkeydown = (event) => this.step(event);
    // Large enough for an arm's length is another size on another sheet.
    new ResizeObserver(() => this.latest && this.paint(...this.latest)).observe(this.node);
  }

  // A finger is wide: what counts is the station nearest to it, so targets never overlap.
  nearest({ clientX, clientY }) {
    const { x, y } = new DOMPoint(clientX, clientY).matrixTransform(this.node.getScreenCTM().inverse());
    const far = ({ station: { at } }) => Math.hypot(at[0] - x, at[1] - y);
    return this.drawn.reduce((best, other) => (far(other) < far(best) ? other : best)).station.label;
  }

  // One tab stop; arrows walk along the seam, Enter or Space picks.
  step(event) {
    const { drawn } = this;
    const row = drawn.findIndex(({ node }) => node === document.activeElement);
    const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (row < 0 || (!by && event.key !== "Enter" && event.key !== " ")) return;
    event.preventDefault();
    event.stopPropagation();
    if (by) drawn.at((row + by) % drawn.length).node.focus();
    else this.pick(drawn[row].station.label);
  }

  // view, active: of the session and its entry; photos: labels of stations of which there is a photo.
  paint(view, active, photos) {
    this.latest = [view, active, photos];
    const scale = this.node.getScreenCTM()?.a || 0.75;
    const shown = valuesShown(this.drawn, view, active);
    const blocks = layOut(shown, this.box, this.textSize, LEGIBLE / scale);
    for (const [row, drawn] of this.drawn.entries()) paintStation(drawn, view, active, shown[row], blocks[row], photos.has(drawn.station.label));
  }
}

// Which values stand beside each station: all on a small seam, else those near the station in hand and what is bad.
function valuesShown(drawn, view, active) {
  const now = drawn.findIndex(({ station }) => station.label === active.station);
  return drawn.map(({ station }, row) => {
    const apart = Math.abs(row - now);
    const near = now < 0 ? null : apart === 0 ? 0 : apart === 1 || apart === drawn.length - 1 ? 1 : null;
    const all = drawn.length <= MANY || near !== null || VERDICTS[stateOfStation(view, station)].bad;
    const slots = all ? KINDS.map((kind) => station[kind] && view.slot(station.label, kind)).filter((slot) => measured(slot?.current)) : [];
    return { at: station.at, normal: station.normal, slots, words: slots.map(({ current }) => shows(current)), near };
  });
}

// Only what changed is drawn again.
function paintStation(drawn, view, active, { slots, words }, block, photo) {
  const { station, node, value } = drawn;
  const { label, at, normal } = station;
  const [x, y] = at;
  const now = active.station === label;
  const state = stateOfStation(view, station);
  const rows = KINDS.filter((kind) => station[kind]).map((kind) => [kind, view.slot(label, kind)]);
  const name = `Station ${label}: ${rows.map(([kind, slot]) => `${kind} ${brief(slot)}`).join(", ")}${photo ? ", photo" : ""}`;
  const look = JSON.stringify([name, now, block]);
  if (look === drawn.look) return;
  drawn.look = look;
  for (const [key, is] of Object.entries({ "aria-label": name, "aria-current": now && "step", tabindex: now ? 0 : -1 })) node.setAttribute(key, is);
  const { shape, lift = 0 } = VERDICTS[state];
  const size = label.length > 2 ? 0.8 : 1.05;
  const drawing = [
    svg("circle", { cx: x, cy: y, r: 34, class: "hit" }),
    now && svg("rect", { x: x - 36, y: y - 36, width: 72, height: 72, class: "now" }),
    ...draw(shape, state, x, y, RADIUS),
    photo && camera(x - normal[0] * 50, y - normal[1] * 46),
    svg("text", { x, y: y + RADIUS * (lift + size * 0.36), "font-size": RADIUS * size, class: `n-${state}`, "text-anchor": "middle" }, label),
  ];
  node.replaceChildren(...drawing.filter(Boolean));
  value.replaceChildren(...(block ? slots.map((slot, row) => valueOf(slot.state, words[row], block.lines[row], block.size)) : []));
}

// A camera beside a station that has a photo.
const camera = (x, y) => svg("path", { class: "camera", d: `M${x - 11} ${y - 6}h5l3 -4h6l3 4h5v14h-22zM${x - 4} ${y + 1}a4 4 0 1 0 8 0a4 4 0 1 0 -8 0` });

// Beside the symbol on the side of the surround, clear of it whichever way the seam runs.
function valueOf(state, words, { x, y, half }, size) {
  return svg("g", {}, mark(state, x - half - 12, y, 7), svg("text", { x, y: y + size * 0.36, "font-size": size, "text-anchor": "middle" }, words));
}

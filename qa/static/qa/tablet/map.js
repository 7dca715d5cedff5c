// The joint as a drawing: outline, numbered stations with their state in shape, sign and color, values beside them.
// Built once, then only the stations that changed are drawn again.
import { BAD, brief, measured, shows, stateOfStation } from "./check.js";
import { svg } from "./dom.js";
import { placesOf } from "./places.js";
import { KINDS } from "./walk.js";

const RADIUS = 20;
const ROOM = [128, 106];
const MANY = 32;
// CSS pixels of a figure that is read at arm's length.
const LEGIBLE = 18.5;

const TRIANGLE = "M0 -1.4L1.35 .9L-1.35 .9Z";
const FLIPPED = "M0 1.4L1.35 -.9L-1.35 -.9Z";
const DIAMOND = "M0 -1.38L1.38 0L0 1.38L-1.38 0Z";

// The bare shape of a state about x, y; the shape tells, the color helps. In places, not by transforms: a browser paints anew whatever stands under one.
function shape(state, x = 0, y = 0, r = 1) {
  const path = (d, cls = state) => svg("path", { d: d.replace(/([-.\d]+) ([-.\d]+)/g, (_, px, py) => `${x + px * r} ${y + py * r}`), class: `s-${cls}` });
  const disc = (px) => svg("circle", { cx: x + px * r, cy: y, r, class: `s-${state}` });
  if (state === "tick") return [path("M-.9 0L-.3 .8L1 -.9")];
  if (state === "above") return [path(TRIANGLE)];
  if (state === "below") return [path(FLIPPED)];
  if (state === "not_proven") return [path(DIAMOND), path("M1.38 0L0 1.38L-1.38 0Z", "half"), path(DIAMOND, "edge")];
  if (state === "clash") return [disc(-0.4), disc(0.4)];
  return state === "skipped" ? [disc(0), path("M-1.3 0L-.8 0M.8 0L1.3 0", "edge")] : [disc(0)];
}

// The small sign of a state beside words and values.
const mark = (state, ...at) => shape(state === "conforms" ? "tick" : state, ...at);
export const sign = (state) => svg("svg", { viewBox: "-1.5 -1.5 3 3", class: "sign", "aria-hidden": "true" }, mark(state));

// The direction of the air.
function flowOf(flow) {
  if (!flow) return null;
  const turn = (Math.atan2(flow.dy, flow.dx) * 180) / Math.PI;
  return svg("g", { class: "flow", transform: `translate(${flow.x} ${flow.y})` }, svg("path", { d: "M-30 0H30M18-8L30 0L18 8", transform: `rotate(${turn})` }), svg("text", { y: 34, "text-anchor": "middle" }, "flow"));
}

export function mapOf({ stations, map, joint }, pick) {
  const [xs, ys] = [0, 1].map((axis) => stations.map(({ at }) => at[axis]));
  const [left, top] = [Math.min(...xs) - ROOM[0], Math.min(...ys) - ROOM[1]];
  const box = [left, top, Math.max(...xs) + ROOM[0] - left, Math.max(...ys) + ROOM[1] - top];
  const drawn = stations.map(() => ({ node: svg("g", { class: "station", role: "button" }), value: svg("g", { class: "value" }) }));
  const ground = [map.surround && svg("path", { d: map.surround, class: "surround" }), svg("path", { d: map.outline, class: "seam" }), flowOf(map.flow), drawn.map(({ value }) => value)];
  const node = svg("svg", { viewBox: box.join(" "), class: "map", role: "group", "aria-label": `Map of ${joint.label}` }, svg("g", { "aria-hidden": "true" }, ...ground.filter(Boolean)), drawn.map((one) => one.node));
  node.onclick = (event) => pick(nearest(event));
  node.onkeydown = step;

  // A finger is wide: what counts is the station nearest to it, so targets never overlap.
  function nearest({ clientX, clientY }) {
    const { x, y } = new DOMPoint(clientX, clientY).matrixTransform(node.getScreenCTM().inverse());
    const far = ({ at }) => Math.hypot(at[0] - x, at[1] - y);
    return stations.reduce((best, station) => (far(station) < far(best) ? station : best)).label;
  }

  // One tab stop; arrows walk along the seam, Enter or Space picks.
  function step(event) {
    const row = drawn.findIndex((one) => one.node === document.activeElement);
    const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (row < 0 || (!by && event.key !== "Enter" && event.key !== " ")) return;
    event.preventDefault();
    event.stopPropagation();
    if (by) drawn.at((row + by) % drawn.length).node.focus();
    else pick(stations[row].label);
  }

  // What stands beside each station, and where.
  function placesNow(view, active) {
    const now = stations.findIndex(({ label }) => label === active.station);
    const scale = node.getScreenCTM()?.a || 0.75;
    const shown = stations.map((station, row) => {
      const apart = Math.abs(row - now);
      const near = now < 0 ? null : apart === 0 ? 0 : apart === 1 || apart === stations.length - 1 ? 1 : null;
      const all = stations.length <= MANY || near !== null || BAD.includes(stateOfStation(view, station));
      const slots = all ? KINDS.map((kind) => station[kind] && view.slot(station.label, kind)).filter((slot) => measured(slot?.current)) : [];
      return { at: station.at, normal: station.normal, slots, words: slots.map(({ current }) => shows(current)), near };
    });
    const blocks = placesOf(shown, box, map.text ?? 22, LEGIBLE / scale);
    return shown.map(({ slots, words }, row) => ({ slots, words, block: blocks[row] }));
  }

  function paintStation(station, one, view, active, { slots, words, block }, photo) {
    const { label, at } = station;
    const [x, y] = at;
    const now = active.station === label;
    const state = stateOfStation(view, station);
    const rows = KINDS.filter((kind) => station[kind]).map((kind) => [kind, view.slot(label, kind)]);
    const name = `Station ${label}: ${rows.map(([kind, slot]) => `${kind} ${brief(slot)}`).join(", ")}${photo ? ", photo" : ""}`;
    const look = JSON.stringify([name, now, block]);
    if (look === one.look) return;
    one.look = look;
    for (const [key, value] of Object.entries({ "aria-label": name, "aria-current": now && "step", tabindex: now ? 0 : -1 })) one.node.setAttribute(key, value);
    const lift = { above: 0.28, below: -0.28 }[state] ?? 0;
    const size = label.length > 2 ? 0.8 : 1.05;
    one.node.replaceChildren(
      svg("circle", { cx: x, cy: y, r: 34, class: "hit" }),
      ...(now ? [svg("rect", { x: x - 36, y: y - 36, width: 72, height: 72, class: "now" })] : []),
      ...shape(state, x, y, RADIUS),
      ...(photo ? [camera(x - station.normal[0] * 50, y - station.normal[1] * 46)] : []),
      svg("text", { x, y: y + RADIUS * (lift + size * 0.36), "font-size": RADIUS * size, class: `n-${state}`, "text-anchor": "middle" }, label),
    );
    one.value.replaceChildren(...(block ? slots.map(({ state: of }, row) => valueOf(of, words[row], block.lines[row], block.size)) : []));
  }

  // view, active: as entry.js tells them; photos: labels of stations of which there is a photo.
  let latest = null;
  function paint(view, active, photos) {
    latest = [view, active, photos];
    const places = placesNow(view, active);
    stations.forEach((station, row) => paintStation(station, drawn[row], view, active, places[row], photos.has(station.label)));
  }

  // Large enough for an arm's length is another size on another sheet.
  new ResizeObserver(() => latest && paint(...latest)).observe(node);
  return { node, paint };
}

// A camera beside a station that has a photo.
const camera = (x, y) => svg("path", { class: "camera", d: `M${x - 11} ${y - 6}h5l3 -4h6l3 4h5v14h-22zM${x - 4} ${y + 1}a4 4 0 1 0 8 0a4 4 0 1 0 -8 0` });

// Beside the symbol on the side of the surround, clear of it whichever way the seam runs.
function valueOf(state, words, { x, y, half }, size) {
  return svg("g", {}, mark(state, x - half - 12, y, 7), svg("text", { x, y: y + size * 0.36, "font-size": size, "text-anchor": "middle" }, words));
}

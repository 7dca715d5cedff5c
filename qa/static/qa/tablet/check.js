// One check as the page shows it: what the server has, and over it what this tablet did since. Pure.
import { parseLength, tellLength } from "./parse.js";
import { judge, stateOf } from "./verdict.js";
import { slotKey } from "./walk.js";

export const WORDS = {
  conforms: "conforms",
  above: "above",
  below: "below",
  not_proven: "not proven",
  not_measured: "not measured",
  skipped: "skipped",
  saved: "saved",
  clash: "two values",
};
export const BAD = ["above", "below", "not_proven", "clash"];
const SEVERITY = ["conforms", "skipped", "saved", "not_measured", "not_proven", "below", "above", "clash"];

function judged(said, limits) {
  const read = said.outcome === "value" && limits ? parseLength(said.value, said.unit) : { problem: true };
  return read.problem ? { verdict: null, deviation_nm: null } : { value_nm: read.nm, ...judge(read.nm, limits) };
}

// An act of this tablet as a reading; its verdict is provisional until the server's receipt brings the one of record.
function reading(act, limits) {
  const { said, by, made_at } = act.body;
  const result = act.receipt?.result ?? null;
  const authorship = (act.receipt ?? act.body).claimed ? "claimed" : "";
  return { ...said, act: act.id, by, made_at, authorship, ...(result ?? judged(said, limits)), standing: true, provisional: !result, problem: act.problem ?? null };
}

function stateOfSlot(alive) {
  if (alive.length > 1) return "clash";
  const [one] = alive;
  if (!one || one.outcome === "cleared") return "not_measured";
  return one.outcome === "skipped" ? "skipped" : stateOf(one.verdict, one.deviation_nm);
}

// acts: reading/1 and choose/1 of this tablet for this check, in order, acknowledged or not; those that the server's answer holds already are passed over.
export function viewOf(check, acts) {
  const limits = new Map(check.stations.map((one) => [one.label, one]));
  const known = new Set(check.readings.map((one) => one.act));
  const readings = check.readings.map((one) => ({ ...one, standing: one.current || one.clash }));
  const chosen = [];
  for (const act of acts) {
    if (act.receipt?.aside) continue;
    const { form, said } = act.body;
    if (form === "choose/1") chosen.push({ ...said, before: readings.length });
    else if (form === "reading/1" && !known.has(act.id)) readings.push(reading(act, limits.get(said.station)?.[said.kind]));
  }
  const replaced = new Set(readings.map((one) => one.supersedes).filter(Boolean));
  const slots = new Map();
  for (const one of readings) {
    const key = slotKey(one.station, one.kind);
    const slot = slots.get(key) ?? { alive: [], all: [] };
    slots.set(key, slot);
    slot.all.push(one);
    if (one.standing && !replaced.has(one.act)) slot.alive.push(one);
  }
  for (const { station, kind, reading: kept, before } of chosen) {
    const slot = slots.get(slotKey(station, kind));
    const late = new Set(readings.slice(before).map((one) => one.act));
    if (slot?.alive.length > 1) slot.alive = slot.alive.filter((one) => one.act === kept || late.has(one.act));
  }
  const done = new Set();
  for (const [key, slot] of slots) {
    if (slot.alive.length > 1) slot.alive = slot.alive.filter((one) => one.outcome !== "cleared");
    slot.current = slot.alive.length === 1 ? slot.alive[0] : null;
    slot.state = stateOfSlot(slot.alive);
    if (slot.state !== "not_measured") done.add(key);
  }
  return { slots, done, slot: (station, kind) => slots.get(slotKey(station, kind)) ?? { alive: [], all: [], current: null, state: "not_measured" } };
}

export const shows = (one) => (one.outcome === "feeler" ? `${one.goes}/${one.does_not_go}` : one.outcome === "value" ? one.value.replace("-", "\u2212") : one.outcome);

export const measured = (one) => one?.outcome === "value" || one?.outcome === "feeler";
export const brief = ({ current, state }) => `${measured(current) ? `${shows(current)} ` : ""}${WORDS[state]}`;

// "2.35 mm above, 0.35 over"; the value is left out where it stands beside.
export function told(one, state) {
  const value = measured(one) ? `${shows(one)} ${one.unit} ` : "";
  const by = one.deviation_nm ? `, ${tellLength(Math.abs(one.deviation_nm), one.unit || "mm")} ${one.deviation_nm < 0 ? "under" : "over"}` : "";
  return `${value}${WORDS[state]}${by}`;
}

// The worse of gap and flushness stands for a station on the map.
export function stateOfStation(view, station) {
  const states = ["gap", "flush"].filter((kind) => station[kind]).map((kind) => view.slot(station.label, kind).state);
  return states.sort((a, b) => SEVERITY.indexOf(b) - SEVERITY.indexOf(a))[0] ?? "conforms";
}

export function counts(view, slots) {
  const told = {};
  const column = { above: "does_not_conform", below: "does_not_conform", saved: "waiting" };
  for (const { station, kind } of slots) {
    const { state } = view.slot(station, kind);
    const name = column[state] ?? state;
    told[name] = (told[name] ?? 0) + 1;
  }
  return told;
}

// A reading as it is judged here, and the readings of one check as the page shows them: what the server has, and over it what this tablet did since.
import { parseLength, tellLength } from "./lengths.js";
import { KINDS, slotKey } from "./station_order.js";
import { VERDICTS } from "./verdicts.js";

// A reading against the integer acceptance limits that the server worked out; nothing is computed here but comparisons.
// LIM: low_nm high_nm (limits, null when absent), accept_* (conforms inside, inclusive), reject_* (does not conform strictly outside).
const beyond = (nm, low, high) => {
  if (high !== null && nm > high) return nm - high;
  if (low !== null && nm < low) return nm - low;
  return 0;
};

// Whether a value lies beyond what its instrument reads; range_nm: [low, high] or undefined where that is not stated.
export const isOutside = (nm, instrument) => Boolean(instrument?.range_nm && beyond(nm, ...instrument.range_nm));

export function judge(nm, limits) {
  const deviation_nm = beyond(nm, limits.low_nm, limits.high_nm);
  const rejected = beyond(nm, limits.reject_low_nm, limits.reject_high_nm);
  const unaccepted = beyond(nm, limits.accept_low_nm, limits.accept_high_nm);
  return { verdict: rejected ? "does_not_conform" : unaccepted ? "not_proven" : "conforms", deviation_nm };
}

// The state that map, list and pad draw: conforms, above, below, not_proven; from the server's record when there is one.
export function stateOf(verdict, deviation_nm) {
  if (verdict === "does_not_conform") return deviation_nm < 0 ? "below" : "above";
  return verdict || "saved";
}

// A slip of the finger (235 for 2.35) lies more than five tolerance widths outside. With one limit only there is no width: 25 mm does.
export function looksLikeASlip(nm, limits) {
  const both = limits.low_nm !== null && limits.high_nm !== null;
  const width = both ? limits.high_nm - limits.low_nm : 5e6;
  return Math.abs(beyond(nm, limits.low_nm, limits.high_nm)) > 5 * width;
}

function judged(typed, limits) {
  const read = typed.outcome === "value" && limits ? parseLength(typed.value, typed.unit) : { problem: true };
  return read.problem ? { verdict: null, deviation_nm: null } : { value_nm: read.nm, ...judge(read.nm, limits) };
}

// An act of this tablet as a reading; its verdict is provisional until the server's receipt brings the reading of record.
function readingOf(act, limits) {
  const { said, by, made_at } = act.body;
  const result = act.receipt?.result;
  const authorship = (act.receipt ?? act.body).claimed ? "claimed" : "";
  return { ...said, act: act.id, by, made_at, authorship, ...(result ?? judged(said, limits)), standing: true, provisional: !result, problem: act.problem };
}

function stateOfSlot(alive) {
  if (alive.length > 1) return "clash";
  const [reading] = alive;
  if (!reading || reading.outcome === "cleared") return "not_measured";
  return reading.outcome === "skipped" ? "skipped" : stateOf(reading.verdict, reading.deviation_nm);
}

// acts: reading/1 and choose/1 of this tablet for this check, in order, acknowledged or not; those that the server's answer holds already are passed over.
export function viewOf(check, acts) {
  const limits = new Map(check.stations.map((station) => [station.label, station]));
  const known = new Set(check.readings.map((reading) => reading.act));
  const readings = check.readings.map((reading) => ({ ...reading, standing: reading.current || reading.clash }));
  const chosen = [];
  for (const act of acts) {
    if (act.receipt?.aside) continue;
    const { form, said } = act.body;
    if (form === "choose/1") chosen.push({ ...said, before: readings.length });
    else if (form === "reading/1" && !known.has(act.id)) readings.push(readingOf(act, limits.get(said.station)?.[said.kind]));
  }
  const replaced = new Set(readings.map((reading) => reading.supersedes).filter(Boolean));
  const slots = new Map();
  for (const reading of readings) {
    const key = slotKey(reading.station, reading.kind);
    const slot = slots.get(key) ?? { alive: [] };
    slots.set(key, slot);
    if (reading.standing && !replaced.has(reading.act)) slot.alive.push(reading);
  }
  for (const { station, kind, reading: preferred, before } of chosen) {
    const slot = slots.get(slotKey(station, kind));
    const late = new Set(readings.slice(before).map((reading) => reading.act));
    if (slot?.alive.length > 1) slot.alive = slot.alive.filter((reading) => reading.act === preferred || late.has(reading.act));
  }
  const done = new Set();
  for (const [key, slot] of slots) {
    if (slot.alive.length > 1) slot.alive = slot.alive.filter((reading) => reading.outcome !== "cleared");
    slot.current = slot.alive.length === 1 ? slot.alive[0] : null;
    slot.state = stateOfSlot(slot.alive);
    if (slot.state !== "not_measured") done.add(key);
  }
  return { done, slot: (station, kind) => slots.get(slotKey(station, kind)) ?? { alive: [], current: null, state: "not_measured" } };
}

export const shows = (reading) => (reading.outcome === "feeler" ? `${reading.goes}/${reading.does_not_go}` : reading.outcome === "value" ? reading.value.replace("-", "\u2212") : reading.outcome);

export const measured = (reading) => reading?.outcome === "value" || reading?.outcome === "feeler";
export const brief = ({ current, state }) => `${measured(current) ? `${shows(current)} ` : ""}${VERDICTS[state].word}`;

// "2.35 mm above, 0.35 over"; the value is left out where it stands beside.
export function describe(reading, state) {
  const value = measured(reading) ? `${shows(reading)} ${reading.unit} ` : "";
  const by = reading.deviation_nm ? `, ${tellLength(Math.abs(reading.deviation_nm), reading.unit || "mm")} ${reading.deviation_nm < 0 ? "under" : "over"}` : "";
  return `${value}${VERDICTS[state].word}${by}`;
}

// The worse of gap and flushness stands for a station on the map.
export function stateOfStation(view, station) {
  const states = KINDS.filter((kind) => station[kind]).map((kind) => view.slot(station.label, kind).state);
  return states.sort((a, b) => VERDICTS[b].severity - VERDICTS[a].severity)[0] ?? "conforms";
}

// What stands beside the field: the value before, what is expected after a cut or a move, and whether the station is a witness.
// field: {before: {outcome, value, goes, does_not_go, unit, nm} or null, expected_nm or null, witness}, see qa/queries/tablet/hints.py.
export function referenceValues(field, unit) {
  if (!field) return "";
  const { before, expected_nm, witness } = field;
  const tell = (nm) => `${tellLength(nm, unit)} ${unit}`;
  const was = before && (before.unit === unit ? `${shows(before)} ${unit}` : tell(before.nm));
  return [witness && "Witness", was && `before ${was}`, expected_nm != null && `expected ${tell(expected_nm)}`].filter(Boolean).join(" · ");
}

// Choices for a new check, from what is carried along: parts, holding, the joint that a label leads to, what stands against starting.
import { measured } from "./readings.js";
import { slotKey } from "./station_order.js";

// Serials of a design that was here before, then loose ones of other designs; what sits at another place is none.
export function partsOffered(parts, designs, placed) {
  const fits = ({ id, design, airframe }) => id === placed || (designs?.length ? designs.includes(design) : !airframe);
  return { fitting: parts.filter(fits), others: parts.filter((part) => !fits(part) && !part.airframe) };
}

// [{joint, airframe}] of a joint that the part or airframe of a label belongs to, this one first; undefined where none.
export function placeOf(field, id, joint, joints) {
  const airframeOf = ({ airframes, parts }) => (field === "part" ? Object.keys(parts).find((key) => parts[key] === id) : airframes.includes(id) && id);
  const at = airframeOf(joint) ? joint : joints.find(airframeOf);
  return at && { joint: at, airframe: airframeOf(at) };
}

export const holdingInWords = (held) => held.map(({ count, kind, where }) => [count, kind, where].filter(Boolean).join(" ")).join("; ");

// A holding as the fields of the form show it, and what the fields say as a holding.
export const countOf = (held, kind) => held.filter((holder) => holder.kind === kind).reduce((sum, { count }) => sum + (count ?? 0), 0) || "";
export const whereOf = (held) => [...new Set(held.map(({ where }) => where).filter(Boolean))].join("; ").slice(0, 120);
export function holdingOf(fields) {
  const where = fields.get("where").trim();
  const kinds = [...fields].filter(([name, count]) => name.startsWith("held-") && count > 0);
  return kinds.map(([name, count]) => ({ kind: name.slice(5), where, count: Number(count) }));
}

// What stands against starting, in words; empty when nothing does.
export function obstacle({ instrument, instrumentChosen, judged, part, airframe, accepted, held }) {
  if (!instrumentChosen) return "Choose the instrument, or none.";
  if (instrument?.refused) return instrument.refused;
  if (!judged) return "This joint cannot be judged with that instrument: choose another.";
  if (accepted && !held.length) return "In the acceptance condition it is held: say by what.";
  if (part.airframe && part.airframe !== airframe.id) return "That part sits on another airframe: take it out there first.";
  return "";
}

// For a check begun without a network: the newest values that this tablet carries of the same part in the same place.
export function previousValues(checks, { joint, airframe, part }) {
  const newest = new Map();
  const same = (check) => check.joint.label === joint && check.airframe.label === airframe && check.part.serial === part;
  for (const check of checks.filter(same)) {
    for (const reading of check.readings) {
      const key = slotKey(reading.station, reading.kind);
      const late = newest.get(key)?.made_at > reading.made_at;
      if (reading.current && measured(reading) && !late) newest.set(key, { ...reading, check: check.label });
    }
  }
  return [...newest.values()].map((reading) => ({ station: reading.station, kind: reading.kind, before: { ...reading, nm: reading.value_nm }, expected_nm: null, witness: false }));
}

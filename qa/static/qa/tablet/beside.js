// What stands beside the field: the value before, what is expected after a cut or a move, and whether the station is a witness. Pure.
import { measured, shows } from "./check.js";
import { tellLength } from "./parse.js";

// field: {before: {outcome, value, goes, does_not_go, unit, nm} or null, expected_nm or null, witness}, see qa/queries/beside.py.
export function beside(field, unit) {
  if (!field) return "";
  const { before, expected_nm, witness } = field;
  const tell = (nm) => `${tellLength(nm, unit)} ${unit}`;
  const was = before && (before.unit === unit ? `${shows(before)} ${unit}` : tell(before.nm));
  return [witness && "Witness", was && `before ${was}`, expected_nm != null && `expected ${tell(expected_nm)}`].filter(Boolean).join(" · ");
}

// For a check begun without a network: the newest values that this tablet carries of the same part in the same place.
export function carriedBefore(checks, { joint, airframe, part }) {
  const newest = new Map();
  const same = (one) => one.joint.label === joint && one.airframe.label === airframe && one.part.serial === part;
  for (const check of checks.filter(same)) {
    for (const one of check.readings) {
      const key = `${one.station}|${one.kind}`;
      const late = newest.get(key)?.made_at > one.made_at;
      if (one.current && measured(one) && !late) newest.set(key, { ...one, check: check.label });
    }
  }
  return [...newest.values()].map((one) => ({ station: one.station, kind: one.kind, before: { ...one, nm: one.value_nm }, expected_nm: null, witness: false }));
}

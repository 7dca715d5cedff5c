// What the server gives to carry along without a network (joints, parts, airframes, instruments, open checks), and a check begun from it.
import { previousValues } from "../core/check_choices.js";

// {here: what is carried or undefined, fresh: whether the server gave it just now, problem: why it refused}.
export async function carry({ connection, store }) {
  const { status, json } = await connection.ask("GET", "/api/carry", { timeout_ms: 30000 });
  // A page of a guest network must not take the place of what is carried.
  if (status !== 200 || !json?.checks) return { here: await store.get("settings", "carry"), problem: json?.error };
  // It is of use even where it cannot be kept for later.
  await connection.remember("carry", json);
  return { here: json, fresh: true };
}

// Resolves to the id of the check; null where nobody says who is measuring.
// choice: {joint, airframe, part, surround, instrument, judged, held, reason, why, finish, temperature, accepted, note}, rows of what is carried.
export async function beginCheck(tablet, here, choice) {
  const by = await tablet.person();
  if (!by) return null;
  const { joint, airframe, part, surround, instrument, finish } = choice;
  // What an older server gave to carry has keys only.
  const [key, form] = joint.uuid ? ["uuid", 2] : ["id", 1];
  const { reason, held, why, temperature, accepted, note } = choice;
  const fitup = await tablet.outbox.add(`fitup/${form}`, by, { airframe: airframe[key], joint: joint[key], revision: joint.revision, part: part[key], surround_part: surround?.[key] ?? null, reason, held, note: "", why }, here.database);
  const check = await tablet.outbox.add(`check/${form}`, by, { fitup: fitup.id, finish, instrument: instrument?.[key] ?? null, temperature, in_acceptance_condition: accepted, note }, here.database);
  const { id } = check;
  const copy = { check: id, json: await copyOf(tablet.store, id, choice) };
  await tablet.store.writeMakingRoom(["checks"], (rows) => rows.put(copy));
  return id;
}

// As the server would give it.
async function copyOf(store, id, { joint, airframe, part, judged, instrument }) {
  const stations = joint.stations.map((station, row) => ({ ...station, ...judged.stations[row] }));
  const older = (await store.all("checks")).map(({ json }) => json);
  const before = previousValues(older, { joint: joint.label, airframe: airframe.label, part: part.label });
  return { check: id, label: "new, not sent yet", state: "open", instrument, airframe, joint, part: { serial: part.label }, units: joint.units, map: joint.map, stations, readings: [], beside: before, holes: joint.holes, defects: joint.defects?.[airframe.id] };
}
